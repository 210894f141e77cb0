// What stands beside the page on a desk is fetched once the page is there, from a page of its own. On a phone, and
// without script, a link leads to that page instead.
"use strict";

/**
 * @param {HTMLElement} place its `data-beside` is the address, its `data-what` the part of that page to show
 */
async function fetchBeside(place) {
  const answer = await fetch(place.dataset.beside || "", { credentials: "same-origin" });
  if (!answer.ok || answer.redirected) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const found = page.querySelector(place.dataset.what || "main");
  if (found) place.replaceChildren(...found.children);
}

if (matchMedia("(min-width: 60rem)").matches && navigator.onLine) {
  for (const place of document.querySelectorAll("[data-beside]")) {
    if (place instanceof HTMLElement) fetchBeside(place).catch(() => undefined);  // the link stays
  }
}
