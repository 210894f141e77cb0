// What is typed stays on this device until it is answered: the browser's own database, flushed to the disk.
"use strict";

/**
 * @typedef {{state: string, go?: string, texts?: string[], problems?: [string, string][],
 *            doubts?: {code: string, question: string}[], confirmed?: string[], name?: string,
 *            wait?: number}} Answer
 * @typedef {string | File} Value
 * @typedef {{id: string, url: string, fields: [string, Value][], told: [string, string][], title: string,
 *            press: string, at: number, who: string, changes?: string[], needs?: string[], behind?: string,
 *            answer?: Answer, again?: boolean, turn?: number, stumbles?: number}} Entry
 */

const here = document.body.dataset;

/** @returns {string} */
function newName() {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return "q-" + Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** @type {Promise<IDBDatabase>} */
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
/** @param {string} id @returns {Promise<Entry | undefined>} */
const found = (id) => stored("readonly", (store) => store.get(id));

/** @returns {Promise<Entry[]>} the oldest first */
async function entries() {
  const all = await stored("readonly", (store) => store.getAll());
  return all.sort((/** @type {Entry} */ a, /** @type {Entry} */ b) => a.at - b.at);
}
