// A new car: pairs in the order of a walk from nose to tail, named in the shop's words.
import { NoConnection, post, ready, say } from "./talk.js";

const SVG = "http://www.w3.org/2000/svg";
const list = document.getElementById("pairs");
const form = document.getElementById("car");
let pairs = JSON.parse(document.getElementById("layout").dataset.layout).map(([name, part, note]) => ({ name, part, note, in: true }));

// `again` is offered where nothing was wrong with what was asked for.
function answer(text, again = null) {
  document.getElementById("answer").replaceChildren(text, ...(again ? [" ", element("button", { type: "button", class: "button quiet", onclick: again }, say("try_again"))] : []));
}

function element(name, attributes, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) { if (key.startsWith("on")) made.addEventListener(key.slice(2), value); else made.setAttribute(key, value); }
  made.append(...inside);
  return made;
}

function drawSketch() {
  const sketch = document.getElementById("sketch");
  sketch.replaceChildren();
  const put = (name, attributes, text, inside = sketch) => {
    const made = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    if (text) made.textContent = text;
    inside.append(made);
    return made;
  };
  put("text", { class: "way", x: 200, y: 18, "text-anchor": "middle" }, say("front"));
  put("line", { class: "middle", x1: 200, x2: 200, y1: 30, y2: 745 });
  const step = pairs.length > 1 ? 675 / (pairs.length - 1) : 0;
  pairs.forEach((pair, i) => {
    const y = 50 + i * step;
    const reach = pair.part.startsWith("axle") ? 110 : 66;
    const group = put("g", { class: `spot pick${pair.in ? " chosen" : ""}` });
    if (pair.in) put("line", { class: "join", x1: 200 - reach, x2: 200 + reach, y1: y, y2: y }, "", group);
    for (const side of [-1, 1]) {
      const x = 200 + side * reach;
      put("circle", { class: "hit", cx: x, cy: y, r: 26 }, "", group);
      put("circle", { class: "seen", cx: x, cy: y, r: 9 }, "", group);
      put("text", { x: x + side * 16, y: y + 5, "text-anchor": side < 0 ? "end" : "start" }, pair.name + (side < 0 ? "L" : "R"), group);
    }
    group.addEventListener("click", () => { pair.in = !pair.in; draw(); });
  });
}

function draw() {
  drawSketch();
  list.replaceChildren(...pairs.map((pair, i) => {
    const id = `pair-${i}`;
    const tick = element("input", { type: "checkbox", id, onchange: () => { pair.in = tick.checked; drawSketch(); } });
    tick.checked = pair.in;
    const name = element("input", { value: pair.name, maxlength: "50", autocomplete: "off", autocapitalize: "none", oninput: () => { pair.name = name.value.trim(); drawSketch(); } });
    const part = element("select", { onchange: () => { pair.part = part.value; drawSketch(); } },
      ...[["rail", "part_rail"], ["reference", "part_reference"], ["axle:rear", "part_axle_rear"], ["axle:front", "part_axle_front"]].map(([value, key]) => element("option", { value }, say(key))));
    part.value = pair.part;
    const move = (by, label) => element("button", { type: "button", class: "button quiet", "aria-label": `${say(label)}: ${pair.name}`, onclick: () => {
      const to = i + by;
      if (to < 0 || to >= pairs.length) return;
      pairs.splice(to, 0, pairs.splice(i, 1)[0]);
      draw();
    } }, by < 0 ? "↑" : "↓");
    return element("li", {}, element("label", { class: "tick", for: id }, tick, element("span", { class: "visually-hidden", translate: "no" }, pair.name)),
      element("label", {}, say("point_name"), name), element("label", {}, say("what_is_it"), part), move(-1, "up"), move(1, "down"));
  }));
}

document.getElementById("add-pair").addEventListener("click", () => {
  pairs.push({ name: say("new_point", { n: pairs.length + 1 }), part: "reference", note: "", in: true });
  draw();
  const name = list.lastElementChild.querySelector("input:not([type=checkbox])");
  name.focus();
  name.select();
});

async function make(data) {
  const fields = Object.fromEntries(new FormData(form));
  try {
    const got = await post("/api/jobs", { name: fields.name.trim(), units: fields.units, ...data });
    if (got.status === 201) { location.href = `/jobs/${encodeURIComponent(got.data.name)}`; return; }
    answer(got.data.error || "");
  } catch (problem) {
    if (!(problem instanceof NoConnection)) throw problem;
    answer(say("not_made"), () => make(data));
  }
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  const points = pairs.filter((pair) => pair.in && pair.name).flatMap((pair) => ["L", "R"].map((side) => ({
    name: pair.name + side, side, pair: pair.part.startsWith("axle") ? "" : pair.name, part: pair.part, note: pair.note,
  })));
  make({ points });
});

document.getElementById("import").addEventListener("change", (event) => {
  const file = event.target.files[0];
  event.target.value = "";
  if (!file) return;
  if (!form.elements.name.value.trim()) form.elements.name.value = file.name.replace(/\.[^.]*$/, "").replace(/[^\w .-]/g, " ").trim().slice(0, 60) || "car";
  const read = new FileReader();
  read.onload = () => make({ table: read.result.split(",")[1], file: file.name }); // its bytes: what letters they are, the bench computer says
  read.onerror = () => answer(say("photo_unread", { name: file.name }));
  read.readAsDataURL(file);
});

ready.then(draw);
