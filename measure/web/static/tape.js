// Running the tape: tap a line, or two points, or a line of the list; type; see whether it fits.
import { dressed } from "./decimals.js";
import { actsFor, desk, save } from "./enter.js";
import { ask } from "./pad.js";
import { ready, say } from "./talk.js";

let first = null;

const button = (key) => [...document.querySelectorAll("button[data-from]")].find((each) => each.dataset.tape === key);

async function read(data) {
  const tape = { ...data };
  await ready;
  const known = tape.typed !== "";
  const got = await ask({
    title: say("length_of", { a: tape.from, b: tape.to }), fields: [{ label: say("length"), value: "" }],
    units: desk.units, acts: actsFor(known),
    about: (known ? `${say("measured_before", { typed: dressed(tape.typed) })} ` : "") + say(`where_${tape.where}`),
  });
  if (got === null) return;
  await save({
    table: "tape", mode: "again" in tape ? "add" : got.act, cells: { from: tape.from, to: tape.to, where: tape.where, length: got.values[0] },
    line: Number(tape.line) || null, seen: got.act === "add" ? "" : tape.typed,
  }, `${tape.from} – ${tape.to}: ${got.values[0]}`);
}

document.addEventListener("click", (event) => {
  const spot = event.target.closest("[data-point]");
  if (spot) { pick(spot); return; }
  const chosen = event.target.closest("[data-tape]");
  const found = chosen && button(chosen.dataset.tape);
  if (found) read(found.dataset);
});

// Two points make a tape: the one in the list where there is one, else a new one.
function pick(spot) {
  const name = spot.dataset.point;
  document.querySelectorAll(".spot.chosen").forEach((each) => each.classList.remove("chosen"));
  if (first === null || first === name) {
    first = first === name ? null : name;
    if (first) spot.classList.add("chosen");
    return;
  }
  const ends = [first, name];
  first = null;
  const all = [...document.querySelectorAll("button[data-from]")].filter((b) => b.dataset.where === "floor" && ends.includes(b.dataset.from) && ends.includes(b.dataset.to));
  const found = all.find((b) => b.dataset.typed === "") || all[0];
  read(found ? found.dataset : { from: ends[0], to: ends[1], where: "floor", line: "", typed: "" });
}

// The car was drawn anew: the point that was tapped first still shows.
document.addEventListener("replaced", () => {
  const spot = [...document.querySelectorAll("[data-point]")].find((each) => each.dataset.point === first);
  if (spot) spot.classList.add("chosen");
});

document.getElementById("another").addEventListener("submit", (event) => {
  event.preventDefault();
  const cells = Object.fromEntries(new FormData(event.target));
  read({ from: cells.from.trim(), to: cells.to.trim(), where: cells.where, line: "", typed: "" });
});
