// Hand in what stands behind the # of the link, once, and take it out of the address.
const place = document.getElementById("answer");
const token = location.hash.slice(1);
history.replaceState(null, "", "/join");

if (!token) place.textContent = place.dataset.none;
else {
  const answer = await fetch("/join", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ token }) }).catch(() => null);
  if (answer && answer.ok) location.replace("/");
  else place.textContent = place.dataset.bad;
}
