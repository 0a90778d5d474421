// Running the tape: tap a line, or two points, or a line of the list; type; see whether it fits.
import { pointsNamed } from "./enter.js";
import { read } from "./reading.js";
import { rowFor, rowOf, showWaiting } from "./rows.js";

let first = null;

const button = (key) => [...document.querySelectorAll("button[data-from]")].find((each) => each.dataset.tape === key);

document.addEventListener("click", (event) => {
  const spot = event.target.closest("[data-point]");
  if (spot) { pick(spot); return; }
  const chosen = event.target.closest("[data-tape]");
  const found = chosen && button(chosen.dataset.tape);
  if (found) read(rowOf(found));
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
  read(rowFor("tape", ends, "floor"));
}

// The car was drawn anew: the point that was tapped first still shows.
document.addEventListener("replaced", () => {
  const spot = [...document.querySelectorAll("[data-point]")].find((each) => each.dataset.point === first);
  if (spot) spot.classList.add("chosen");
});

document.getElementById("another").addEventListener("submit", async (event) => {
  event.preventDefault();
  const { from, to, where } = event.target.elements;
  const ends = await pointsNamed([from, to], where.value === "floor");
  if (ends) read(rowFor("tape", ends, where.value));
});
showWaiting(read);
