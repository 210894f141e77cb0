// Opens the log's pages without a network. Only where the browser allows it: over https, or on the machine itself.
// It answers nothing but GET, keeps nothing but what the server marks as fit to be kept, and that for one person.
// The server puts the line with `self.FACTS` before this file.
"use strict";

/**
 * @typedef {{statics: string, waiting: string, signIn: string, signOut: string, title: string, text: string}} Facts
 */

const worker = /** @type {ServiceWorkerGlobalScope} */ (/** @type {unknown} */ (self));
const facts = /** @type {Facts} */ (/** @type {any} */ (self).FACTS);
const WAITING = new URL(facts.waiting, worker.location.origin).href;
const PATIENCE_MS = 3000;
const MOST_PAGES = 80;
const FRESH_MS = 12 * 60 * 60 * 1000;
const PAGES = "wearlog-pages-";
const STATICS = "wearlog-statics";
const UNSURE = "wearlog-unsure";
const KEPT_AT = "X-Wearlog-Kept-At";
const AWAY = [502, 503, 504];  // what stands before the server says that it does not answer

// -------- whose pages

/** @type {string | null} whose page came last; nothing is known when the worker has just started */
let present = null;
let turn = 0;
/** How often somebody's pages went: what was asked for before that is not kept after it. */
let clearings = 0;

/** @param {string} who all pages but this person's go @returns {Promise<void>} */
async function only(who) {
  if (present !== null || !who) clearings += 1;
  present = who;
  turn += 1;
  const names = await caches.keys();
  await Promise.all(names.filter((name) => name.startsWith(PAGES) && name !== PAGES + who).map((name) => caches.delete(name)));
}

/** @returns {Promise<string | null>} the name of the shelf of the one person of whom there are any pages */
async function shelfName() {
  const names = (await caches.keys()).filter((name) => name.startsWith(PAGES));
  return names.length !== 1 || await caches.has(UNSURE) ? null : names[0];
}

/** @param {string} url @returns {Promise<Response | undefined>} the page as it was kept */
async function keptPage(url) {
  const cacheName = await shelfName();
  // Not opened: a shelf that went in this very moment would be put up again by that.
  return cacheName === null ? undefined : caches.match(url, { cacheName, ignoreVary: true });
}

// -------- keeping

/**
 * @param {string} url
 * @param {Response} answer
 * @param {string} who
 * @param {number} since how many clearings there had been when it was asked for
 * @param {Cache} [shelf] where it belongs, if that was opened before it was asked for
 * @returns {Promise<void>}
 */
async function keep(url, answer, who, since, shelf) {
  // What was said once ("Saved: ...") must not be said again by the kept page.
  const text = (await answer.text()).replace(/<ul class="messages">[^]*?<\/ul>/, "");
  const headers = new Headers(answer.headers);
  headers.delete("Content-Encoding");
  headers.delete("Content-Length");
  headers.set(KEPT_AT, String(Date.now()));
  await keepStatics(text);
  // The clearings are looked at last, so that none comes between this and the opening.
  if (await caches.has(UNSURE) || since !== clearings) return;
  const cache = shelf || await caches.open(PAGES + who);
  await cache.delete(url, { ignoreVary: true });  // so that the oldest stand first
  await cache.put(url, new Response(text, { headers }));
  for (const request of (await cache.keys()).slice(0, -MOST_PAGES)) {
    if (request.url !== WAITING) await cache.delete(request);
  }
  if (since === clearings && !(await caches.has(UNSURE))) return;
  await cache.delete(url, { ignoreVary: true });  // signed out in this very moment
  if (present !== who) await caches.delete(PAGES + who);
}

/** @param {string} text a page @returns {string[]} the style sheets, scripts and pictures that it names */
function staticsOf(text) {
  const found = [...text.matchAll(/(?:src|href)="([^"]+)"/g)].map((match) => new URL(match[1], worker.location.origin));
  return found.filter(isStatic).map((url) => url.href);
}

const isStatic = (/** @type {URL} */ url) => url.origin === worker.location.origin && url.pathname.startsWith(facts.statics);

/** @param {string} text @returns {Promise<void>} */
async function keepStatics(text) {
  const cache = await caches.open(STATICS);
  await Promise.all(staticsOf(text).map(async (url) => {
    if (!(await cache.match(url))) await cache.add(url);
  }));
}

/**
 * Ask the network, and keep what may be kept.
 * @param {Request | string} request
 * @param {(work: Promise<unknown>) => void} aside work that the answer need not wait for
 * @param {boolean} [leads] whether somebody asked for it, whose answer tells who is signed in
 * @param {Cache} [shelf] where it was kept before
 * @returns {Promise<Response>}
 */
async function fresh(request, aside, leads = false, shelf = undefined) {
  const begun = turn;
  let since = clearings;
  const answer = await fetch(request);
  if (answer.headers.has("X-Wearlog-Ended") && begun === turn) await only("");  // signed out from afar
  const who = answer.headers.get("X-Wearlog-Who");
  if (who && begun === turn && (leads || present === null)) {
    if (who !== present) {
      const going = only(who);
      since = clearings;  // those were the others' pages
      await going;
    }
    if (leads) await caches.delete(UNSURE);
  }
  if (!who || who !== present) return answer;  // asked by somebody who has gone since
  if (answer.status === 200 && !answer.redirected && answer.headers.has("X-Wearlog-Keep")) {
    const url = typeof request === "string" ? request : request.url;
    const keeping = keep(url.split("#")[0], answer.clone(), who, since, shelf);
    aside(keeping.then(() => shelf ? undefined : keepWaiting()).catch(() => {}));
  }
  return answer;
}

/** @returns {Promise<void>} the page that stands in for those that are not kept */
async function keepWaiting() {
  const stored = await keptPage(WAITING);
  if (stored && Date.now() - Number(stored.headers.get(KEPT_AT)) < FRESH_MS) return;
  /** @type {Promise<unknown>[]} */
  const work = [];
  await fresh(WAITING, (more) => work.push(more));
}

// -------- answering

/** @param {Response} stored @param {string} [more] @returns {Promise<Response>} the page with a mark of when it was kept */
async function marked(stored, more = "") {
  const text = await stored.text();
  const at = stored.headers.get(KEPT_AT);
  return new Response(text.replace("<body", `<body data-kept-at="${at}"${more}`), { headers: stored.headers });
}

/** @returns {Promise<Response>} what to show where a page is not kept and there is no network */
async function instead() {
  const stored = await keptPage(WAITING);
  if (stored) return marked(stored, ' data-not-here="yes"');
  const page = `<!doctype html><meta charset="utf-8"><meta name="viewport" content="width=device-width">` +
    `<title>${facts.title}</title><h1>${facts.title}</h1><p>${facts.text}</p>`;
  return new Response(page, { status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } });
}

/** @param {FetchEvent} event @returns {Promise<Response>} the page from the network, else the kept one */
async function opened(event) {
  const answer = fresh(event.request, (work) => event.waitUntil(work), true).catch(() => null);
  const stored = await keptPage(event.request.url.split("#")[0]);
  if (!stored) return (await answer) || instead();
  // A redirect that comes too late to be followed may lead to the sign-in: that page says whether somebody ended it.
  event.waitUntil(answer.then((late) => late?.type === "opaqueredirect" ? fresh(facts.signIn, () => {}, true) : late).catch(() => {}));
  const soon = await Promise.race([answer, new Promise((resolve) => setTimeout(resolve, PATIENCE_MS))]);
  return soon instanceof Response && !AWAY.includes(soon.status) ? soon : marked(stored);
}

/** @param {FetchEvent} event @returns {Promise<Response>} a style sheet, a script or a picture */
async function pieces(event) {
  const cache = await caches.open(STATICS);
  const stored = await cache.match(event.request, { ignoreVary: true });
  const named = /\.[0-9a-f]{12}\.\w+$/.test(new URL(event.request.url).pathname);  // named after what is in it
  if (stored && named) return stored;
  const answer = fetch(event.request).then(async (found) => {
    if (found.status === 200) await cache.put(event.request, found.clone());
    return found;
  });
  if (!stored) return answer;
  const kept = answer.then((found) => (found.ok ? found : stored), () => stored);
  event.waitUntil(kept);
  return /** @type {Promise<Response>} */ (Promise.race([kept, new Promise((resolve) => setTimeout(resolve, PATIENCE_MS, stored))]));
}

worker.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== worker.location.origin) return;
  const signsOut = request.method === "POST" && url.pathname === facts.signOut;
  if (signsOut) event.waitUntil(only(""));
  if (signsOut || (request.method === "POST" && url.pathname.startsWith(facts.signIn))) event.waitUntil(caches.open(UNSURE));
  if (request.method !== "GET") return;
  if (request.mode === "navigate") event.respondWith(opened(event));
  else if (isStatic(url)) event.respondWith(pieces(event));
});

// -------- coming and going

/** A new version brings what is kept up to date before it takes over; what it can't reach stays as it is. */
async function renew() {
  const statics = await caches.open(STATICS);
  for (const request of await statics.keys()) {
    const answer = await fetch(request.url, { cache: "reload" }).catch(() => null);
    if (answer && answer.status === 200) await statics.put(request, answer);
  }
  /** @type {Promise<unknown>[]} */
  const work = [];
  // Until this version takes over, the one before clears. What is put on a shelf that went meanwhile goes with it.
  const name = await shelfName();
  const shelf = name === null ? undefined : await caches.open(name);
  for (const request of await shelf?.keys() || []) {
    await fresh(request.url, (more) => work.push(more), false, shelf).catch(() => {});
  }
  await Promise.all(work);
  const named = new Set();
  for (const name of await caches.keys()) {
    if (!name.startsWith(PAGES)) continue;
    const cache = await caches.open(name);
    for (const request of await cache.keys()) {
      const page = await cache.match(request, { ignoreVary: true });
      for (const url of page ? staticsOf(await page.text()) : []) named.add(url);
    }
  }
  for (const request of await statics.keys()) {
    if (!named.has(request.url)) await statics.delete(request);
  }
}

worker.addEventListener("install", (event) => event.waitUntil(renew().finally(() => worker.skipWaiting())));
worker.addEventListener("activate", (event) => event.waitUntil(worker.clients.claim()));
// The page that was open before this worker was there asks to be kept; one whose entry was turned away asks to forget.
worker.addEventListener("message", (event) => {
  if (event.data.forget) return event.waitUntil(only(""));
  event.waitUntil(fresh(event.data.keep, (work) => event.waitUntil(work), true).catch(() => {}));
});
