// Says what is not sent yet, why, and what waits for what.
"use strict";

const DOUBLE_TAP_MS = 600;
const line = document.getElementById("unsent");
/** The words of the queue; they stand on the note that takes a form's place once its entry is kept. */
const words = document.getElementById("kept")?.dataset || {};
/** @type {Set<string>} entries that the person has before them on this page: those need no line above it */
const onScreen = new Set(here.took ? [here.took] : []);
/** @type {Entry | null} the entry that the note on this page tells of */
let toldOf = null;
/** @type {Answer | null} what that note was told of it */
let toldWhy = null;

/** @param {number} at @param {boolean} [brief] without the day where it is today @returns {string} by the mill's clock */
function moment(at, brief = false) {
  const lang = document.documentElement.lang;
  const speak = (/** @type {Intl.DateTimeFormatOptions} */ form) => (/** @type {number} */ when) =>
    new Intl.DateTimeFormat(lang === "en" ? "en-GB" : lang, { ...form, timeZone: here.zone }).format(when);
  const day = speak({ day: "numeric", month: "long", year: "numeric" });
  const clock = speak({ hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
  return brief && day(at) === day(Date.now()) ? clock(at) : `${day(at)}, ${clock(at)}`;
}

/** @param {string} tag @param {string} [text] @param {string} [className] @returns {HTMLElement} */
function element(tag, text = "", className = "") {
  return Object.assign(document.createElement(tag), { textContent: text, className });
}

/** @param {number} count @param {string | undefined} one @param {string | undefined} many @returns {string[]} */
function counted(count, one, many) {
  return count ? [((count === 1 ? one : many) || "").replace("%n", String(count))] : [];
}

async function show() {
  const all = await entries();
  if (line) {
    const elsewhere = all.filter((entry) => !onScreen.has(entry.id));
    const decided = elsewhere.filter(isDecided).length;
    const text = [
      ...counted(elsewhere.length - decided, line.dataset.one, line.dataset.many),
      ...counted(decided, line.dataset.refusedOne, line.dataset.refusedMany),
    ].join(" · ");
    const link = line.querySelector("a");
    if (link && link.textContent !== text) link.textContent = text;
    line.hidden = !text || !!document.getElementById("waiting-list");  // there each stands in full
  }
  document.dispatchEvent(new CustomEvent("wearlog:queue", { detail: all }));
}

/** @param {Entry} entry @returns {string[]} what the server said of it */
function saidOf(entry) {
  const answer = entry.answer;
  if (answer?.state === "gone") return [words.gone || ""];
  const texts = [...(answer?.problems || []).map(([, text]) => text), ...(answer?.doubts || []).map((one) => one.question)];
  return [...texts, ...(answer?.state === "busy" ? answer.texts || [] : [])];
}

/** @param {Answer | null | undefined} answer @returns {string} why an entry is still here */
function whyNot(answer) {
  /** @type {Record<string, string | undefined>} */
  const why = {
    offline: words.offline, unreached: words.unreached, signed_out: words.signedOut, busy: words.busy,
    other_person: words.otherPerson, slow: words.slow,
  };
  const state = answer?.state || "";
  return (state === "offline" && navigator.onLine ? "" : why[state]) || words.kept || "";
}

/** @param {Entry} entry @returns {HTMLAnchorElement} to its page, which opens with what was typed */
function mendLink(entry) {
  const link = /** @type {HTMLAnchorElement} */ (element("a", words.mend, "button"));
  const where = new URL(entry.url);
  for (const name of ["press", "fitting", "action", "part", "position", "rule"]) {
    const value = entry.fields.find(([field]) => field === name);
    if (value && value[1]) where.searchParams.set(name, String(value[1]));
  }
  link.href = `${where}#mend=${entry.id}`;
  return link;
}

/** @type {Set<string>} what is being asked about; a list that is drawn anew meanwhile goes on asking */
const asking = new Set();

/** @param {Entry} entry @param {string | undefined} text @returns {HTMLElement} a button that asks once */
function awayButton(entry, text) {
  const key = `${entry.id} ${text}`;
  const away = element("button", asking.has(key) ? words.sure : text);
  if (asking.has(key)) away.dataset.sure = "yes";
  away.setAttribute("type", "button");
  away.addEventListener("click", async () => {
    if (away.getAttribute("aria-disabled")) return;
    if (away.dataset.sure) {
      await drop(entry.id);
      await show();
      flush();
      return;
    }
    asking.add(key);
    away.dataset.sure = "yes";
    away.textContent = words.sure || "";
    away.setAttribute("aria-disabled", "true");  // a finger that trembles has not been asked
    setTimeout(() => away.removeAttribute("aria-disabled"), DOUBLE_TAP_MS);
  });
  return away;
}

/** @param {Entry} entry @param {Entry[]} all @returns {HTMLElement[]} what it waits for, and what can be done about that */
function behind(entry, all) {
  const head = headOf(entry, all);
  if (!head) return [];
  const text = (head.behind || "").replace("%s", moment(head.at));
  if (!isDecided(head)) return [element("p", text)];
  const buttons = element("p", "", "buttons");
  buttons.append(mendLink(head), awayButton(head, words.awayThat));
  const asked = head.answer?.state === "asked";
  const why = [...(asked ? [] : [words.notTaken || ""]), ...saidOf(head)];
  return [element("p", text), element("p", why.join(" ")), buttons];
}

/** @param {HTMLFormElement} form @param {Entry} entry @param {Answer | null} answer say that the entry is kept, and why,
 *  and offer the next one @param {() => void} next */
async function tell(form, entry, answer, next) {
  const slip = /** @type {HTMLElement} */ (document.getElementById("kept"));
  [toldOf, toldWhy] = [entry, answer];
  onScreen.delete(entry.id);
  await show();
  form.hidden = true;
  slip.hidden = false;
  slip.focus();
  slip.scrollIntoView({ block: "center" });
  const button = /** @type {HTMLButtonElement} */ (document.getElementById("kept-next"));
  button.onclick = () => {
    toldOf = null;
    slip.hidden = true;
    form.hidden = false;
    next();
  };
}

/** @param {Entry[]} all put into words how it stands with the entry of the note */
function explain(all) {
  const slip = document.getElementById("kept");
  if (!slip || !toldOf) return;
  const entry = all.find((one) => one.id === toldOf?.id);
  const [strong, more] = [slip.querySelector("strong"), slip.querySelector(".more-words")];
  if (!strong || !more) return;
  if (!entry) {
    if (!sentHere.has(toldOf.id)) return;  // thrown away on another page, or sent from there
    strong.textContent = words.sent || "";
    more.replaceChildren();
  } else if (isDecided(entry)) {
    strong.textContent = [...(entry.answer?.state === "asked" ? [] : [words.notTaken]), ...saidOf(entry)].join(" ");
    const buttons = element("p", "", "buttons");
    buttons.append(mendLink(entry));
    more.replaceChildren(buttons);
  } else {
    const answer = trouble || toldWhy;
    const said = (answer?.texts || []).map((text) => element("p", text));
    const text = whyNot(answer);
    if (strong.textContent !== text) strong.textContent = text;
    const now = JSON.stringify([entry.id, said.length, text, headOf(entry, all)]);
    if (more.getAttribute("data-drawn") === now) return;  // a button that has the focus stays
    more.setAttribute("data-drawn", now);
    more.replaceChildren(...said, ...behind(entry, all));
  }
}

document.addEventListener("wearlog:queue", (event) => explain(/** @type {CustomEvent<Entry[]>} */ (event).detail));
