// Heights, levels and marks: tap a row, type, see whether it fits.
import { dressed } from "./decimals.js";
import { actsFor, desk, save } from "./enter.js";
import { ask } from "./pad.js";
import { ready, say } from "./talk.js";

const KEYS = { levels: ["from", "to"], heights: ["point"], marks: ["point"] };
const VALUES = { levels: ["rise"], heights: ["height"], marks: ["along", "across"] };

async function read({ table, keys, values, line }) {
  await ready;
  const known = values.some((v) => v !== "");
  const got = await ask({
    title: keys.join(" – "), fields: VALUES[table].map((name) => ({ label: say(name), value: "" })), units: desk.units,
    negative: true, acts: actsFor(known), about: known ? say("measured_before", { typed: dressed(values.join("; ")) }) : "",
  });
  if (got === null) return;
  const cells = {};
  KEYS[table].forEach((name, i) => { cells[name] = keys[i]; });
  VALUES[table].forEach((name, i) => { cells[name] = got.values[i]; });
  await save({ table, mode: got.act, cells, line, seen: got.act === "add" ? "" : values[0] }, `${keys.join(" – ")}: ${got.values.join(" ")}`);
}

document.addEventListener("click", (event) => {
  const row = event.target.closest("button[data-table]");
  if (!row) return;
  const d = row.dataset;
  read({ table: d.table, keys: d.keys.split("|"), values: d.values.split("|"), line: Number(d.line) });
});

document.getElementById("add").addEventListener("submit", (event) => {
  event.preventDefault();
  const typed = Object.fromEntries(new FormData(event.target));
  const keys = typed.table === "levels" ? [typed.a.trim(), typed.b.trim()] : [typed.a.trim()];
  read({ table: typed.table, keys, values: VALUES[typed.table].map(() => ""), line: null });
});
