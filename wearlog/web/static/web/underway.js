// The page of an import that is under way says by itself how far it is. Without this file a link does.
"use strict";

const PLACE = "import-job";
const LOOK_EVERY_MS = 2000;

async function look() {
  const here = document.getElementById(PLACE);
  if (!here || !("underWay" in here.dataset)) return;
  if (!document.hidden) {
    try {
      const answer = await fetch(location.href, { credentials: "same-origin" });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const there = page.getElementById(PLACE);
      // What somebody is about to press stays where it is, until something has changed.
      if (answer.ok && there && there.textContent !== here.textContent) here.replaceWith(document.adoptNode(there));
    } catch {
      // No network: the next look may find one.
    }
  }
  setTimeout(look, LOOK_EVERY_MS);
}

setTimeout(look, LOOK_EVERY_MS);
