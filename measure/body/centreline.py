"""Which pairs carry the centreline, which are set aside, and whether the readings leave a choice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from measure.body.agreement import largest_agreeing_set
from measure.body.frame import Aligned, Frame, Pairs, align, place
from measure.body.points import CarPoints
from measure.body.words import sideways
from measure.readings.unknowns import Array

MOST_TOLD = 7
"""Alternatives said in words; the verdicts rest on all of them."""
MOST_JUDGED = 100
"""Alternatives beyond which they are sampled evenly: so many leave hardly anything decided."""
SEEN = 1.0
"""mm; a pair that stands nearer to an alternative's centreline than this is not worth naming."""


@dataclass(frozen=True)
class Centreline:
    """The chosen frame first, then the frames of every rival that explains the car equally well.

    `rests_on` says in words why these pairs: "trusted", "agree", "all" (too few to judge) or "disagree".
    """

    frames: tuple[Frame, ...]
    pairs: Pairs
    rests_on: str

    @property
    def ambiguous(self) -> bool:
        """True where two sets of pairs explain the car equally well."""
        return len(self.frames) > 1

    @property
    def set_aside(self) -> tuple[str, ...]:
        """Keys of the pairs that do not carry the centreline."""
        return tuple(k for i, k in enumerate(self.pairs.keys) if i not in self.frames[0].used)

    def alternatives(self) -> list[str]:
        """The likeliest ways to read the car, in words, at most MOST_TOLD; empty where there is one."""
        return [self._told(frame) for frame in self.frames[:MOST_TOLD]] if self.ambiguous else []

    def _told(self, frame: Frame) -> str:
        ends = self.pairs.ends
        offsets = frame.xyz[ends].mean(axis=1)[:, 1]
        aside = [
            f"{key} stands {sideways(offset)}"
            for i, (key, offset) in enumerate(zip(self.pairs.keys, offsets, strict=True))
            if i not in frame.used and abs(offset) >= SEEN
        ]
        carried = " and ".join(self.pairs.keys[i] for i in frame.used)
        return f"if {carried} are true, " + (", ".join(aside) if aside else "nothing stands off")


def find_centreline(
    points: CarPoints, pairs: Pairs, trusted: tuple[bool, ...], build: float, level_sd: float
) -> Centreline | None:
    """The centreline of a car, or None where fewer than two pairs stand apart along it.

    build: mm, factory scatter of a point; level_sd: rad. Trusted pairs carry it alone; else the largest set of pairs
    that agree within their uncertainty does.
    """
    if len(pairs.keys) < 2 or _bunched(points, pairs):
        return None
    aligned = align(points, pairs, build, level_sd)
    middles, _ = aligned.midpoints()
    if any(trusted):
        return _on_trusted(aligned, pairs, trusted)
    C = aligned.midpoint_covariance()
    design = np.column_stack([np.ones(len(middles)), middles[:, 0]])
    agreement = largest_agreeing_set(middles[:, 1], design, C)
    sets = [agreement.best, *agreement.rivals]
    usable = [s for s in sets if _spread(middles[list(s), 0])]
    usable = usable[:: 1 + (len(usable) - 1) // MOST_JUDGED]
    if not usable:
        return None
    why = "agree" if agreement.agrees and len(agreement.best) > 2 else "disagree" if len(pairs.keys) > 2 else "all"
    return Centreline(tuple(place(aligned, s) for s in usable), pairs, why)


def centreline_of(
    points: CarPoints, pairs: Pairs, sets: Sequence[tuple[int, ...]], build: float, level_sd: float, why: str
) -> Centreline | None:
    """The centreline through pairs that stayed, and through rival sets of them; None where too few did."""
    if len(pairs.keys) < 2 or _bunched(points, pairs):
        return None
    aligned = align(points, pairs, build, level_sd)
    middles, _ = aligned.midpoints()
    usable = [s for s in dict.fromkeys(sets) if len(s) >= 2 and _spread(middles[list(s), 0])][:MOST_JUDGED]
    if not usable:
        return None
    return Centreline(tuple(place(aligned, s) for s in usable), pairs, why)


def _on_trusted(aligned: Aligned, pairs: Pairs, trusted: tuple[bool, ...]) -> Centreline | None:
    chosen = tuple(i for i, t in enumerate(trusted) if t)
    middles, _ = aligned.midpoints()
    if len(chosen) < 2 or not _spread(middles[list(chosen), 0]):
        return None
    return Centreline((place(aligned, chosen),), pairs, "trusted")


def _spread(x: Array) -> bool:
    """Whether stations lie far enough apart to hold a direction: 100 mm."""
    return bool(np.ptp(x) > 100.0)


def _bunched(points: CarPoints, pairs: Pairs) -> bool:
    middles = points.xyz[pairs.ends].mean(axis=1)
    across = (points.xyz[pairs.ends[:, 0]] - points.xyz[pairs.ends[:, 1]]).mean(axis=0)
    leg = middles[0] - middles[-1]
    if np.linalg.norm(across) < 1.0:
        return True
    along = leg - across * (leg @ across) / (across @ across)
    return bool(np.linalg.norm(along) < 100.0)
