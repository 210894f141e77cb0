// The weight of a bag follows the crop, as it was last typed for it. Comfort only: the help beside the field
// says the weights without this file.
"use strict";

const bagWeight = /** @type {HTMLInputElement | null} */ (document.querySelector("input[data-bags]"));
if (bagWeight) {
  /** @type {Record<string, string>} */
  const bagWeights = JSON.parse(bagWeight.dataset.bags || "{}");
  let ownBag = false;
  bagWeight.addEventListener("input", () => { ownBag = true; });  // what a person has typed stays
  for (const crop of /** @type {NodeListOf<HTMLInputElement>} */ (document.querySelectorAll("input[name=crop]"))) {
    crop.addEventListener("change", () => { if (!ownBag) bagWeight.value = bagWeights[crop.value] || ""; });
  }
}
