// Comfort only: every page works without it.
"use strict";

for (const button of /** @type {NodeListOf<HTMLButtonElement>} */ (document.querySelectorAll("button[data-print]"))) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}

// What is wrong is read first.
/** @type {HTMLElement | null} */ (document.querySelector("main .errors[tabindex]"))?.focus();

// Paper has no folds.
window.addEventListener("beforeprint", () => {
  for (const fold of /** @type {NodeListOf<HTMLDetailsElement>} */ (document.querySelectorAll("main details"))) {
    fold.open = true;
  }
});

// A menu closes by a touch elsewhere; it and every fold by Escape within.
document.addEventListener("click", (event) => {
  for (const menu of document.querySelectorAll(".tabs details[open]")) {
    if (!menu.contains(/** @type {Node} */ (event.target))) menu.removeAttribute("open");
  }
});
document.addEventListener("keydown", (event) => {
  const within = /** @type {Element} */ (event.target);
  const fold = /** @type {HTMLDetailsElement | null} */ (within.closest?.("details[open]"));
  if (event.key !== "Escape" || !fold || within.matches("input, select, textarea")) return;
  fold.open = false;
  fold.querySelector("summary")?.focus();
});

// On a sheet Enter goes to the next field, as on paper; on the button it saves.
for (const form of document.querySelectorAll("form.lines")) {
  form.addEventListener("keydown", (event) => {
    const here = /** @type {HTMLElement} */ (event.target);
    if (/** @type {KeyboardEvent} */ (event).key !== "Enter") return;
    if (!here.matches("input:not([type=checkbox]), select")) return;
    event.preventDefault();
    const fields = /** @type {HTMLElement[]} */ ([
      ...form.querySelectorAll("input:not([type=hidden]), select:not([data-aside]), button.main"),
    ]);
    const next = fields[fields.indexOf(here) + 1];
    next?.focus();
    if (next instanceof HTMLInputElement) next.select();
  });
}

// A button answers at once, and a second press sends nothing twice.
for (const form of /** @type {NodeListOf<HTMLFormElement>} */ (
  document.querySelectorAll("form[method=post]:not([data-queue])")
)) {
  form.addEventListener("submit", (event) => {
    if (form.dataset.sent) return event.preventDefault();
    form.dataset.sent = "yes";
    form.setAttribute("aria-busy", "true");
  });
}
window.addEventListener("pageshow", () => {
  for (const form of /** @type {NodeListOf<HTMLFormElement>} */ (document.querySelectorAll("form[data-sent]"))) {
    delete form.dataset.sent;
    form.removeAttribute("aria-busy");
  }
});

// The code of a part, such as D10-05, is no place to break.
const joint = /\d[a-z]*[-/](?=\w)|\w[-/](?=[a-z]*\d)/i;
const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (texts.nextNode()) {
  const text = /** @type {Text} */ (texts.currentNode);
  const found = joint.exec(text.data);
  if (!found || text.parentElement?.closest("svg, option, textarea, .tied")) continue;
  const [whole, tie] = [0, 1].map(() => document.createElement("span"));
  tie.className = "tied";
  text.replaceWith(whole);
  whole.append(text);
  text.splitText(found.index + found[0].length - 1).splitText(2).before(tie);
  tie.append(/** @type {Text} */ (tie.previousSibling));
}
