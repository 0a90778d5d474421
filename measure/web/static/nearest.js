// Tapping the sketch: of the lines near the finger, one that is open, off or helpful comes before one that is read and fits.
const REACH = 22; // CSS px from a line to the middle of a finger
const svg = () => document.getElementById("sketch");

function distance(point, line) {
  const [x1, y1, x2, y2] = ["x1", "y1", "x2", "y2"].map((name) => Number(line.getAttribute(name)));
  const [dx, dy] = [x2 - x1, y2 - y1];
  const share = Math.max(0, Math.min(1, ((point.x - x1) * dx + (point.y - y1) * dy) / Math.max(dx * dx + dy * dy, 1e-9)));
  return Math.hypot(point.x - x1 - share * dx, point.y - y1 - share * dy);
}

function nearest(lines, point, reach) {
  const near = lines.map((line) => ({ line, off: distance(point, line.querySelector(".hit")) })).filter((each) => each.off <= reach);
  const later = (each) => (each.line.matches(".todo, .off, .helps") ? 0 : 1);
  near.sort((a, b) => later(a) - later(b) || a.off - b.off);
  return near.length ? near[0].line : null;
}

document.addEventListener("click", (event) => {
  if (!event.isTrusted || !svg() || !svg().contains(event.target) || event.target.closest("[data-point]")) return;
  const matrix = svg().getScreenCTM();
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix.inverse());
  const line = nearest([...svg().querySelectorAll("[data-tape]")], point, REACH / matrix.a);
  if (!line) return;
  event.stopImmediatePropagation();
  const button = [...document.querySelectorAll("button[data-from]")].find((each) => each.dataset.tape === line.dataset.tape);
  if (button) button.click();
}, { capture: true });
