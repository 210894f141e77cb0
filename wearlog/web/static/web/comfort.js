// Comfort only: every page works without this file.
"use strict";

for (const button of document.querySelectorAll("button[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}

// Paper has no folds.
window.addEventListener("beforeprint", () => {
  for (const fold of document.querySelectorAll("main details")) fold.open = true;
});

// The index closes when somebody touches elsewhere or presses Escape.
const index = document.querySelector(".tabs details");
if (index) {
  document.addEventListener("click", (event) => {
    if (!index.contains(event.target)) index.open = false;
  });
  index.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && index.open) {
      index.open = false;
      index.querySelector("summary").focus();
    }
  });
}

// On a sheet Enter goes on to the next field, as it does on paper; on the button it saves.
for (const form of document.querySelectorAll("form.lines")) {
  form.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !event.target.matches("input:not([type=checkbox]), select")) return;
    event.preventDefault();
    const fields = [...form.querySelectorAll("input:not([type=hidden]), select:not([data-aside]), button.main")];
    const next = fields[fields.indexOf(event.target) + 1];
    next?.focus();
    next?.select?.();
  });
}

// A press of the button answers at once, and a second press sends nothing twice.
for (const form of document.querySelectorAll("form[method=post]:not([data-queue])")) {
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
  for (const form of document.querySelectorAll("form[data-sent]")) {
    delete form.dataset.sent;
    form.removeAttribute("aria-busy");
  }
});
