"""What can be done with a hole that is there already: used as it is, made longer, or drilled anew."""

from __future__ import annotations

from math import hypot

import numpy as np

from measure.job import MountHole
from measure.readings.unknowns import Array
from measure.setup.drill_result import Existing, Use
from measure.setup.mounts import Wanted
from measure.setup.spread import ellipse

SETS_IT = 1e-6
"""mm; a hole this near, this surely, is the one that the pose was taken from."""


def use_of(
    wanted: Wanted, hole: MountHole, point: str, size: float | None, off: Array, effects: Array, freedom: Array
) -> Existing:
    """Judge one hole: `off` (2,) mm from where it is wanted, with effects (2, s); `size` its measured diameter.

    The whole 95 % region must lie inside what the bolt forgives for "use", beyond all that is allowed for "redrill".
    """
    away = hypot(*off)
    u95 = ellipse(effects, freedom)[0]
    diameter = max(size or 0.0, hole.diameter)  # a smaller one, a pilot, is drilled out to the size wanted
    if u95 < SETS_IT and away < SETS_IT:
        return Existing(point, away, u95, "use", 0.0, "sets the place of the mount")
    if hole.bolt is None:
        words = f"stands {away:.1f} mm off; without its bolt in mounts.csv nothing says whether that will do"
        return Existing(point, away, u95, "undecided", 0.0, words)
    clear = (diameter - hole.bolt) / 2
    most = clear + max(wanted.mount.slot, wanted.mount.oversize / 2)
    slot = max(away - clear, 0.0)
    verdict: Use
    if away + u95 <= clear:
        verdict, told = "use", "can be used as it is"
    elif away - u95 > most:
        verdict, told = "redrill", _anew(hole, diameter, away)
    elif away + u95 <= most and away - u95 > clear:
        way = _way(off)
        longer = f"made {slot:.1f} mm longer towards the {way} ({slot + u95:.1f} mm at most)"
        wider = f"opened to {hole.bolt + 2 * (away + u95):.1f} mm"
        verdict, told = "slot", f"must be {wider if wanted.mount.oversize / 2 > wanted.mount.slot else longer}"
    elif away + u95 <= most:
        verdict, told = "slot", f"may have to be opened by up to {max(away + u95 - clear, 0.0):.1f} mm: try the bolt"
    else:
        verdict = "undecided"
        told = f"may do or not (it forgives {clear:.2f} mm, {most:.2f} mm with what is allowed): measure it again"
    if size is not None and size < hole.diameter and verdict in ("use", "slot"):
        told += f", drilled out from {size:g} to {hole.diameter:g} mm"
    return Existing(point, away, u95, verdict, slot, f"stands {away:.1f} mm off, ± {u95:.1f}, and {told}")


def _anew(hole: MountHole, diameter: float, away: float) -> str:
    """A drill wanders into a hole that is too near: then the old one has to be welded shut first."""
    web = away - (diameter + hole.diameter) / 2
    if web < hole.diameter / 2:
        return "must be welded shut and drilled anew: the new hole would cut into it or leave no metal between"
    return f"must be drilled anew: {web:.1f} mm of metal stay between the two"


def _way(off: Array) -> str:
    """Towards where the hole is wanted, from where it is."""
    x, y = -off
    if abs(x) > 2 * abs(y):
        return "front" if x > 0 else "rear"
    side = "left" if y > 0 else "right"
    return side if abs(y) > 2 * abs(x) else f"{'front' if x > 0 else 'rear'} {side}"


def radial(effects: Array, freedom: Array) -> float:
    """How far a hole may come out from where it is wanted, 95 %, in its worst direction, mm."""
    return float(np.max(ellipse(effects, freedom)[:2]))
