// Entries typed without a network are kept on this device and sent when there is one. Comfort only: every
// form works without. Here a form is read, kept and handed over; store.js keeps it, order.js says
// what waits for what, sending.js sends, unsent.js tells.
"use strict";

const SAID_AFTER_MS = 3000;

/** @param {Date} when @returns {string} the instant with this device's offset */
function instant(when) {
  const two = (/** @type {number} */ n) => String(Math.floor(Math.abs(n))).padStart(2, "0");
  const offset = -when.getTimezoneOffset();
  return `${when.getFullYear()}-${two(when.getMonth() + 1)}-${two(when.getDate())}T` +
    `${two(when.getHours())}:${two(when.getMinutes())}:${two(when.getSeconds())}` +
    `${offset < 0 ? "-" : "+"}${two(offset / 60)}:${two(offset % 60)}`;
}

/** @param {HTMLFormElement} form @returns {[string, string][]} what was typed, as a person reads it */
function told(form) {
  /** @type {[string, string][]} */
  const found = [];
  for (const field of form.elements) {
    if (!(field instanceof HTMLInputElement || field instanceof HTMLSelectElement || field instanceof HTMLTextAreaElement)) continue;
    if (field.type === "hidden" || !field.value) continue;
    const files = field instanceof HTMLInputElement && field.files;
    if ((field.type === "radio" || field.type === "checkbox") && !(/** @type {HTMLInputElement} */ (field)).checked) continue;
    const cell = /** @type {HTMLElement | null} */ (field.closest("td[data-label]"));
    const row = cell?.closest("tr")?.querySelector("th")?.firstChild?.textContent || "";
    const own = cell ? `${row.trim()}, ${cell.dataset.label}` : field.labels?.[0]?.textContent || field.name;
    const legend = field.closest("fieldset")?.querySelector("legend")?.textContent;
    const value = field instanceof HTMLSelectElement ? field.selectedOptions[0]?.textContent || ""
      : files ? Array.from(files, (file) => file.name).join(", ")
      : field.type === "datetime-local" ? field.value.replace("T", " ") : field.value;
    const pair = field.type === "radio" ? [legend || "", own] : field.type === "checkbox" ? [own, "✓"] : [own, value];
    found.push([pair[0].trim(), pair[1].trim()]);
  }
  return found;
}

/** @param {FormData} data a sheet of today: a line without a time ended just now @param {Date} typed */
function linesEndNow(data, typed) {
  const [day, clock] = wallClock(instant(typed)).split("T");
  for (const name of [...data.keys()].filter((one) => one.endsWith("-day"))) {
    const line = name.slice(0, -"day".length);
    const filled = ["meter_h", "hours_h", "seed"].some((one) => data.get(line + one)) || data.get(`${line}seed_how`) === "worked_out";
    data.set(name, day);  // the page may have lain open since yesterday
    if (filled && !data.get(`${line}until`)) data.set(`${line}until`, clock.slice(0, 5));
  }
}

/** @param {HTMLFormElement} form @param {HTMLElement | null} button @returns {Promise<Entry>} */
async function entryOf(form, button) {
  const data = new FormData(form);
  const named = button instanceof HTMLButtonElement && button.name ? button : null;
  if (named) data.set(named.name, named.value);
  // What the page asked about or refused goes on under the name that it came with.
  const known = data.get("queue_name");
  data.delete("csrfmiddlewaretoken");
  data.delete("queue_name");
  const start = named && form.dataset.nowStart;
  const name = start || form.dataset.now || "";
  const unless = start ? [] : (form.dataset.nowUnless || "").split(" ").filter(Boolean);
  const tells = unless.length > 0 && unless.every((other) => data.get(other));
  // What says "just now" means now, not the moment at which it is sent.
  const typed = new Date();
  if (name && !data.get(name) && !tells) data.set(name, instant(typed));
  if ("nowLines" in form.dataset) linesEndNow(data, typed);
  /** @type {[string, Value][]} */
  const fields = [];
  for (const [field, value] of data) {
    if (typeof value === "string") fields.push([field, value]);
    else if (value.size) fields.push([field, await smaller(value)]);
  }
  return {
    id: String(data.get("ref") || known || newName()),
    url: new URL(form.getAttribute("action") || "", location.href).href,  // a field may be named action
    fields,
    told: told(form),
    title: document.querySelector("h1")?.textContent?.trim() || "",
    press: String(data.get("press") || ""),
    behind: form.dataset.behind || "",
    ...orderOf(form, data),
    at: typed.getTime(),
    who: here.who || "",
  };
}

/** @param {HTMLFormElement} form @param {HTMLElement | null} button */
async function submit(form, button) {
  form.setAttribute("aria-busy", "true");
  unsay(form);
  const entry = await entryOf(form, button);
  const { mends } = form.dataset;
  try {
    await takenOver;  // it goes on under the name of what is let go of there
    const before = await found(mends || entry.id);
    if (before) {  // mended: it keeps its place among those that build on it
      entry.at = before.at;
      entry.turn = (before.turn || 0) + 1;
    }
    onScreen.add(entry.id);
    await keep(entry);
    if (mends && mends !== entry.id) await drop(mends);
    delete form.dataset.mends;
  } catch {
    return plainly(form, button);  // a browser that keeps nothing
  }
  const answered = flush(entry.id).then((answers) => answers.get(entry.id) || trouble || { state: "waiting" });
  const soon = await Promise.race([answered, new Promise((resolve) => setTimeout(resolve, SAID_AFTER_MS))]);
  if (!soon) await tell(form, entry, { state: navigator.onLine ? "slow" : "offline" }, () => renew(form));
  /** @type {Answer} */
  const answer = await answered;
  if (!soon && !form.hidden) {  // the next one is being typed; the list tells what came of this one
    flush();
    return;
  }
  // Busy until the next page is there: a second touch meanwhile would be a second entry.
  if (answer.state === "saved" && answer.go) {
    location.assign(answer.go);
  } else if (DECIDED.has(answer.state)) {
    // The page says it better. Where none comes, the entry is sent again under the name that the page was posted
    // with, since it may have been stored after all; the page that comes goes on with the same entry.
    await note({ ...entry, answer, again: true });
    forget(form);
    form.append(Object.assign(document.createElement("input"), { type: "hidden", name: "queue_name", value: entry.id }));
    plainly(form, button);
  } else {
    await tell(form, entry, answer, () => renew(form));
  }
}

/** @param {HTMLFormElement} form @param {HTMLElement | null} button the way of a page without script */
function plainly(form, button) {
  if (button instanceof HTMLButtonElement && button.name) {
    form.append(Object.assign(document.createElement("input"), { type: "hidden", name: button.name, value: button.value }));
  }
  form.submit();
}

/** @param {HTMLFormElement} form empty it for the next entry */
function renew(form) {
  form.removeAttribute("aria-busy");
  form.reset();
  rename(form);
  /** @type {HTMLElement | null} */ (form.querySelector("input:not([type=hidden]), select"))?.focus();
}

/** @param {HTMLFormElement} form the next entry is another one */
function forget(form) {
  form.querySelectorAll("[name=queue_name]").forEach((field) => field.remove());
}

/** @param {HTMLFormElement} form a page from the device's memory carries a name that was used before */
function rename(form) {
  forget(form);
  for (const ref of /** @type {NodeListOf<HTMLInputElement>} */ (form.querySelectorAll("[name=ref], [name$='-ref']"))) {
    ref.value = newName();
  }
}

/** @returns {Promise<void>} what a page asks about waits for the answer on that page, or on the list */
async function takeOver() {
  const entry = here.took && (await found(here.took));
  if (entry) await note({ ...entry, again: false });
}

for (const form of /** @type {NodeListOf<HTMLFormElement>} */ (document.querySelectorAll("form[data-queue]"))) {
  if (!document.querySelector("[role=alert], #doubts")) rename(form);
  mend(form).then(show);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    event.stopImmediatePropagation();
    if (form.getAttribute("aria-busy")) return;
    submit(form, /** @type {SubmitEvent} */ (event).submitter);
  });
}

window.addEventListener("pageshow", async (event) => {
  if (!event.persisted) return;
  const waits = here.took && (await found(here.took));
  // Back again after it was saved: what is typed now is another entry.
  for (const form of /** @type {NodeListOf<HTMLFormElement>} */ (document.querySelectorAll("form[data-queue]"))) {
    form.removeAttribute("aria-busy");
    if (!waits) rename(form);
  }
});
document.getElementById("send-now")?.addEventListener("click", sendNow);
window.addEventListener("online", () => flush());
document.addEventListener("visibilitychange", () => { if (!document.hidden) flush(); });
setInterval(async () => { if ((await entries()).length) flush(); }, AGAIN_MS);
const takenOver = takeOver().catch(() => {});
takenOver.then(show).then(() => flush());
