// Opens an entry that was not taken on its page again, with what was typed and with what was said of it.
"use strict";

/** @typedef {HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement} Field */

/** @param {unknown} field @returns {field is Field} */
function isField(field) {
  return field instanceof HTMLInputElement || field instanceof HTMLSelectElement || field instanceof HTMLTextAreaElement;
}

/** @param {string} text a moment as it was kept @returns {string} as a field takes it: by the mill's clock, which the page's times go by */
function wallClock(text) {
  if (!/(Z|[+-]\d\d:\d\d)$/.test(text)) return text;
  const speak = new Intl.DateTimeFormat("sv-SE", { timeZone: here.zone, dateStyle: "short", timeStyle: "medium" });
  return speak.format(new Date(text)).replace(" ", "T");
}

/** @param {HTMLFormElement} form fill in what is to be mended; it takes its place in the queue once it is saved */
async function mend(form) {
  const id = new URLSearchParams(location.hash.slice(1)).get("mend");
  const entry = id && (await found(id));
  if (!entry) return;
  for (const field of form.elements) {
    if (!isField(field) || field.type === "hidden") continue;
    const values = entry.fields.filter(([name]) => name === field.name).map(([, value]) => value);
    const files = values.filter((value) => value instanceof File);
    if (field instanceof HTMLInputElement && field.type === "file") {
      const taken = new DataTransfer();
      for (const file of files) taken.items.add(/** @type {File} */ (file));
      field.files = taken.files;
      continue;
    }
    const value = String(values[0] ?? "");
    if (field instanceof HTMLInputElement && (field.type === "radio" || field.type === "checkbox")) field.checked = values.includes(field.value);
    else if (values.length) field.value = field.type === "datetime-local" ? wallClock(value) : value;
  }
  form.dataset.mends = entry.id;
  onScreen.add(entry.id);
  if (entry.answer) sayAgain(form, entry);
}

/** @param {HTMLFormElement} form @param {Entry} entry what the server said of it, above the form and at its fields */
function sayAgain(form, entry) {
  const said = saidOf(entry);
  if (!said.length) return;
  const box = element("div", "", "errors");
  box.dataset.refusal = "yes";
  box.setAttribute("role", "alert");
  box.tabIndex = -1;
  const lines = element("ul");
  for (const text of said) {
    const [name] = (entry.answer?.problems || []).find(([, one]) => one === text) || [""];
    const field = /** @type {Field | undefined} */ ([...form.elements].find((one) => isField(one) && one.name === name && one.type !== "hidden"));
    const item = element("li", field ? "" : text);
    if (field) {
      item.append(Object.assign(element("a", text), { href: `#${field.id}` }));
      sayAt(field, text);
    }
    lines.append(item);
  }
  box.append(element("h2", words.notSaved), lines);
  (document.getElementById("kept") || form).after(box);  // where a page shows what it refuses
  box.focus();
}

/** @param {Field} field @param {string} text */
function sayAt(field, text) {
  const place = field.closest(".field");
  const error = element("p", text, "error");
  error.id = `${field.id}_refusal`;
  error.dataset.refusal = "yes";
  place?.querySelector("label, legend")?.after(error);
  field.setAttribute("aria-invalid", "true");
  field.setAttribute("aria-describedby", [field.getAttribute("aria-describedby"), error.id].filter(Boolean).join(" "));
  for (let fold = field.closest("details"); fold; fold = fold.parentElement?.closest("details") ?? null) fold.open = true;
}

/** @param {HTMLFormElement} form it is saved anew: what was said of it before is over */
function unsay(form) {
  document.querySelectorAll("[data-refusal]").forEach((one) => one.remove());
  form.querySelectorAll("[aria-invalid]").forEach((one) => one.removeAttribute("aria-invalid"));
}
