// Taking changes back.
import { tell } from "./page.js";
import { newId, post, say } from "./talk.js";

const desk = document.getElementById("desk").dataset;

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-undo]");
  if (!button) return;
  button.disabled = true;
  button.dataset.id ||= newId(); // tried again, it is the same change
  const answer = await post(`/api/jobs/${encodeURIComponent(desk.job)}/undo`, { number: Number(button.dataset.undo), id: button.dataset.id }).catch(() => null);
  if (answer && answer.status === 200) { location.reload(); return; }
  tell(answer ? answer.data.error : say("not_taken_back"));
  button.disabled = false;
});
