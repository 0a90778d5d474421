// The plan: drag, pinch, buttons, and how much larger displacements are drawn. It moves what the bench computer drew.
import { ready, say } from "./talk.js";

let box = null;
let factor = null;

const svg = () => document.getElementById("plan");

function draw() {
  const plan = svg();
  if (!plan) return;
  if (factor === null) factor = Number(plan.dataset.factor);
  const places = new Map();
  for (const mark of plan.querySelectorAll(".mark")) {
    const d = mark.dataset;
    const place = [Number(d.x) + factor * Number(d.ox), Number(d.y) + factor * Number(d.oy)];
    places.set(d.name, place);
    mark.setAttribute("transform", `translate(${place[0]} ${place[1]})`);
    const ellipse = mark.querySelector("ellipse");
    ellipse.setAttribute("rx", factor * Number(d.major));
    ellipse.setAttribute("ry", factor * Number(d.minor));
  }
  for (const line of plan.querySelectorAll(".join")) {
    const a = places.get(line.dataset.a);
    const b = places.get(line.dataset.b);
    if (!a || !b) continue;
    line.setAttribute("x1", a[0]); line.setAttribute("y1", a[1]); line.setAttribute("x2", b[0]); line.setAttribute("y2", b[1]);
  }
  const slider = document.getElementById("exaggerate");
  if (slider && Number(slider.value) !== factor) slider.value = factor;
  const times = document.getElementById("times");
  if (times) times.textContent = say("times", { n: factor });
  if (box) plan.setAttribute("viewBox", box.join(" "));
}

function whole() { return svg().dataset.whole.split(" ").map(Number); }

function remember() {
  const plan = svg();
  if (plan && !plan.dataset.whole) plan.dataset.whole = plan.getAttribute("viewBox");
}

function zoom(by, at) {
  const all = whole();
  const now = box || all;
  const width = Math.min(all[2] * 1.5, Math.max(all[2] / 40, now[2] * by));
  const real = width / now[2];
  const [x, y] = at || [now[0] + now[2] / 2, now[1] + now[3] / 2];
  box = [x - (x - now[0]) * real, y - (y - now[1]) * real, width, now[3] * real];
  draw();
}

function inPlan(event) {
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg().getScreenCTM().inverse());
  return [point.x, point.y];
}

document.addEventListener("click", (event) => {
  const act = event.target.closest("[data-zoom]");
  if (!act || !svg()) return;
  if (act.dataset.zoom === "all") { box = null; svg().setAttribute("viewBox", svg().dataset.whole); draw(); } else zoom(act.dataset.zoom === "in" ? 0.7 : 1 / 0.7);
});
document.addEventListener("input", (event) => {
  if (event.target.id === "exaggerate") { factor = Number(event.target.value); draw(); }
});

const down = new Map();
document.addEventListener("pointerdown", (event) => {
  if (!event.target.closest || !event.target.closest("#plan")) return;
  down.set(event.pointerId, [event.clientX, event.clientY]);
});
document.addEventListener("pointermove", (event) => {
  if (!down.has(event.pointerId) || !svg()) return;
  const before = [...down.values()];
  const was = down.get(event.pointerId);
  down.set(event.pointerId, [event.clientX, event.clientY]);
  const after = [...down.values()];
  const scale = svg().getScreenCTM().a;
  if (down.size === 1) {
    const now = box || whole();
    box = [now[0] - (event.clientX - was[0]) / scale, now[1] - (event.clientY - was[1]) / scale, now[2], now[3]];
    draw();
  } else if (down.size === 2) {
    const apart = ([a, b]) => Math.hypot(a[0] - b[0], a[1] - b[1]);
    const middle = [(after[0][0] + after[1][0]) / 2, (after[0][1] + after[1][1]) / 2];
    zoom(apart(before) / Math.max(apart(after), 1), inPlan({ clientX: middle[0], clientY: middle[1] }));
  }
});
for (const name of ["pointerup", "pointercancel"]) document.addEventListener(name, (event) => down.delete(event.pointerId));
document.addEventListener("wheel", (event) => {
  if (!event.target.closest("#plan") || !event.ctrlKey) return;
  event.preventDefault();
  zoom(event.deltaY > 0 ? 1.15 : 1 / 1.15, inPlan(event));
}, { passive: false });
document.addEventListener("replaced", () => { remember(); draw(); });
remember();
ready.then(draw);
