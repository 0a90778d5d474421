// The fit of a reading that was saved before the car was worked out: asked for until it is known or nobody waits for it.

const AGAIN = 1200;

export async function follow(path, source, wanted, tell) {
  const place = path.replace(/readings$/, `fits/${encodeURIComponent(source)}`);
  while (wanted()) {
    await new Promise((next) => { setTimeout(next, AGAIN); });
    const answer = await fetch(place, { cache: "no-store" }).catch(() => null);
    const fit = answer && answer.ok ? await answer.json().catch(() => null) : null;
    if (fit && fit.how !== "working") { if (wanted()) tell(fit); return; }
  }
}
