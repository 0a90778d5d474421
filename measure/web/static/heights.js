// Heights, levels and marks: tap a row, type, see whether it fits.
import { pointsNamed } from "./enter.js";
import { read } from "./reading.js";
import { rowFor, rowOf, showWaiting } from "./rows.js";

document.addEventListener("click", (event) => {
  const button = event.target.closest("#now button[data-table]");
  if (button) read(rowOf(button));
});

document.getElementById("add").addEventListener("submit", async (event) => {
  event.preventDefault();
  const { table, a, b } = event.target.elements;
  const names = await pointsNamed(table.value === "levels" ? [a, b] : [a], table.value === "marks");
  if (names) read(rowFor(table.value, names), names);
});
showWaiting(read);
