// Taking and choosing photographs, how far each is on its way, and saying where a target sits.
import { save } from "./enter.js";
import { showWaiting, waitsFor } from "./rows.js";
import { look, tell } from "./page.js";
import { onPhoto, sendPhotos, waitingPhotos } from "./sending.js";
import { ready, say } from "./talk.js";
import { keepPhoto } from "./unsent.js";

const desk = document.getElementById("desk").dataset;
const path = `/api/jobs/${encodeURIComponent(desk.job)}/${encodeURIComponent(desk.stage)}/photos`;
const list = document.getElementById("sending");
const bar = document.getElementById("progress");
const rows = new Map();
let all = 0;
let done = 0;
let keeping = 0;

function row(words) {
  const made = document.createElement("li");
  made.textContent = words;
  list.append(made);
  return made;
}

// A photograph that waits, with its row; one for another stage is named with it.
function waiting(key, place) {
  if (rows.has(key[1])) { if (place && place !== rows.get(key[1])) place.remove(); return; } // it was sent in the meantime
  const elsewhere = key[2] === path ? "" : ` (${key[2].split("/").slice(3, 5).map(decodeURIComponent).join(", ")})`;
  const made = place || row("");
  made.textContent = say("photo_waits", { name: key[3] }) + elsewhere;
  rows.set(key[1], made);
  all += 1;
  bar.hidden = false;
}

onPhoto(async (key, state, words, share) => {
  waiting(key);
  const place = rows.get(key[1]);
  place.textContent = words;
  place.className = { saved: "ok", elsewhere: "ok", refused: "off" }[state] || "";
  const settled = ["saved", "elsewhere", "refused"].includes(state);
  if (settled) done += 1;
  bar.value = (done + share) / all;
  bar.hidden = done === all;
  if (!settled) return;
  tell(say("photo_count", { done, all }));
  await look();
});

async function choose(files) {
  await ready;
  const chosen = [...files].map((file) => ({ file, place: row(say("photo_keeping", { name: file.name })) }));
  keeping += chosen.length;
  for (const { file, place } of chosen) {
    if (file.size > Number(desk.mostBytes)) {
      place.textContent = say("photo_failed", { name: file.name, why: say("too_long", { most: `${desk.mostBytes / 1e6} MB` }) });
      place.className = "off";
    } else {
      try { waiting(await keepPhoto(path, file), place); sendPhotos(); } catch {
        place.textContent = say("photo_unread", { name: file.name });
        place.className = "off";
      }
    }
    keeping -= 1;
  }
}

for (const id of ["take", "choose"]) {
  const input = document.getElementById(id);
  input.addEventListener("change", () => { choose([...input.files]); input.value = ""; });
}
document.getElementById("sits").addEventListener("submit", (event) => {
  event.preventDefault();
  const cells = Object.fromEntries(new FormData(event.target));
  cells.target = cells.target.trim();
  const known = [...document.querySelectorAll("[data-target]")].find((each) => each.dataset.target === cells.target);
  const waits = waitsFor({ table: "targets", keys: [cells.target], where: "", line: 0, again: false, button: null });
  const seen = waits ? waits.waits.data.seen : known ? known.dataset.pointOf : "";
  save({ table: "targets", mode: "fill", cells, line: null, seen }, `${cells.target}: ${cells.point}`, waits && waits.waits);
});
showWaiting();
window.addEventListener("beforeunload", (event) => { if (keeping) event.preventDefault(); });
await ready;
for (const key of await waitingPhotos()) waiting(key);
