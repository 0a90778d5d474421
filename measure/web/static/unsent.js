// Photographs that the bench computer has not acknowledged yet, kept in this browser's own database, so that closing the
// page loses none. A photograph is known by its key: [when it was chosen, an id, where it is to go, its name].
import { newId } from "./talk.js";

const NAME = "plumbsquare";
const STORE = "photographs";
const here = new Map(); // id -> {key, file}: where the browser keeps nothing (a private window, no room), while the page is open

function opened() {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE);
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

// Opened for each step: a phone closes the database of a page that it sends to sleep.
async function inStore(mode, act) {
  const base = await opened();
  try {
    return await new Promise((resolve, reject) => {
      const step = base.transaction(STORE, mode, { durability: "strict" });
      const asked = act(step.objectStore(STORE));
      step.oncomplete = () => resolve(asked.result);
      step.onabort = () => reject(step.error);
    });
  } finally { base.close(); }
}

// Keep a file; its key. Rejects where the file itself cannot be read.
export async function keepPhoto(path, file) {
  const key = [Date.now(), newId(), path, file.name];
  const bytes = await file.arrayBuffer();
  try { await inStore("readwrite", (store) => store.put(bytes, key)); } catch { here.set(key[1], { key, file: new Blob([bytes]) }); }
  return key;
}

// The keys, the first chosen first.
export async function unsentPhotos() {
  const kept = await inStore("readonly", (store) => store.getAllKeys()).catch(() => []);
  return [...kept, ...[...here.values()].map((each) => each.key)];
}

// The content; undefined where another page has sent it meanwhile.
export async function contentOf(key) {
  if (here.has(key[1])) return here.get(key[1]).file;
  const bytes = await inStore("readonly", (store) => store.get(key));
  return bytes && new Blob([bytes]);
}

export async function forgetPhoto(key) {
  if (!here.delete(key[1])) await inStore("readwrite", (store) => store.delete(key));
}

export function photosAtRisk() { return here.size; }
