// Taking changes back.
import { tell } from "./page.js";
import { newId, post, say } from "./talk.js";

const desk = document.getElementById("desk").dataset;

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-undo]");
  if (!button) return;
  button.disabled = true;
  const answer = await post(`/api/jobs/${encodeURIComponent(desk.job)}/undo`, { number: Number(button.dataset.undo), id: newId() }).catch(() => null);
  if (answer && answer.status === 200) { location.reload(); return; }
  tell(answer ? answer.data.error : say("offline"));
  button.disabled = false;
});
