// Entering a reading and showing how it fits: shared by the pages that do so.
import { follow } from "./follow.js";
import { isLast, look, tell } from "./page.js";
import { newId, post, say, send, settled } from "./talk.js";

export const desk = document.getElementById("desk").dataset;
const base = `/api/jobs/${encodeURIComponent(desk.job)}`;
export const readings = `${base}/${encodeURIComponent(desk.stage)}/readings`;
let last = null; // {number, id}: the change that Undo takes back, and what taking it back is called

// Send a reading; `before` waits for the same row on this phone, and gives way.
export async function save(wanted, shown, before = null) {
  tell(`${shown} ${say("saving")}`);
  const answer = await send(readings, { ...wanted, id: newId() }, before);
  if (answer.status === 0) showAnswer(`${shown}. ${say("kept_here")}`, "", null); // Undo would take back the one before
  else if (answer.status === 200) {
    last = { number: answer.data.number, id: newId() };
    if (wanted.mode === "clear") showAnswer(say("saved"), answer.data.how); else showFit(shown, answer.data.source, answer.data);
  } else if (!settled(answer.status)) showAnswer(`${shown}: ${answer.data.error || ""} ${say("kept_here")}`, "off", null);
  else showAnswer(`${shown}: ${answer.data.error || ""}`, "off", null);
  await look();
}

function showFit(shown, source, fit) {
  const telling = showAnswer(`${shown}. ${fit.words}`, fit.how);
  if (fit.how === "working") follow(readings, source, () => isLast(telling), (later) => showFit(shown, source, later));
}

// Put an answer in its place, with a button of its own or the one that takes the last reading back.
export function showAnswer(text, how, button = last && acting("undo", say("undo_last"), takeBack)) {
  const telling = tell(text);
  const place = document.getElementById("answer");
  place.className = `answer ${how}`;
  if (button) place.append(" ", button);
  return telling;
}

function acting(id, words, does) {
  const made = document.createElement("button");
  made.type = "button"; made.className = "button quiet"; made.textContent = words; made.id = id;
  made.addEventListener("click", does);
  return made;
}

async function takeBack() {
  const asked = last;
  const answer = await post(`${base}/undo`, asked).catch(() => null);
  const done = answer && settled(answer.status);
  if (done && last === asked) last = null;
  showAnswer(answer ? answer.data.words || answer.data.error || "" : say("not_taken_back"), answer && answer.status === 200 ? "" : "off");
  await look();
}

// The names as this car spells them; null, and why it is said, where one is no point of it. `drops`: NAME#2 is one too.
export async function pointsNamed(fields, drops) {
  const spelled = new Map([...document.querySelectorAll("#points option")].map((each) => [plain(each.value), each.value]));
  const names = [];
  if (fields.some((field) => plain(field.value) === "")) { showAnswer(say("two_points"), "off", null); return null; }
  for (const field of fields) {
    const [typed, drop] = plain(field.value).split("#", 2);
    const known = spelled.get(typed);
    if (known !== undefined && (drop === undefined || drops)) { names.push(drop === undefined ? known : `${known}#${drop}`); continue; }
    const near = await nearest(typed, spelled);
    const name = field.value.trim();
    if (!near) showAnswer(say("unknown_point", { name }), "off", null);
    else {
      const meant = acting("near", near, () => {
        field.value = drop === undefined || !drops ? near : `${near}#${drop}`;
        field.form.requestSubmit();
      });
      meant.translate = false;
      showAnswer(say("unknown_point_near", { name, near }), "off", meant);
    }
    field.focus();
    return null;
  }
  if (new Set(names).size === names.length) return names;
  showAnswer(`${names.join(" – ")}: ${say("two_points")}`, "off", null);
  return null;
}

const plain = (name) => name.normalize("NFC").trim().replace(/\s+/g, " ");

// What the bench computer finds nearest; without a connection, the same letters in another case.
async function nearest(typed, spelled) {
  try {
    const answer = await fetch(`${base}/points/${encodeURIComponent(typed)}/like`, { cache: "no-store", signal: AbortSignal.timeout(4000) });
    if (answer.ok) return (await answer.json()).name;
  } catch { /* no connection */ }
  return [...spelled.values()].find((each) => each.toLowerCase() === typed.toLowerCase()) || "";
}
