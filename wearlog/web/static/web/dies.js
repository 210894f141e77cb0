// The dies stand in the order for the crop that comes next, also after another crop is chosen. Comfort only:
// without this file the page has links that show them in another order.
"use strict";

const FIRST_DIES = 3;

/** @typedef {[number[], string, boolean]} DieUse its rank, the words for what is left, and whether it fits */

/** @param {number[]} one @param {number[]} other @returns {number} */
function byRank(one, other) {
  const place = one.findIndex((part, number) => part !== other[number]);
  return place < 0 ? 0 : one[place] - other[place];
}

/** @param {HTMLElement} question @param {string} crop */
function orderDies(question, crop) {
  const [first, more] = question.querySelectorAll("ul");
  const fold = question.querySelector("details");
  if (!first || !more || !fold) return;
  const found = Array.from(/** @type {NodeListOf<HTMLElement>} */ (question.querySelectorAll("li")), (line) => {
    /** @type {DieUse | undefined} */
    const use = JSON.parse(line.dataset.crops || "{}")[crop];
    const radio = /** @type {HTMLInputElement} */ (line.querySelector("input"));
    return { line, radio, rank: use ? use[0] : [9], words: use ? use[1] : "", fits: !!use && use[2] };
  }).sort((one, other) => byRank(one.rank, other.rank));
  const fitting = found.filter((each) => each.fits).slice(0, FIRST_DIES);
  const shown = fitting.length ? fitting : found.slice(0, 1);
  shown.push(...found.filter((each) => each.radio.value === "keep" && !shown.includes(each)));
  for (const each of found) {
    const words = each.line.querySelector("[data-left]");
    if (words) words.textContent = each.words;
    (shown.includes(each) ? first : more).append(each.line);
    if (!question.dataset.chosen) each.radio.checked = each === fitting[0];
  }
  fold.hidden = shown.length === found.length;
}

for (const question of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll(".dies"))) {
  // What a person has chosen stays, whatever crop comes.
  question.addEventListener("change", () => { question.dataset.chosen = "yes"; });
  for (const radio of /** @type {NodeListOf<HTMLInputElement>} */ (document.querySelectorAll("input[name=to_crop]"))) {
    radio.addEventListener("change", () => orderDies(question, radio.value));
  }
}
