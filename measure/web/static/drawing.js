// A drawing opened over the page: one finger moves it, two or the buttons enlarge it. Without script the link opens it.
import { ready, say } from "./talk.js";

const LEGIBLE = 900; // CSS px across an A4 sheet at which its smallest type can be read
const STEP = 1.35;

function button(words, label, act) {
  const made = document.createElement("button");
  made.type = "button"; made.className = "button quiet"; made.textContent = words; made.setAttribute("aria-label", label);
  made.addEventListener("click", act);
  return made;
}

function open(link) {
  const dialog = document.createElement("dialog");
  dialog.className = "drawing-box";
  dialog.setAttribute("aria-label", link.closest("section").querySelector("h2").textContent);
  const sheet = document.createElement("div");
  sheet.className = "drawing-sheet"; sheet.tabIndex = 0;
  const image = document.createElement("img");
  image.draggable = false; image.src = link.href; image.alt = link.getAttribute("aria-label");
  const small = link.querySelector("img");
  image.width = small.width; image.height = small.height; // its shape, before it has come
  sheet.append(image);
  let width = 0;
  // what is under the middle (or the fingers) stays there
  const size = (wanted, x = sheet.clientWidth / 2, y = sheet.clientHeight / 2) => {
    const next = Math.min(4 * LEGIBLE, Math.max(Math.min(sheet.clientWidth, LEGIBLE), wanted));
    const by = width ? next / width : 1;
    const [left, top] = [(sheet.scrollLeft + x) * by - x, (sheet.scrollTop + y) * by - y];
    width = next;
    image.style.width = `${width}px`;
    sheet.scrollTo(left, top);
  };
  const bar = document.createElement("div");
  bar.className = "view-acts";
  bar.append(
    button("+", say("zoom_in"), () => size(width * STEP)), button("−", say("zoom_out"), () => size(width / STEP)),
    button(say("close"), say("close"), () => dialog.close()));
  dialog.append(bar, sheet);
  const held = new Map();
  const apart = () => { const [[a, b], [c, d]] = held.values(); return Math.max(Math.hypot(a - c, b - d), 1); };
  sheet.addEventListener("pointerdown", (event) => { event.preventDefault(); sheet.setPointerCapture(event.pointerId); held.set(event.pointerId, [event.clientX, event.clientY]); });
  sheet.addEventListener("pointermove", (event) => {
    if (!held.has(event.pointerId)) return;
    const before = held.size === 2 ? apart() : 0;
    const was = held.get(event.pointerId);
    held.set(event.pointerId, [event.clientX, event.clientY]);
    if (held.size === 1) sheet.scrollBy(was[0] - event.clientX, was[1] - event.clientY);
    if (!before) return;
    const box = sheet.getBoundingClientRect();
    const [[a, b], [c, d]] = held.values();
    size(width * apart() / before, (a + c) / 2 - box.left, (b + d) / 2 - box.top);
  });
  for (const name of ["pointerup", "pointercancel"]) sheet.addEventListener(name, (event) => held.delete(event.pointerId));
  dialog.addEventListener("close", () => { dialog.remove(); link.focus({ preventScroll: true }); });
  document.body.append(dialog);
  dialog.showModal();
  size(LEGIBLE);
}

document.addEventListener("click", async (event) => {
  const link = event.target.closest("a.to-enlarge");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  await ready;
  open(link);
});
