// What every page shares: whether the bench computer is there, what is kept, and looking again at what may change.
import "./decimals.js";
import { follow } from "./follow.js";
import { giveUpPhoto, lonelyPhotos, onPhoto, sendPhotos, waitingPhotos } from "./sending.js";
import { forget, kept, onKept, readingsAtRisk, ready, say, sendKept } from "./talk.js";
import { photosAtRisk } from "./unsent.js";

const state = document.getElementById("link-state");
const LOOK = 1200;
const REFUSED = "plumbsquare-refused";
const HOLD = 10000; // ms until what was not taken is offered again
const held = new Map(); // id of a reading that was not taken -> {status, why}
let there = true;
let locked = false;
let trouble = "";
let told = 0;
let photos = [];
let offered = -HOLD;

// What was refused after it had been kept stays on the page until somebody has seen it.
function refusals() {
  try { return JSON.parse(localStorage.getItem(REFUSED) || "[]"); } catch { return []; }
}

function refuse(what) {
  try { localStorage.setItem(REFUSED, JSON.stringify([...refusals(), what])); } catch { tell(say("was_refused", { what })); }
}

const cellsOf = (each) => Object.values(each.data.cells || {}).join(" ");

function notTaken(each, status, why) {
  if (status === 401) locked = true;
  held.set(each.data.id, { status, why });
}

function sentLater(each, fit) {
  const said = tell(say("sent_later", { what: `${cellsOf(each)}. ${fit.words || ""}` }));
  if (fit.how === "working") follow(each.path, fit.source, () => isLast(said), (later) => sentLater(each, later));
}

// The cars or stages of these are not there any more: only a person can say that they are not wanted.
const lonely = () => kept().filter((each) => held.get(each.data.id)?.status === 404);

const atRisk = () => readingsAtRisk() + photosAtRisk();

function show() {
  const waiting = kept();
  const kin = waiting.map((each) => held.get(each.data.id)).filter(Boolean);
  const stuck = !there || locked || kin.length > 0 || trouble !== "";
  const not = refusals();
  const parts = [locked && say("refused_login"), !there && say("offline"), ...new Set([trouble, ...kin.map((each) => each.why)])];
  if (waiting.length && stuck) parts.push(say("waiting", { n: waiting.length }));
  if (photos.length && (stuck || !document.getElementById("sending"))) parts.push(say("photos_waiting", { n: photos.length }));
  if (atRisk()) parts.push(say("at_risk", { n: atRisk() }));
  parts.push(...not.map((what) => say("was_refused", { what })));
  const text = parts.filter(Boolean).join(" ");
  const alone = lonely().length + lonelyPhotos().length;
  const now = `${text} ${alone}`;
  if (state.dataset.text === now) return;
  state.dataset.text = now;
  state.textContent = text;
  state.hidden = text === "";
  if (not.length) act("seen_it", () => localStorage.removeItem(REFUSED));
  if (alone) act("give_up", giveUp);
}

function act(words, does) {
  const made = document.createElement("button");
  made.type = "button"; made.className = "button quiet"; made.textContent = say(words);
  made.addEventListener("click", async () => { await does(); show(); });
  state.append(" ", made);
}

async function giveUp() {
  if (!window.confirm(say("give_up_sure"))) return;
  lonely().forEach((each) => forget(each.data.id));
  await Promise.all(lonelyPhotos().map(giveUpPhoto));
}

// Put words where answers stand. The number of this telling, which is the last one for as long as `isLast` says so.
export function tell(text) {
  const place = document.getElementById("answer");
  if (place) place.textContent = text;
  told += 1;
  return told;
}

export const isLast = (telling) => told === telling;

export async function look() {
  const live = document.querySelector("[data-live]");
  if (!live || document.hidden) return;
  const place = new URL(location.href);
  place.searchParams.set("part", "now");
  try {
    const answer = await fetch(place, {
      headers: { "if-none-match": `"${live.dataset.revision}"` }, cache: "no-store", signal: AbortSignal.timeout(8000),
    });
    if (!there) sendPhotos();
    there = true;
    locked = answer.status === 401;
    trouble = answer.status >= 400 && !locked ? (await answer.json().catch(() => ({}))).error || "" : "";
    if (answer.status === 200) {
      const tag = (answer.headers.get("etag") || "").replace(/^W\//, "").replaceAll('"', "");
      replace(live, await answer.text(), tag);
    }
  } catch { there = false; }
  show();
  if (there && !locked && kept().length && performance.now() - offered > (held.size ? HOLD : 0)) await offer();
}

async function offer() {
  offered = performance.now();
  held.clear();
  await sendKept((each, why) => refuse(`${cellsOf(each)}: ${why}`), sentLater, notTaken);
  show();
}

// Put the new part in place, with the focus, the opened figures and the scroll where they were.
function replace(live, html, tag) {
  if (live.contains(document.activeElement) && document.activeElement.matches("input, select")) return;
  const focused = document.activeElement && live.contains(document.activeElement) ? document.activeElement.id : "";
  const open = new Set([...live.querySelectorAll("details[open][id]")].map((each) => each.id));
  live.innerHTML = html;
  live.dataset.revision = tag;
  open.forEach((id) => { const each = document.getElementById(id); if (each) each.open = true; });
  if (focused) { const again = document.getElementById(focused); if (again) again.focus({ preventScroll: true }); }
  live.dispatchEvent(new CustomEvent("replaced", { bubbles: true }));
}

async function lookAgain() {
  await look();
  setTimeout(lookAgain, LOOK);
}

async function count() {
  photos = await waitingPhotos();
  show();
}

onKept(show);
onPhoto((key, state, words) => {
  if (state === "refused") refuse(words);
  if (state !== "sending") count();
});
ready.then(count).then(sendPhotos);
window.addEventListener("beforeunload", (event) => { if (atRisk()) event.preventDefault(); });
window.addEventListener("online", look);
window.addEventListener("offline", () => { there = false; show(); });
setTimeout(lookAgain, LOOK);
