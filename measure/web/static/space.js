// The car in space: a turning wire drawing. Car axes: x forward, y left, z up, mm.
const canvas = document.getElementById("space");
const pen = canvas.getContext("2d");
const tall = canvas.clientHeight > canvas.clientWidth;
let turn = tall ? 0.12 : -2.3;
let tilt = tall ? 1.1 : 0.45;
let near = 1;

function scene() {
  const place = document.getElementById("scene");
  return place ? JSON.parse(place.textContent) : null;
}

function draw() {
  const all = scene();
  canvas.hidden = !all || all.points.length === 0;
  if (canvas.hidden) return;
  const ratio = window.devicePixelRatio || 1;
  const width = canvas.clientWidth;
  const height = canvas.clientHeight;
  canvas.width = width * ratio;
  canvas.height = height * ratio;
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, width, height);
  const css = getComputedStyle(document.documentElement);
  const colour = (name) => css.getPropertyValue(name).trim();
  const mean = ["x", "y", "z"].map((k) => all.points.reduce((sum, p) => sum + p[k], 0) / all.points.length);
  const seen = (p) => {
    const [x, y, z] = [p.x - mean[0], p.y - mean[1], p.z - mean[2]];
    const across = x * Math.sin(turn) - y * Math.cos(turn);
    const depth = x * Math.cos(turn) + y * Math.sin(turn);
    return [across, -(z * Math.cos(tilt) + depth * Math.sin(tilt)), depth * Math.cos(tilt) - z * Math.sin(tilt)];
  };
  const flatPlaces = all.points.map(seen); // the car fills the view; a camera may stand outside it
  const range = (k) => { const v = flatPlaces.map((p) => p[k]); return [Math.min(...v), Math.max(...v)]; };
  const [left, right] = range(0);
  const [top, bottom] = range(1);
  const room = Math.min(56, width / 9);
  const size = near * Math.min((width - 2 * room) / Math.max(right - left, 1), (height - 48) / Math.max(bottom - top, 1));
  const flat = (p) => {
    const [u, v] = seen(p);
    return [width / 2 + (u - (left + right) / 2) * size, height / 2 + (v - (top + bottom) / 2) * size];
  };
  const at = new Map(all.points.map((p) => [p.name, flat(p)]));
  const style = { rail: [3, "--ink", []], axle: [5, "--accent", []], face: [1.5, "--accent", []], pair: [1, "--soft", [4, 4]] };
  for (const line of all.lines) {
    const [w, c, dash] = style[line.kind];
    pen.lineWidth = w; pen.strokeStyle = colour(c); pen.setLineDash(dash);
    pen.beginPath(); pen.moveTo(...at.get(line.a)); pen.lineTo(...at.get(line.b)); pen.stroke();
  }
  pen.setLineDash([]);
  pen.font = `${Math.max(11, parseFloat(getComputedStyle(canvas).fontSize) * 0.8)}px ${getComputedStyle(canvas).fontFamily}`;
  for (const p of all.points) {
    const [x, y] = at.get(p.name);
    pen.fillStyle = p.side === "L" ? colour("--accent") : colour("--ink");
    pen.beginPath();
    if (p.side === "R") pen.rect(x - 4, y - 4, 8, 8); else pen.arc(x, y, 4.5, 0, 7);
    pen.fill();
  }
  pen.fillStyle = colour("--soft"); pen.strokeStyle = colour("--sheet"); pen.lineWidth = 4; pen.lineJoin = "round";
  const taken = [...at.values()].map(([x, y]) => [x - 5, y - 5, x + 5, y + 5]);
  const free = ([a, b, c, d]) => taken.every(([u, v, w, h]) => c < u || a > w || d < v || b > h) && a > 2 && c < width - 2;
  const nearestFirst = all.points.filter((p) => p.part !== "face").sort((p, q) => seen(p)[2] - seen(q)[2]);
  for (const p of nearestFirst) { // a name that would lie over a point or over a nearer name is left out
    const [x, y] = at.get(p.name);
    const wide = pen.measureText(p.name).width;
    const boxes = [x + 8, x - 8 - wide].map((from) => [from, y - 8, from + wide, y + 6]);
    const box = (x < width / 2 ? boxes.reverse() : boxes).find(free);
    if (!box) continue;
    pen.strokeText(p.name, box[0], y + 4); pen.fillText(p.name, box[0], y + 4);
    taken.push(box);
  }
  pen.strokeStyle = colour("--undecided"); pen.fillStyle = colour("--undecided"); pen.lineWidth = 1.5;
  for (const c of all.cameras) {
    const [x, y] = flat(c);
    const [u, v] = flat({ x: c.x + c.look[0] * 300, y: c.y + c.look[1] * 300, z: c.z + c.look[2] * 300 });
    pen.beginPath(); pen.moveTo(x, y); pen.lineTo(u, v); pen.stroke();
    pen.strokeRect(x - 5, y - 4, 10, 8);
  }
}

function come(by) {
  near = Math.min(12, Math.max(0.7, near * by));
  draw();
}

const views = { above: [0, Math.PI / 2], side: [-Math.PI / 2, 0], front: [Math.PI, 0] };
document.addEventListener("click", (event) => {
  const nearer = event.target.closest("[data-near]");
  if (nearer) come(Number(nearer.dataset.near));
  const act = event.target.closest("[data-turn]");
  if (!act) return;
  const way = act.dataset.turn;
  if (way === "left") turn -= 0.3; else if (way === "right") turn += 0.3; else [turn, tilt] = views[way];
  draw();
});
const held = new Map(); // one finger turns, two bring the car nearer
const apart = () => { const [[a, b], [c, d]] = held.values(); return Math.max(Math.hypot(a - c, b - d), 1); };
canvas.addEventListener("pointerdown", (event) => { held.set(event.pointerId, [event.clientX, event.clientY]); canvas.setPointerCapture(event.pointerId); });
canvas.addEventListener("pointermove", (event) => {
  const was = held.get(event.pointerId);
  if (!was) return;
  const before = held.size === 2 ? apart() : 1;
  held.set(event.pointerId, [event.clientX, event.clientY]);
  if (held.size === 2) { come(apart() / before); return; }
  turn -= (event.clientX - was[0]) * 0.008;
  tilt = Math.min(Math.PI / 2, Math.max(-0.2, tilt + (event.clientY - was[1]) * 0.008));
  draw();
});
for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, (event) => held.delete(event.pointerId));
canvas.addEventListener("wheel", (event) => {
  if (!event.ctrlKey) return;
  event.preventDefault();
  come(event.deltaY > 0 ? 0.87 : 1.15);
}, { passive: false });
window.addEventListener("resize", draw);
window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
document.addEventListener("replaced", draw);
draw();
