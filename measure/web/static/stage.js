// Measuring the car again: a new stage, once for each press of the button.
import { tell } from "./page.js";
import { newId, post, say } from "./talk.js";

const desk = document.getElementById("desk").dataset;
let id = newId(); // the same until it is answered, so that a second try is no second stage

document.getElementById("make-stage").addEventListener("submit", async (event) => {
  event.preventDefault();
  const button = event.target.querySelector("button");
  const { name } = Object.fromEntries(new FormData(event.target));
  button.disabled = true;
  const answer = await post(`/api/jobs/${encodeURIComponent(desk.job)}/stages`, { name, id }).catch(() => null);
  if (answer && answer.status === 201) {
    location.assign(`/jobs/${encodeURIComponent(desk.job)}/${encodeURIComponent(answer.data.name)}/tape`);
    return;
  }
  if (answer) id = newId();
  tell(answer ? answer.data.error || "" : say("offline"));
  button.disabled = false;
});
