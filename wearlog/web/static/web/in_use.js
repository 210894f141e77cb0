// Tells the site now and then that this device is in use, for the list of where somebody is signed in.
// The page names the address only where the last use that is noted is more than ten minutes old.
"use strict";

{
  const url = document.body.dataset.inUse;
  const token = /** @type {HTMLInputElement | null} */ (document.querySelector("input[name=csrfmiddlewaretoken]"));
  if (url && token) {
    const body = new URLSearchParams({ csrfmiddlewaretoken: token.value });
    fetch(url, { method: "POST", body, redirect: "manual" }).catch(() => {});  // without a network: another time
  }
}
