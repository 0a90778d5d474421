// The rows of this page's tables, and the readings that wait on this phone: shown in their rows as waiting, and those
// without a row in a list of their own.
import { readings } from "./enter.js";
import { kept, onKept, ready, say } from "./talk.js";

export const KEYS = { tape: ["from", "to"], levels: ["from", "to"], heights: ["point"], marks: ["point"], targets: ["target"] };
export const VALUES = { tape: ["length"], levels: ["rise"], heights: ["height"], marks: ["along", "across"], targets: ["point"] };

// A row as a button of the page holds it.
export function rowOf(button) {
  const d = button.dataset;
  if (d.from !== undefined) return { table: "tape", keys: [d.from, d.to], where: d.where, line: Number(d.line), values: [d.typed], again: "again" in d, button };
  return { table: d.table, keys: d.keys.split("|"), where: "", line: Number(d.line), values: d.values.split("|"), again: false, button };
}

const rows = () => [...document.querySelectorAll("#now button[data-from], #now button[data-table]")].map(rowOf);

// Whether two rows mean the same, whichever way round.
function same(one, other) {
  return one.table === other.table && one.where === other.where && [...one.keys].sort().join("|") === [...other.keys].sort().join("|");
}

// The row of these points, one without a reading first; else a new one.
export function rowFor(table, keys, where = "") {
  const wanted = { table, keys, where, line: 0, values: VALUES[table].map(() => ""), again: false, button: null };
  const found = rows().filter((row) => same(row, wanted));
  return found.find((row) => row.values.every((value) => value === "")) || found[0] || wanted;
}

// What waits on this phone for this stage, as a row.
function waitingRow(each) {
  const { table, cells, line, mode } = each.data;
  return {
    table, keys: KEYS[table].map((name) => cells[name]), where: table === "tape" ? cells.where : "", line: line || 0,
    values: VALUES[table].map((name) => cells[name] || ""), again: mode === "add", button: null, waits: each,
  };
}

const waiting = () => kept().filter((each) => each.path === readings && each.data.table in KEYS).map(waitingRow);

// What waits for this row and would be replaced by another entry there; null where nothing does.
export function waitsFor(row) {
  if (row.waits) return row;
  return waiting().find((each) => each.again === row.again && same(each, row) && (each.line === row.line || placeOf(each) === row.button)) || null;
}

// The button of the row that a waiting reading is for.
function placeOf(each) {
  const found = rows().filter((row) => row.again === each.again && same(row, each));
  const exact = found.find((row) => row.line === each.line) || found.find((row) => row.values[0] === each.waits.data.seen);
  return exact ? exact.button : null;
}

function element(name, kind, text, own = false) {
  const made = document.createElement(name);
  made.className = kind;
  made.textContent = text;
  if (own) made.translate = false;
  return made;
}

function mark(button, each) {
  const out = each.waits.data.mode === "clear";
  for (const part of button.querySelectorAll(out ? ".fit, .is-next" : ".typed, .fit, .is-next")) part.hidden = true;
  const added = [element("span", "tag", say(out ? "waits_out" : "waits_here"))];
  if (!out) added.unshift(element("span", "typed", each.values.join(" "), true));
  for (const part of added) part.classList.add("waits");
  button.append(...added);
  button.dataset.waits = "";
}

function listed(each, open) {
  const place = document.createElement("li");
  const button = element(open ? "button" : "p", "", "");
  if (open) { button.type = "button"; button.addEventListener("click", () => open(each)); }
  button.append(element("span", "ends", each.keys.join(" – "), true), " ");
  mark(button, each);
  place.append(button);
  return place;
}

// The next tape is one that does not wait already.
function moveNext() {
  const button = document.querySelector(".next [data-tape]");
  if (!button) return;
  button.dataset.first ??= button.dataset.tape;
  const todo = rows().filter((row) => row.values[0] === "" && !("waits" in row.button.dataset));
  const next = todo.find((row) => row.button.dataset.tape === button.dataset.first) || todo[0];
  button.hidden = !next;
  if (!next) return;
  button.dataset.tape = next.button.dataset.tape;
  button.textContent = say("next_tape", { a: next.keys[0], b: next.keys[1] });
}

// Show what waits, from now on; `open` is told of a tap on one that has no row.
export function showWaiting(open = null) {
  const list = element("ul", "tapes", "");
  list.id = "waiting";
  const draw = () => {
    document.querySelectorAll("#now .waits").forEach((each) => each.remove());
    document.querySelectorAll("#now [data-waits]").forEach((each) => {
      delete each.dataset.waits;
      each.querySelectorAll("[hidden]").forEach((part) => { part.hidden = false; });
    });
    list.replaceChildren();
    for (const each of waiting()) {
      const button = placeOf(each);
      if (button) mark(button, each); else list.append(listed(each, open));
    }
    if (list.children.length) document.getElementById("answer").after(list); else list.remove();
    moveNext();
  };
  onKept(draw);
  document.addEventListener("replaced", draw);
  window.addEventListener("storage", draw);
  ready.then(draw);
}
