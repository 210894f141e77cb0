// Sends what this device keeps, and tells what came of it.
"use strict";

const PATIENCE_MS = 10000;
const SLOWEST_BYTES_PER_MS = 8;
const SOON_MS = 1000;
const AGAIN_MS = 30000;
const LONGEST_WAIT_MS = 600000;

/** @type {{token: string, who: string} | null} */
let pass = null;
/** @type {Answer | null} why the last entry that was tried did not get through, where it did not */
let trouble = null;

/** @param {number} ms @returns {AbortSignal} one that ends a request after so long */
function within(ms) {
  return /** @type {any} */ (AbortSignal).timeout(ms);  // younger than the types that check this file
}

/** @param {Response} answer @returns {Promise<any>} what it says in JSON, or null */
async function saidBy(answer) {
  if (!(answer.headers.get("Content-Type") || "").startsWith("application/json")) return null;
  return answer.json();
}

/** @param {Response} answer @returns {boolean} whether the server could not see to the entry at all */
const isBusy = (answer) => answer.status >= 500 || answer.status === 429;

/** @param {Response} answer @returns {Promise<Answer>} that the server is busy, in its own words, and until when */
async function busy(answer) {
  return busySaid(answer, await saidBy(answer).catch(() => null));
}

/** @param {Response} answer @param {any} said @returns {Answer} */
function busySaid(answer, said) {
  const text = said?.text ?? said?.keep;
  const asked = answer.headers.get("Retry-After") || "";
  const wait = /^\d+$/.test(asked) ? Number(asked) * 1000 : Date.parse(asked) - Date.now();
  return {
    state: "busy",
    texts: typeof text === "string" ? [text] : [],
    wait: wait > 0 ? Math.min(wait, LONGEST_WAIT_MS) : 0,
  };
}

/** @returns {Promise<Answer | null>} nothing once it is known who is signed in; throws without a network */
async function askPass() {
  const answer = await fetch(here.tokenUrl || "", {
    headers: { "X-Wearlog-Queue": "token" }, cache: "no-store", signal: within(PATIENCE_MS),
  });
  if (isBusy(answer)) return busy(answer);
  if (answer.headers.has("X-Wearlog-Ended")) forgetKept();
  if (answer.status === 401 || answer.status === 403) return { state: "signed_out" };
  const told = await answer.json();
  pass = { token: told.token, who: String(told.who) };
  return null;
}

/** This device was signed out from afar: no page that it kept is shown any more. What waits to be sent stays. */
function forgetKept() {
  const workers = /** @type {ServiceWorkerContainer | undefined} */ (navigator.serviceWorker);
  workers?.ready.then(({ active }) => active?.postMessage({ forget: true }));
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
  for (const last of [false, true]) {
    const closed = pass ? null : await askPass();
    if (closed) return closed;
    const { body, patience } = bodyOf(entry, pass ? pass.token : "");
    const answer = await fetch(entry.url, {
      method: "POST", body, redirect: "manual", cache: "no-store", signal: within(patience),
      headers: { "X-Wearlog-Queue": entry.id, "X-Wearlog-Who": entry.who, ...(later ? { "X-Wearlog-Later": "1" } : {}) },
    });
    if (answer.type === "opaqueredirect") throw new TypeError("something before the server answered");
    if (isBusy(answer)) return busy(answer);
    if (answer.headers.has("X-Wearlog-Ended")) forgetKept();
    const said = await saidBy(answer);
    if (said) return said.state === "busy" ? busySaid(answer, said) : said;
    if (answer.status !== 403 || last) return { state: "gone" };
    pass = null;
  }
  return { state: "gone" };
}

/** @param {Entry} entry @param {boolean} later @returns {Promise<Answer>} */
async function attempt(entry, later) {
  try {
    return await send(entry, later);
  } catch {
    return { state: navigator.onLine ? "unreached" : "offline" };
  }
}

/** @type {Promise<Map<string, Answer>>} */
let running = Promise.resolve(new Map());
let rounds = 0;
let awaited = 0;
let pause = SOON_MS;
let quietUntil = 0;
/** @type {Set<string>} the entries that this page has seen saved */
const sentHere = new Set();

/** @param {string} [name] the entry that somebody waits for @returns {Promise<Map<string, Answer>>} */
function flush(name) {
  if (!name && rounds > 1) return running;  // a round that has not begun takes all
  rounds += 1;
  if (name) awaited += 1;
  running = running.then(() => round(name)).finally(() => { rounds -= 1; });
  return running;
}

/** What somebody asks for by hand goes out now, whatever the server said before. */
function sendNow() {
  quietUntil = 0;
  return flush();
}

/**
 * Send what waits, the oldest first: past what was refused, and past what the server stumbles over.
 * For an entry that somebody waits for, only that and what it builds on; the rest goes out from the next page.
 * @param {string} [name] the entry that somebody waits for
 * @returns {Promise<Map<string, Answer>>} what came of each that was sent
 */
async function round(name) {
  /** @type {Map<string, Answer>} */
  const answers = new Map();
  if (name) awaited -= 1;
  try {
    let left = await entries();
    /** @type {Set<string>} */
    const lost = new Set();
    let failures = 0;
    for (const { id } of turns(left, name)) {
      const mine = id === name;
      if (!name && awaited) break;  // somebody has begun to wait
      const entry = await found(id);
      if (!entry) {
        left = left.filter((one) => one.id !== id);  // thrown away or sent by another page meanwhile
        continue;
      }
      if (!mine && (isDecided(entry) || waitsFor(entry, left).length || Date.now() < quietUntil)) continue;
      if (mine && entry.needs?.some((thing) => lost.has(thing))) break;
      const answer = await attempt(entry, !mine);
      answers.set(id, answer);
      if (answer.state === "saved") {
        [failures, pause, trouble] = [0, SOON_MS, null];
        left = left.filter((one) => one.id !== id);
        sentHere.add(id);
        await drop(id);
      } else if (DECIDED.has(answer.state) || answer.state === "other_person") {
        [failures, trouble] = [0, null];
        await note({ ...entry, answer, again: false });
      } else {
        trouble = answer;
        failures += 1;
        pass = null;
        if (answer.state === "unreached") (entry.changes || []).forEach((thing) => lost.add(thing));
        if (answer.state === "busy") later(answer.wait || 0);
        if (answer.state === "signed_out" || answer.state === "offline") break;
        await note({ ...entry, answer: entry.again ? entry.answer : answer, stumbles: (entry.stumbles || 0) + 1 });
        if (answer.wait || failures > 1) break;
      }
    }
  } catch {
    pass = null;  // a browser that gives nothing back just now: all stays
  }
  await show();
  return answers;
}

/** @param {Entry[]} all @param {string} [name] @returns {Entry[]} in which order they are tried */
function turns(all, name) {
  if (!name) return [...all].sort((a, b) => Number(!!a.stumbles) - Number(!!b.stumbles));
  const wanted = new Set([name]);
  for (const entry of [...all].reverse()) {
    if (wanted.has(entry.id)) waitsFor(entry, all).forEach((one) => wanted.add(one.id));
  }
  return all.filter((one) => wanted.has(one.id));
}

/** @param {number} wait ms that the server asked for; 0 where it did not say */
function later(wait) {
  if (wait) quietUntil = Date.now() + wait;
  setTimeout(() => flush(), wait || pause);
  pause = Math.min(2 * pause, AGAIN_MS);
}
