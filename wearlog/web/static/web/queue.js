// Entries typed without a network are kept on this device and sent when there is one. Comfort only: every
// form works without this file.
"use strict";

/**
 * @typedef {{state: string, go?: string, texts?: string[], problems?: [string, string][],
 *            doubts?: {code: string, question: string}[], confirmed?: string[], name?: string}} Answer
 * @typedef {string | File} Value
 * @typedef {{id: string, url: string, fields: [string, Value][], told: [string, string][], title: string,
 *            press: string, at: number, who: string, answer?: Answer, again?: boolean, turn?: number}} Entry
 */

const PATIENCE_MS = 10000;
const SLOWEST_BYTES_PER_MS = 8;
const SAID_AFTER_MS = 3000;
const SOON_MS = 1000;
const AGAIN_MS = 30000;
const LONGEST_PX = 2000;
const QUALITY = 0.85;
const here = document.body.dataset;

/** @returns {string} */
function newName() {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return "q-" + Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** @param {Date} when @returns {string} the instant with this device's offset */
function instant(when) {
  const two = (/** @type {number} */ n) => String(Math.floor(Math.abs(n))).padStart(2, "0");
  const offset = -when.getTimezoneOffset();
  return `${when.getFullYear()}-${two(when.getMonth() + 1)}-${two(when.getDate())}T` +
    `${two(when.getHours())}:${two(when.getMinutes())}:${two(when.getSeconds())}` +
    `${offset < 0 ? "-" : "+"}${two(offset / 60)}:${two(offset % 60)}`;
}

/** @param {number} ms @returns {AbortSignal} one that ends a request after so long */
function within(ms) {
  return /** @type {any} */ (AbortSignal).timeout(ms);  // younger than the types that check this file
}

/** @param {number} at @param {boolean} [brief] without the day where it is today @returns {string} by the mill's clock */
function moment(at, brief = false) {
  const lang = document.documentElement.lang;
  const speak = (/** @type {Intl.DateTimeFormatOptions} */ form) => (/** @type {number} */ when) =>
    new Intl.DateTimeFormat(lang === "en" ? "en-GB" : lang, { ...form, timeZone: here.zone }).format(when);
  const day = speak({ day: "numeric", month: "long", year: "numeric" });
  const clock = speak({ hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
  return brief && day(at) === day(Date.now()) ? clock(at) : `${day(at)}, ${clock(at)}`;
}

// -------- the store

/** @returns {Promise<IDBDatabase>} */
const opened = new Promise((resolve, reject) => {
  const asked = indexedDB.open("wearlog", 1);
  asked.onupgradeneeded = () => asked.result.createObjectStore("entries", { keyPath: "id" });
  asked.onsuccess = () => resolve(asked.result);
  asked.onerror = () => reject(asked.error);
});

/**
 * @param {IDBTransactionMode} mode
 * @param {(store: IDBObjectStore) => IDBRequest} work
 * @returns {Promise<any>} once it is on the disk
 */
async function stored(mode, work) {
  const database = await opened;
  return new Promise((resolve, reject) => {
    const transaction = database.transaction("entries", mode, { durability: "strict" });
    const asked = work(transaction.objectStore("entries"));
    transaction.oncomplete = () => resolve(asked.result);
    transaction.onerror = transaction.onabort = () => reject(transaction.error);
  });
}

const keep = (/** @type {Entry} */ entry) => stored("readwrite", (store) => store.put(entry));
/** @param {Entry} entry keep what came of it, unless it was thrown away or changed in the meantime */
const note = (entry) => stored("readwrite", (store) => {
  const asked = store.get(entry.id);
  const same = (/** @type {Entry} */ one) => one.at === entry.at && one.turn === entry.turn;
  asked.onsuccess = () => { if (asked.result && same(asked.result)) store.put(entry); };
  return asked;
});
const drop = (/** @type {string} */ id) => stored("readwrite", (store) => store.delete(id));

/** @returns {Promise<Entry[]>} the oldest first */
async function entries() {
  const all = await stored("readonly", (store) => store.getAll());
  return all.sort((/** @type {Entry} */ a, /** @type {Entry} */ b) => a.at - b.at);
}

// -------- sending

/** @type {{token: string, who: string} | null} */
let pass = null;

/** @returns {Promise<boolean>} whether somebody is signed in; throws without a network */
async function askPass() {
  const answer = await fetch(here.tokenUrl || "", {
    headers: { "X-Wearlog-Queue": "token" }, cache: "no-store", signal: within(PATIENCE_MS),
  });
  if (!answer.ok) return false;
  const told = await answer.json();
  pass = { token: told.token, who: String(told.who) };
  return true;
}

/** @param {Entry} entry @param {string} token @returns {{body: FormData | URLSearchParams, patience: number}} */
function bodyOf(entry, token) {
  const files = entry.fields.map(([, value]) => value).filter((value) => value instanceof File);
  const body = files.length ? new FormData() : new URLSearchParams();
  for (const [name, value] of entry.fields) body.append(name, /** @type {string} */ (value));
  body.set("csrfmiddlewaretoken", token);
  const bytes = files.reduce((sum, file) => sum + /** @type {File} */ (file).size, 0);
  return { body, patience: PATIENCE_MS + bytes / SLOWEST_BYTES_PER_MS };
}

/** @param {Entry} entry @param {boolean} later @returns {Promise<Answer>} throws where no answer came */
async function send(entry, later) {
  if (!pass && !(await askPass())) return { state: "signed_out" };
  for (const last of [false, true]) {
    const { body, patience } = bodyOf(entry, pass ? pass.token : "");
    const answer = await fetch(entry.url, {
      method: "POST", body, redirect: "manual", cache: "no-store", signal: within(patience),
      headers: { "X-Wearlog-Queue": entry.id, "X-Wearlog-Who": entry.who, ...(later ? { "X-Wearlog-Later": "1" } : {}) },
    });
    if ((answer.headers.get("Content-Type") || "").startsWith("application/json")) return answer.json();
    if (answer.status >= 500) return { state: "busy" };
    if (answer.status !== 403 || last) return { state: "gone" };
    if (!(await askPass())) return { state: "signed_out" };
  }
  return { state: "gone" };
}

const SETTLED = new Set(["refused", "moved", "asked", "gone", "other_person"]);
/** @type {Promise<Map<string, Answer>>} */
let running = Promise.resolve(new Map());
let rounds = 0;
let pause = SOON_MS;

/** @param {string} [awaited] the entry that somebody waits for @returns {Promise<Map<string, Answer>>} */
function flush(awaited) {
  if (!awaited && rounds > 1) return running;  // a round that has not begun takes all
  rounds += 1;
  running = running.then(() => round(awaited)).finally(() => { rounds -= 1; });
  return running;
}

/**
 * Send what waits, the oldest first. An entry that is refused holds up those of its press only.
 * @param {string} [awaited] the entry that somebody waits for
 * @returns {Promise<Map<string, Answer>>} what came of each that was sent
 */
async function round(awaited) {
  /** @type {Map<string, Answer>} */
  const answers = new Map();
  try {
    const held = new Set();
    for (const entry of await entries()) {
      if (entry.answer && !entry.again && SETTLED.has(entry.answer.state) && entry.answer.state !== "other_person") {
        held.add(entry.press);
      }
      if (held.has(entry.press)) continue;
      const answer = await send(entry, entry.id !== awaited);
      answers.set(entry.id, answer);
      if (answer.state === "saved") {
        pause = SOON_MS;
        await drop(entry.id);
      } else if (answer.state === "signed_out" || answer.state === "busy") {
        pass = null;
        // Another page of this device is sending the same, or the server has a bad moment: ask again soon.
        if (answer.state === "busy") setTimeout(() => flush(), pause);
        pause = Math.min(2 * pause, AGAIN_MS);
        break;
      } else {
        await note({ ...entry, answer, again: false });
        held.add(entry.press);
      }
    }
  } catch {
    pass = null;  // no network, or no answer: all stays, and is sent again
  }
  await show();
  return answers;
}

// -------- photos

/**
 * Smaller before it is kept, which also drops where it was taken.
 * @param {File} file
 * @returns {Promise<File>} a JPEG, or the file itself where it is no photo
 */
async function smaller(file) {
  if (!file.type.startsWith("image/") || file.type === "image/svg+xml") return file;
  try {
    const picture = await createImageBitmap(file, { imageOrientation: /** @type {any} */ ("from-image") });
    const share = Math.min(1, LONGEST_PX / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(picture.width * share));
    canvas.height = Math.max(1, Math.round(picture.height * share));
    const pen = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
    pen.fillStyle = "#fff";  // what is see-through would turn black
    pen.fillRect(0, 0, canvas.width, canvas.height);
    pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    /** @type {Blob | null} */
    const drawn = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", QUALITY));
    if (!drawn) return file;
    return new File([drawn], file.name.replace(/\.[^.]*$/, "") + ".jpg", { type: "image/jpeg" });
  } catch {
    return file;  // a kind of picture that this browser can't read: the server sees to it
  }
}

// -------- what is seen

const line = document.getElementById("unsent");

async function show() {
  const all = await entries();
  if (line) {
    line.hidden = all.length === 0;
    const words = all.length === 1 ? line.dataset.one : line.dataset.many;
    const link = line.querySelector("a");
    if (link) link.textContent = (words || "").replace("%n", String(all.length));
  }
  document.dispatchEvent(new CustomEvent("wearlog:queue", { detail: all }));
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
    const own = field.labels && field.labels[0] ? field.labels[0].textContent || "" : field.name;
    const legend = field.closest("fieldset")?.querySelector("legend")?.textContent;
    const value = field instanceof HTMLSelectElement ? field.selectedOptions[0]?.textContent || ""
      : files ? Array.from(files, (file) => file.name).join(", ") : field.value;
    const pair = field.type === "radio" ? [legend || "", own] : field.type === "checkbox" ? [own, "✓"] : [own, value];
    found.push([pair[0].trim(), pair[1].trim()]);
  }
  return found;
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
    at: typed.getTime(),
    who: here.who || "",
  };
}

/** @param {HTMLFormElement} form @param {HTMLElement | null} button */
async function submit(form, button) {
  form.setAttribute("aria-busy", "true");
  const entry = await entryOf(form, button);
  try {
    await takenOver;  // it goes on under the name of what is let go of there
    await keep(entry);
    if (form.dataset.mends && form.dataset.mends !== entry.id) await drop(form.dataset.mends);
    delete form.dataset.mends;
  } catch {
    return plainly(form, button);  // a browser that keeps nothing
  }
  // What was typed before goes first; where that can't be sent, this waits behind it.
  const answered = flush(entry.id).then((answers) => answers.get(entry.id) || { state: "waiting" });
  const soon = await Promise.race([answered, new Promise((resolve) => setTimeout(resolve, SAID_AFTER_MS))]);
  if (!soon) kept(form, false);
  /** @type {Answer} */
  const answer = await answered;
  if (!soon && !form.hidden) return;  // the next one is being typed; the list tells what came of this one
  // The form stays busy until the next page is there: a second touch meanwhile would be a second entry.
  if (answer.state === "saved" && answer.go) {
    location.assign(answer.go);
  } else if (["refused", "moved", "asked", "gone"].includes(answer.state)) {
    // The page says it better. Where none comes, the entry is sent again under the name that the page was posted
    // with, since it may have been stored after all; the page that comes goes on with the same entry.
    await note({ ...entry, answer, again: true });
    forget(form);
    form.append(Object.assign(document.createElement("input"), { type: "hidden", name: "queue_name", value: entry.id }));
    plainly(form, button);
  } else {
    kept(form, answer.state === "signed_out");
  }
}

/** @param {HTMLFormElement} form @param {HTMLElement | null} button the way of a page without script */
function plainly(form, button) {
  if (button instanceof HTMLButtonElement && button.name) {
    form.append(Object.assign(document.createElement("input"), { type: "hidden", name: button.name, value: button.value }));
  }
  form.submit();
}

/** @param {HTMLFormElement} form say that the entry is kept, and why, and offer the next one
 *  @param {boolean} signedOut */
function kept(form, signedOut) {
  const note = /** @type {HTMLElement} */ (document.getElementById("kept"));
  const words = /** @type {HTMLElement} */ (note.querySelector("strong"));
  words.textContent = (signedOut ? note.dataset.signedOut : note.dataset.offline) || "";
  form.hidden = true;
  note.hidden = false;
  note.focus();
  note.scrollIntoView({ block: "center" });
  const next = /** @type {HTMLButtonElement} */ (note.querySelector("button"));
  next.onclick = () => {
    note.hidden = true;
    form.hidden = false;
    form.removeAttribute("aria-busy");
    form.reset();
    rename(form);
    /** @type {HTMLElement | null} */ (form.querySelector("input:not([type=hidden]), select"))?.focus();
  };
}

/** @param {HTMLFormElement} form the next entry is another one */
function forget(form) {
  form.querySelectorAll("[name=queue_name]").forEach((field) => field.remove());
}

/** @param {HTMLFormElement} form a page from the device's memory carries a name that was used before */
function rename(form) {
  forget(form);
  const ref = form.elements.namedItem("ref");
  if (ref instanceof HTMLInputElement) ref.value = newName();
}

/** @param {HTMLFormElement} form fill in what is to be mended; it takes its place in the queue once it is saved */
async function mend(form) {
  const id = new URLSearchParams(location.hash.slice(1)).get("mend");
  const entry = id && (await entries()).find((one) => one.id === id);
  if (!entry) return;
  for (const field of form.elements) {
    if (!(field instanceof HTMLInputElement || field instanceof HTMLSelectElement || field instanceof HTMLTextAreaElement)) continue;
    const values = entry.fields.filter(([name]) => name === field.name).map(([, value]) => value);
    if (field.name === "csrfmiddlewaretoken" || field.name === "ref" || field.type === "hidden") continue;
    const files = values.filter((value) => value instanceof File);
    if (field instanceof HTMLInputElement && field.type === "file") {
      const taken = new DataTransfer();
      for (const file of files) taken.items.add(/** @type {File} */ (file));
      field.files = taken.files;
      continue;
    }
    const value = String(values[0] ?? "");
    if (field instanceof HTMLInputElement && (field.type === "radio" || field.type === "checkbox")) field.checked = values.includes(field.value);
    else if (values.length) field.value = field.type === "datetime-local" ? value.slice(0, 16) : value;
  }
  form.dataset.mends = entry.id;
}

/** @returns {Promise<void>} what a page asks about waits for the answer on that page, or on the list */
async function takeOver() {
  const entry = here.took && (await entries()).find((one) => one.id === here.took);
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

window.addEventListener("pageshow", (event) => {
  if (!event.persisted) return;
  // Back again after it was saved: what is typed now is another entry.
  for (const form of /** @type {NodeListOf<HTMLFormElement>} */ (document.querySelectorAll("form[data-queue]"))) {
    form.removeAttribute("aria-busy");
    rename(form);
  }
});
document.getElementById("send-now")?.addEventListener("click", () => flush());
window.addEventListener("online", () => flush());
document.addEventListener("visibilitychange", () => { if (!document.hidden) flush(); });
setInterval(async () => { if ((await entries()).length) flush(); }, AGAIN_MS);
const takenOver = takeOver().catch(() => {});
takenOver.then(show).then(() => flush());
