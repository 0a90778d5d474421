"""What would settle an undecided mount: the acts that shrink its uncertainty, each with the u95 it would reach."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import sqrt

from measure.readings.unknowns import Array
from measure.setup.drill_result import NextStep
from measure.setup.hole_places import Places

WORTH_IT = 0.03
"""An act that takes less than this share off u95 is not told."""
DROPS = (2, 3, 4)
AT_HOLES = "the bob at hole "


def next_step(
    what: str, value: float, u95: float, limit: float, row: Array, found: Places, drops: int,
    followed: Sequence[str] = (),
) -> NextStep:  # fmt: skip
    """The first act, of the easiest order, that settles a figure; else the one that shrinks it most.

    Variances: n drops of the bob at each hole leave 1/n of its share, a second drop at a point half of it, a further
    pair p/(p + 1) of the factory scatter of p pairs. value, u95, limit in one unit; row (s,) to a factor. `followed`:
    points of the holes that hold the mount.
    """
    shares = _shares(found.labels, row)
    total = sum(shares.values())
    bob = sum(share for label, share in shares.items() if label.startswith(AT_HOLES))
    acts = _acts(shares, drops, followed) if total > 0 else []
    reached = [(words, u95 * sqrt(max(left / total, 0.0))) for words, left in acts]
    worth = [(words, u) for words, u in reached if u < u95 * (1 - WORTH_IT)]
    if not worth:
        return NextStep(what, "measure the pairs again with second drops of the bob, and check", None)
    for words, u in worth:
        if abs(value) + u <= limit or abs(value) - u > limit:
            return NextStep(what, words, u)
    words, u = min(worth, key=lambda act: (round(act[1], 9), act[0]))
    if what == "square" and bob > total / 2:
        words += (
            "; its holes stand too close together to be squared by their marks: drill one, then set the mount square"
        )
    return NextStep(what, words, u)


def _acts(shares: dict[str, float], drops: int, followed: Sequence[str]) -> list[tuple[str, float]]:
    """What could be done, the easiest first, each with the variance it leaves of the sum of `shares`."""
    total = sum(shares.values())
    acts: list[tuple[str, float]] = []
    again = 0.0
    bob = sum(share for label, share in shares.items() if label.startswith(AT_HOLES))
    for n in DROPS:
        if n > drops and bob > 0:
            acts.append((
                f"mark each hole from {n} drops of the bob, at the middle of them (then write drops = {n})",
                total - bob * (1 - drops / n),
            ))  # fmt: skip
    for label, share in shares.items():
        if label.startswith("the bob at ") and not label.startswith(AT_HOLES):
            point = label.removeprefix("the bob at ").partition("#")[0]
            acts.append((f"drop the bob once more at {point} and tape to the new mark", total - share / 2))
    for point in followed:
        own = [s for label, s in shares.items() if label.partition("#")[0] == f"the bob at {point}"]
        again += sum(own) / (len(own) + 1)
    if again > 0:
        acts.append(("drop the bob once more at each hole drilled and tape to the new marks", total - again))
    pairs = [share for label, share in shares.items() if label.startswith("factory scatter")]
    if pairs:
        acts.append(("measure a further pair", total - sum(pairs) / (len(pairs) + 1)))
    lean = sum(share for label, share in shares.items() if label.startswith(("lean", "heights not")))
    if lean > 0:
        acts.append(("measure the heights of all points (water level or laser)", total - lean))
    return acts


def next_for_fit(
    forgiven: float | None, drops: int, template: bool, there: bool, u95_with: Callable[[int, bool], float]
) -> NextStep:
    """What would bring the holes near enough to each other; `u95_with(drops, template)` says how near they come.

    `there`: the hole that fits worst is drilled already.
    """
    what = "fit of the holes"
    if there and forgiven is not None:
        act = "offer the mount up: where every bolt goes in by hand, its holes will do; else measure them again"
        return NextStep(what, act, None)
    if forgiven is None:
        return NextStep(what, "give each hole its bolt in mounts.csv: nothing says how much it forgives", None)
    if not template:
        laid = u95_with(drops, True)
        if laid <= forgiven:
            act = (
                "lay the template, or the mount itself, over all the marks and drill through it (then template = true)"
            )
            return NextStep(what, act, laid)
    for n in DROPS:
        if n > drops and (u := u95_with(n, template)) <= forgiven:
            return NextStep(what, f"mark each hole from {n} drops of the bob (then write drops = {n})", u)
    act = "allow a slot or an oversize in job.toml, or drill through the mount itself once one hole holds it"
    return NextStep(what, act, None)


def _shares(labels: Sequence[str], row: Array) -> dict[str, float]:
    """Variance by label, in order of first appearance."""
    shares: dict[str, float] = {}
    for label, effect in zip(labels, row.tolist(), strict=True):
        shares[label] = shares.get(label, 0.0) + effect**2
    return shares
