// What this device has not sent yet: each entry with what became of it, and what can be done.
"use strict";

const list = document.getElementById("waiting-list");
const own = list?.dataset || {};

/** @param {Entry} entry @returns {HTMLElement} */
function yesButton(entry) {
  const yes = element("button", own.yes);
  yes.addEventListener("click", async () => {
    const yeses = (entry.answer?.doubts || []).map((doubt) => /** @type {[string, Value]} */ (["confirm", doubt.code]));
    const fields = [...entry.fields, ...yeses];
    await keep({ ...entry, fields, answer: undefined, again: false, turn: (entry.turn || 0) + 1 });
    flush(entry.id);  // somebody waits for it
  });
  return yes;
}

/** @param {Entry} entry @param {Entry[]} all @returns {HTMLElement[]} how it stands with it */
function statusOf(entry, all) {
  if (isDecided(entry)) {
    const state = /** @type {Answer} */ (entry.answer).state;
    const texts = state === "gone" ? [own.gone] : [own[state], ...saidOf(entry)];
    return texts.filter(Boolean).map((text) => element("p", text));
  }
  const held = behind(entry, all);
  if (held.length) return held;
  const stumbled = ["busy", "other_person"].includes(entry.answer?.state || "") ? entry.answer : trouble;
  const why = navigator.onLine ? whyNot(stumbled) : own.waiting || "";
  return [why, ...saidOf(entry)].map((text) => element("p", text));
}

/** @param {Entry} entry @param {Entry[]} all @returns {HTMLElement} */
function slip(entry, all) {
  const box = element("article", "", "slip");
  box.dataset.entry = entry.id;
  box.append(element("h2", entry.title), element("p", moment(entry.at)));
  const facts = element("dl");
  for (const [name, value] of entry.told) facts.append(element("dt", name), element("dd", value));
  box.append(facts, ...statusOf(entry, all));
  const buttons = element("p", "", "buttons");
  if (entry.answer?.doubts && isDecided(entry)) buttons.append(yesButton(entry));
  if (isDecided(entry)) buttons.append(mendLink(entry));
  buttons.append(awayButton(entry, isDecided(entry) || !headOf(entry, all) ? own.away : own.awayThis));
  box.append(buttons);
  return box;
}

let shown = "";
if (list) {
  document.addEventListener("wearlog:queue", (event) => {
    const all = /** @type {CustomEvent<Entry[]>} */ (event).detail;
    const none = document.getElementById("none-waiting");
    if (none) none.hidden = all.length > 0;
    const now = JSON.stringify([all, trouble, navigator.onLine]);
    if (now === shown) return;
    shown = now;
    list.replaceChildren(...all.map((entry) => slip(entry, all)));
  });
  show();  // told once already, perhaps before this file was there
}
