// What every page shares: whether the bench computer is there, what is kept, and looking again at what may change.
import { kept, onKept, ready, say, sendKept } from "./talk.js";

const state = document.getElementById("link-state");
const LOOK = 1200;
const REFUSED = "plumbsquare-refused";
let there = true;
let locked = false;

// What was refused after it had been kept stays on the page until somebody has seen it.
function refusals() {
  try { return JSON.parse(localStorage.getItem(REFUSED) || "[]"); } catch { return []; }
}

function refused(each, why) {
  if (each === null) { locked = true; return; }
  const what = `${Object.values(each.data.cells || {}).join(" ")}: ${why}`;
  try { localStorage.setItem(REFUSED, JSON.stringify([...refusals(), what])); } catch { tell(say("was_refused", { what })); }
}

function sentLater(each, words) {
  tell(say("sent_later", { what: `${Object.values(each.data.cells || {}).join(" ")}. ${words}` }));
}

function show() {
  const waiting = kept().length;
  const parts = [];
  if (locked) parts.push(say("refused_login"));
  if (!there) parts.push(say("offline"));
  if (waiting && (!there || locked)) parts.push(say("waiting", { n: waiting }));
  const not = refusals();
  parts.push(...not.map((what) => say("was_refused", { what })));
  const text = parts.join(" ");
  if (state.dataset.text === text) return;
  state.dataset.text = text;
  state.textContent = text;
  state.hidden = parts.length === 0;
  if (not.length) {
    const seen = document.createElement("button");
    seen.type = "button"; seen.className = "button quiet"; seen.textContent = say("seen_it");
    seen.addEventListener("click", () => { localStorage.removeItem(REFUSED); show(); });
    state.append(" ", seen);
  }
}

export function tell(text) {
  const place = document.getElementById("answer");
  if (place) place.textContent = text;
}

export async function look() {
  const live = document.querySelector("[data-live]");
  if (!live || document.hidden) return;
  const place = new URL(location.href);
  place.searchParams.set("part", "now");
  try {
    const answer = await fetch(place, {
      headers: { "if-none-match": `"${live.dataset.revision}"` }, cache: "no-store", signal: AbortSignal.timeout(8000),
    });
    there = true;
    locked = answer.status === 401;
    if (answer.status === 200) {
      const tag = (answer.headers.get("etag") || "").replace(/^W\//, "").replaceAll('"', "");
      replace(live, await answer.text(), tag);
    }
  } catch { there = false; }
  show();
  if (there && !locked && kept().length) await sendKept(refused, sentLater).then(show);
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

onKept(show);
ready.then(show);
window.addEventListener("online", look);
window.addEventListener("offline", () => { there = false; show(); });
setTimeout(lookAgain, LOOK);
