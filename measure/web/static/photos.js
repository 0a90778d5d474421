// Sending photographs: one request each, tried again until it is through, never made smaller here.
import { save } from "./enter.js";
import { look, tell } from "./page.js";
import { ready, say, token } from "./talk.js";

const desk = document.getElementById("desk").dataset;
const list = document.getElementById("sending");
const bar = document.getElementById("progress");
const queue = [];
let all = 0;
let done = 0;
let busy = false;

function row(name) {
  const made = document.createElement("li");
  made.textContent = name;
  list.append(made);
  return made;
}

function attempt(file, place) {
  return new Promise((resolve) => {
    const request = new XMLHttpRequest();
    request.open("POST", `/api/jobs/${encodeURIComponent(desk.job)}/${encodeURIComponent(desk.stage)}/photos`);
    request.setRequestHeader("x-plumbsquare-token", token());
    request.setRequestHeader("x-name", encodeURIComponent(file.name).slice(0, 300));
    request.setRequestHeader("content-type", "application/octet-stream");
    request.timeout = 300000;
    request.upload.onprogress = (event) => {
      if (!event.lengthComputable) return;
      place.textContent = say("sending", { name: file.name, percent: Math.floor((100 * event.loaded) / event.total) });
      bar.value = (done + event.loaded / event.total) / all;
    };
    request.onload = () => resolve(request);
    request.onerror = request.ontimeout = request.onabort = () => resolve(null);
    request.send(file);
  });
}

async function sendAll() {
  if (busy) return;
  busy = true;
  bar.hidden = false;
  while (queue.length) {
    const { file, place } = queue[0];
    for (let wait = 2; ; wait = Math.min(wait * 2, 60)) {
      const answer = await attempt(file, place);
      if (answer && answer.status < 500 && answer.status !== 408) {
        const data = JSON.parse(answer.responseText || "{}");
        place.textContent = answer.status === 200 ? say("photo_saved", { name: file.name }) : say("photo_failed", { name: file.name, why: data.error || answer.status });
        place.className = answer.status === 200 ? "ok" : "off";
        break;
      }
      place.textContent = say("photo_again", { name: file.name, seconds: wait });
      await new Promise((next) => { setTimeout(next, wait * 1000); window.addEventListener("online", next, { once: true }); });
    }
    queue.shift();
    done += 1;
    bar.value = done / all;
    tell(say("photo_count", { done, all }));
    await look();
  }
  bar.hidden = true;
  busy = false;
}

for (const id of ["take", "choose"]) {
  const input = document.getElementById(id);
  input.addEventListener("change", async () => {
    await ready;
    for (const file of input.files) { queue.push({ file, place: row(file.name) }); all += 1; }
    input.value = "";
    sendAll();
  });
}
document.getElementById("sits").addEventListener("submit", (event) => {
  event.preventDefault();
  const cells = Object.fromEntries(new FormData(event.target));
  const known = [...document.querySelectorAll("[data-target]")].find((each) => each.dataset.target === cells.target.trim());
  save({ table: "targets", mode: "fill", cells, line: null, seen: known ? known.dataset.pointOf : "" }, `${cells.target}: ${cells.point}`);
});
window.addEventListener("beforeunload", (event) => { if (queue.length) event.preventDefault(); });
