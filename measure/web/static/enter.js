// Entering a reading and showing how it fits: shared by the pages that do so.
import { look, tell } from "./page.js";
import { newId, post, say, send, settled } from "./talk.js";

export const desk = document.getElementById("desk").dataset;
const base = `/api/jobs/${encodeURIComponent(desk.job)}`;
let last = null;

export async function save(wanted, shown) {
  tell(`${shown} ${say("saving")}`);
  const answer = await send(`${base}/${encodeURIComponent(desk.stage)}/readings`, { ...wanted, id: newId() });
  if (answer.status === 0) showAnswer(`${shown}. ${say("kept_here")}`, "");
  else if (answer.status === 200) {
    last = answer.data.number;
    showAnswer(wanted.mode === "clear" ? say("saved") : `${shown}. ${answer.data.words}`, answer.data.how);
  } else if (!settled(answer.status)) showAnswer(`${shown}: ${answer.data.error || ""} ${say("kept_here")}`, "off");
  else showAnswer(`${shown}: ${answer.data.error || ""}`, "off");
  await look();
}

function showAnswer(text, how) {
  const place = document.getElementById("answer");
  place.className = `answer ${how}`;
  place.textContent = text;
  if (last === null) return;
  const undo = document.createElement("button");
  undo.type = "button"; undo.className = "button quiet"; undo.textContent = say("undo_last"); undo.id = "undo";
  undo.addEventListener("click", takeBack);
  place.append(" ", undo);
}

async function takeBack() {
  const number = last;
  last = null;
  const answer = await post(`${base}/undo`, { number, id: newId() }).catch(() => null);
  showAnswer(answer ? answer.data.words || answer.data.error || "" : say("offline"), answer && answer.status === 200 ? "" : "off");
  await look();
}

export function actsFor(known) {
  return known ? [{ act: "fill", words: say("correct") }, { act: "add", words: say("read_again") }, { act: "clear", words: say("take_out") }] : [];
}

export const unitWord = () => say(desk.units);
