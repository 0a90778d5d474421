// Photographs on their way, from whatever page is open: one request each, tried again until the bench computer has
// answered for good, never made smaller here. Sending one twice is harmless: it knows a picture by its content.
import { ready, renewToken, say, settled, token } from "./talk.js";
import { contentOf, forgetPhoto, unsentPhotos } from "./unsent.js";

const STALLED = 60000; // ms without a byte on its way
const LOOKING = 300000; // ms from the last byte to the answer: others may be looked through first
const LONGEST = 60; // s between two rounds
const listeners = new Set();
const settledHere = new Set();
const gone = new Map();
let asked = false;
let running = false;
let wake = () => {};

// Told of each step: (key, state, words, share sent). States: sending, waits, saved, refused, elsewhere (or given up).
export function onPhoto(tell) { listeners.add(tell); }

function told(key, state, words, share = 0) { listeners.forEach((tell) => tell(key, state, words, share)); }

export async function waitingPhotos() { return (await unsentPhotos()).filter((key) => !settledHere.has(key[1])); }

// Those whose car or stage is not there any more.
export function lonelyPhotos() { return [...gone.values()]; }

export async function giveUpPhoto(key) {
  gone.delete(key[1]);
  await forgetPhoto(key);
  settledHere.add(key[1]);
  told(key, "elsewhere", say("photo_given_up", { name: key[3] }));
}

function attempt(key, content) {
  return new Promise((resolve) => {
    const request = new XMLHttpRequest();
    let stalled = setTimeout(() => request.abort(), STALLED);
    const moving = (wait) => { clearTimeout(stalled); stalled = setTimeout(() => request.abort(), wait); };
    request.open("POST", key[2]);
    request.setRequestHeader("x-plumbsquare-token", token());
    request.setRequestHeader("x-name", encodeURIComponent(key[3]).slice(0, 300));
    request.setRequestHeader("content-type", "application/octet-stream");
    request.upload.onprogress = (event) => {
      moving(STALLED);
      if (!event.lengthComputable) return;
      const share = event.loaded / event.total;
      told(key, "sending", say("sending", { name: key[3], percent: Math.floor(100 * share) }), share);
    };
    request.upload.onload = () => moving(LOOKING);
    request.onloadend = () => { clearTimeout(stalled); resolve(request.status ? request : null); };
    request.send(content);
  });
}

// One photograph: "settled", "held" where the next may be tried now, "stop" where it need not be.
async function one(key, wait) {
  const name = key[3];
  let content;
  try { content = await contentOf(key); } catch { told(key, "waits", say("photo_unread", { name })); return "held"; }
  if (!content) { settledHere.add(key[1]); told(key, "elsewhere", say("photo_elsewhere", { name })); return "settled"; }
  let answer = await attempt(key, content);
  if (answer && answer.status === 403 && (await renewToken().catch(() => false))) answer = await attempt(key, content);
  if (!answer) { told(key, "waits", say("photo_again", { name, seconds: wait })); return "stop"; }
  let why = answer.status;
  try { why = JSON.parse(answer.responseText).error || why; } catch { /* no sentence came with it */ }
  if (!settled(answer.status)) {
    told(key, "waits", say("photo_held", { name, why }));
    if (answer.status !== 404) return "stop";
    gone.set(key[1], key);
    return "held";
  }
  settledHere.add(key[1]);
  gone.delete(key[1]);
  await forgetPhoto(key).catch(() => {}); // then the next page sends it once more, which changes nothing
  if (answer.status === 200) told(key, "saved", say("photo_saved", { name }));
  else told(key, "refused", say("photo_failed", { name, why }));
  return "settled";
}

// All that waits, in the order chosen, round after round until nothing waits.
async function rounds() {
  let wait = 2;
  for (let keys = await waitingPhotos(); keys.length; keys = await waitingPhotos()) {
    let how = "settled";
    let whole = true;
    for (const key of keys) {
      how = await one(key, wait);
      if (how === "settled") wait = 2; else whole = false;
      if (how === "stop") break;
    }
    if (whole) continue;
    await new Promise((next) => { wake = next; setTimeout(next, wait * 1000); });
    wait = Math.min(wait * 2, LONGEST);
  }
}

export async function sendPhotos() {
  asked = true;
  wake();
  if (running) return;
  running = true;
  await ready;
  try {
    while (asked) { asked = false; await rounds(); }
  } finally { running = false; }
}

window.addEventListener("online", () => wake());
