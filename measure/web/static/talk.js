// Talking with the bench computer: writes carry a token and an id of their own, so that a retry is never a second change.
// What cannot be sent is kept in this browser, in order, and sent later, once.

const KEPT = "plumbsquare-kept";
const MOST_INSTEAD = 50;
let here = null; // the list where the browser keeps nothing (a private window, no room), as long as the page is open
let words = {};
const listeners = new Set();
const underWay = new Set(); // ids of readings whose answer is awaited: they are kept, and not sent again meanwhile

export const ready = fetch("/api/sentences").then((answer) => (answer.ok ? answer.json() : {})).catch(() => ({})).then((all) => { words = all; });

export function say(key, figures = {}) {
  return (words[key] || key).replace(/\{(\w+)\}/g, (whole, name) => (name in figures ? String(figures[name]) : whole));
}

export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
}

function meta() { return document.querySelector('meta[name="plumbsquare-token"]'); }
export function token() { return meta() ? meta().content : ""; }

export async function renewToken() {
  const answer = await fetch("/api/token", { cache: "no-store" });
  if (!answer.ok) return false;
  const fresh = (await answer.json()).token;
  if (!fresh || fresh === token()) return false;
  meta().content = fresh;
  return true;
}

// Whether an answer is the last word. What was not taken for want of a cookie, a disk, a folder or time is kept.
export function settled(status) { return status < 500 && ![401, 403, 404, 408, 421, 429].includes(status); }

export class NoConnection extends Error {}

// One write. {status, data}; NoConnection where the bench computer cannot be reached.
export async function post(path, data) {
  for (let round = 0; ; round += 1) {
    let answer;
    try {
      answer = await fetch(path, {
        method: "POST", cache: "no-store", signal: AbortSignal.timeout(15000),
        headers: { "content-type": "application/json", "x-plumbsquare-token": token() }, body: JSON.stringify(data),
      });
    } catch { throw new NoConnection(); }
    if (answer.status === 403 && round === 0 && (await renewToken().catch(() => false))) continue;
    let body = {};
    try { body = await answer.json(); } catch { body = {}; }
    return { status: answer.status, data: body };
  }
}

export function kept() {
  if (here !== null) return here;
  try { return JSON.parse(localStorage.getItem(KEPT) || "[]"); } catch { return []; }
}

function keep(list) {
  try { localStorage.setItem(KEPT, JSON.stringify(list)); here = null; } catch { here = list; }
  listeners.forEach((tell) => tell());
}

export function readingsAtRisk() { return here === null ? 0 : here.length; }

export function onKept(tell) { listeners.add(tell); }

// Send a reading, or keep it. Kept first and taken out when answered: a page closed in between loses nothing.
// `before`: what waits for the same row and gives way; should it have arrived after all, the bench computer knows its id.
export async function send(path, reading, before = null) {
  const instead = before ? [...(before.data.instead || []), before.data.id].slice(-MOST_INSTEAD) : [];
  const data = { ...reading, instead };
  underWay.add(data.id);
  keep([...kept().filter((each) => each.data.id !== before?.data.id), { path, data }]);
  try {
    const answer = await post(path, data);
    if (settled(answer.status)) forget(data.id);
    return answer;
  } catch (problem) {
    if (problem instanceof NoConnection) return { status: 0, data: {} };
    throw problem;
  } finally { underWay.delete(data.id); }
}

export function forget(id) { keep(kept().filter((each) => each.data.id !== id)); }

let sending = false;

// Send what was kept, in order. What is refused for a reason stays named on the page; what is not taken yet stays kept.
export async function sendKept(refused, sent, held) {
  if (sending) return;
  sending = true;
  try {
    const again = async () => {
      const stillKept = (each) => kept().some((one) => one.data.id === each.data.id);
      for (const each of kept()) {
        if (underWay.has(each.data.id) || !stillKept(each)) continue; // it gave way to another, or was thrown away, while those before it were sent
        const answer = await post(each.path, each.data);
        if (!settled(answer.status)) {
          held(each, answer.status, answer.data.error || "");
          if (answer.status === 401) return;
          continue;
        }
        if (answer.status >= 400 && !stillKept(each)) continue;
        forget(each.data.id);
        if (answer.status >= 400) refused(each, answer.data.error || ""); else sent(each, answer.data);
      }
    };
    if (navigator.locks) await navigator.locks.request(KEPT, again); else await again();
  } catch (problem) {
    if (!(problem instanceof NoConnection)) throw problem;
  } finally { sending = false; }
}
