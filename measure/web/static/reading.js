// Asking for a reading of a row, new or known or waiting, and sending it.
import { dressed } from "./decimals.js";
import { desk, save } from "./enter.js";
import { ask } from "./pad.js";
import { tell } from "./page.js";
import { KEYS, VALUES, waitsFor } from "./rows.js";
import { forget, ready, say } from "./talk.js";

function actsFor(known, waits) {
  if (!known && !waits) return [];
  return [{ act: "fill", words: say("correct") }, { act: "add", words: say("read_again") }, waits ? { act: "throw", words: say("throw_away") } : { act: "clear", words: say("take_out") }];
}

const waitingWords = ({ waits, values }) => (waits.data.mode === "clear" ? `${say("waits_out")}.` : say("typed_waits", { typed: dressed(values.join("; ")) }));

// `asked`: the points as the person named them, where that may be the other way round.
export async function read(row, asked = row.keys) {
  await ready;
  const { table } = row;
  const waits = waitsFor(row);
  const keys = waits ? waits.keys : row.keys;
  const known = row.values.some((value) => value !== "");
  const about = [
    waits ? waitingWords(waits) : known && say("measured_before", { typed: dressed(row.values.join("; ")) }),
    table === "levels" && keys[0] !== asked[0] && say("other_way", { a: keys[0], b: keys[1] }), table === "tape" && say(`where_${row.where}`),
  ];
  const got = await ask({
    title: table === "tape" ? say("length_of", { a: keys[0], b: keys[1] }) : keys.join(" – "), fields: VALUES[table].map((name) => ({ label: say(name), value: "" })),
    units: desk.units, negative: table !== "tape", acts: actsFor(known, waits), about: about.filter(Boolean).join(" "),
  });
  if (got === null) return;
  if (got.act === "throw") { forget(waits.waits.data.id); tell(""); return; }
  const cells = table === "tape" ? { where: row.where } : {};
  KEYS[table].forEach((name, i) => { cells[name] = keys[i]; });
  VALUES[table].forEach((name, i) => { cells[name] = got.values[i]; });
  const shown = `${keys.join(" – ")}: ${got.act === "clear" ? say("take_out") : got.values.join(" ")}`;
  if (waits && got.act === "fill") {
    const before = waits.waits.data;
    await save({ table, mode: before.mode === "add" ? "add" : "fill", cells, line: before.line, seen: before.seen }, shown, waits.waits);
    return;
  }
  const mode = row.again ? "add" : got.act;
  await save({ table, mode, cells, line: row.line || null, seen: mode === "add" ? "" : row.values[0] }, shown);
}
