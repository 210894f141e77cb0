// Pages that open without a network: starts the worker that keeps them, and marks a page that comes from it.
// Needs https (or the machine itself); elsewhere it does nothing.
"use strict";

const workers = /** @type {ServiceWorkerContainer | undefined} */ (navigator.serviceWorker);
const PAGES_OF = "wearlog-pages-";

const mark = document.getElementById("kept-from");
if (mark && here.keptAt && !here.notHere) {
  const words = /** @type {HTMLElement} */ (mark.querySelector("strong"));
  words.textContent = (mark.dataset.words || "").replace("%s", moment(Number(here.keptAt), true));
  mark.hidden = false;
}
const gone = document.getElementById("not-here");
if (gone && here.notHere) gone.hidden = false;
for (const button of document.querySelectorAll("#kept-from button, #not-here button")) {
  button.addEventListener("click", () => location.reload());
}

async function start() {
  if (!workers || !here.worker) return;
  if (!here.keptAt) {
    const others = (await caches.keys()).filter((name) => name.startsWith(PAGES_OF) && name !== PAGES_OF + here.who);
    await Promise.all(others.map((name) => caches.delete(name)));
  }
  await workers.register(here.worker, { scope: "/" });
  const [way] = /** @type {PerformanceNavigationTiming[]} */ (performance.getEntriesByType("navigation"));
  const { active } = await workers.ready;
  // This page was asked for before there was a worker that could keep it.
  if (!way?.workerStart) active?.postMessage({ keep: location.href.split("#")[0] });
}
start().catch(() => {});  // a browser that is set to keep nothing

// -------- what is kept, on the page of what waits

/** @returns {Promise<[string, string, number][]>} address, title and time of each page that opens without a network */
async function keptPages() {
  /** @type {[string, string, number][]} */
  const found = [];
  if (!(await caches.has(PAGES_OF + here.who))) return found;  // opening it would put it up
  const cache = await caches.open(PAGES_OF + here.who);
  for (const request of await cache.keys()) {
    const page = await cache.match(request, { ignoreVary: true });
    if (!page) continue;
    const paper = new DOMParser().parseFromString(await page.text(), "text/html");
    const words = [paper.querySelector("h1"), paper.querySelector("header .aside")].map((one) => one?.textContent?.trim());
    found.push([request.url, words.filter(Boolean).join(" · "), Number(page.headers.get("X-Wearlog-Kept-At"))]);
  }
  return found.sort((one, other) => one[1].localeCompare(other[1]));
}

const shelf = document.getElementById("kept-pages");
if (shelf && workers) {
  keptPages().then((all) => {
    const lines = all.map(([url, title, at]) => {
      const line = document.createElement("li");
      const link = Object.assign(document.createElement("a"), { href: url, textContent: title, className: "textlink" });
      const when = Object.assign(document.createElement("span"), { className: "soft", textContent: ` ${moment(at, true)}` });
      line.append(link, when);
      return line;
    });
    shelf.querySelector("ul")?.replaceChildren(...lines);
    shelf.hidden = lines.length === 0;
  });
}
