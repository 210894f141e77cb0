// Comfort only: every page works without this file.
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

// The index closes when somebody touches elsewhere or presses Escape; a fold closes by Escape within it.
const index = /** @type {HTMLDetailsElement | null} */ (document.querySelector(".tabs details"));
document.addEventListener("click", (event) => {
  if (index && !index.contains(/** @type {Node} */ (event.target))) index.open = false;
});
document.addEventListener("keydown", (event) => {
  const within = /** @type {Element} */ (event.target);
  const fold = /** @type {HTMLDetailsElement | null} */ (within.closest?.("details[open]"));
  if (event.key !== "Escape" || !fold || within.matches("input, select, textarea")) return;
  fold.open = false;
  fold.querySelector("summary")?.focus();
});

// On a sheet Enter goes on to the next field, as it does on paper; on the button it saves.
for (const form of document.querySelectorAll("form.lines")) {
  form.addEventListener("keydown", (event) => {
    const here = /** @type {HTMLElement} */ (event.target);
    if (/** @type {KeyboardEvent} */ (event).key !== "Enter") return;
    if (!here.matches("input:not([type=checkbox]), select")) return;
    event.preventDefault();
    /** @type {HTMLElement[]} */
    const fields = [...form.querySelectorAll("input:not([type=hidden]), select:not([data-aside]), button.main")].map(
      (field) => /** @type {HTMLElement} */ (field),
    );
    const next = fields[fields.indexOf(here) + 1];
    next?.focus();
    if (next instanceof HTMLInputElement) next.select();
  });
}

// A press of the button answers at once, and a second press sends nothing twice.
for (const form of /** @type {NodeListOf<HTMLFormElement>} */ (
  document.querySelectorAll("form[method=post]:not([data-queue])")
)) {
  form.addEventListener("submit", (event) => {
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
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
