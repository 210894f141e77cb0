// The page of what this device has not sent yet, and of what it can show without a network.
"use strict";

const list = document.getElementById("waiting-list");

/** @param {string} tag @param {string} text @returns {HTMLElement} */
function element(tag, text) {
  return Object.assign(document.createElement(tag), { textContent: text });
}

/** @param {Entry} entry @returns {HTMLElement} */
function slip(entry) {
  const words = /** @type {HTMLElement} */ (list).dataset;
  const box = element("article", "");
  box.className = "slip";
  box.append(element("h2", entry.title), element("p", moment(entry.at)));
  const facts = element("dl", "");
  for (const [name, value] of entry.told) facts.append(element("dt", name), element("dd", value));
  box.append(facts);
  const answer = entry.answer;
  const state = answer ? answer.state : "waiting";
  box.append(element("p", words[state === "other_person" ? "otherPerson" : state] || words.waiting || ""));
  for (const [, text] of answer?.problems || []) box.append(element("p", text));
  const buttons = element("p", "");
  buttons.className = "buttons";
  if (answer?.doubts) {
    for (const doubt of answer.doubts) box.append(element("p", doubt.question));
    const yes = element("button", words.yes || "");
    yes.addEventListener("click", async () => {
      const yeses = (answer.doubts || []).map((doubt) => /** @type {[string, Value]} */ (["confirm", doubt.code]));
      const fields = [...entry.fields, ...yeses];
      await keep({ ...entry, fields, answer: undefined, again: false, turn: (entry.turn || 0) + 1 });
      flush();
    });
    buttons.append(yes);
  }
  if (answer && state !== "other_person") {
    const open = /** @type {HTMLAnchorElement} */ (element("a", words.mend || ""));
    const where = new URL(entry.url);
    for (const name of ["press", "fitting", "action", "part", "position", "rule"]) {
      const value = entry.fields.find(([field]) => field === name);
      if (value && value[1]) where.searchParams.set(name, String(value[1]));
    }
    open.href = `${where}#mend=${entry.id}`;
    open.className = "button";
    buttons.append(open);
  }
  const away = element("button", words.away || "");
  away.addEventListener("click", async () => {
    if (away.dataset.sure) {
      await drop(entry.id);
      await show();
      flush();
    } else {
      away.dataset.sure = "yes";
      away.textContent = words.sure || "";
    }
  });
  buttons.append(away);
  box.append(buttons);
  return box;
}

if (list) {
  document.addEventListener("wearlog:queue", (event) => {
    const all = /** @type {CustomEvent<Entry[]>} */ (event).detail;
    list.replaceChildren(...all.map(slip));
    const none = document.getElementById("none-waiting");
    if (none) none.hidden = all.length > 0;
  });
  show();  // told once already, perhaps before this file was there
}
