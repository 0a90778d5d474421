"""How often the right kind of damage is told: 500 cars of each kind at 8 mm, and straight ones."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, partial

import numpy as np

from tests.benchmarks.simulated import many
from tests.pattern.damaged import KINDS, KINDS_OF_A_CHART, Sheet, damage, guess, measured, sheet, wanted

MM = 8.0
_sheet = cache(sheet)


@dataclass(frozen=True)
class Outcome:
    """Shares of the cars of one kind. `first`: the best explanation is of the right kind and has no other part.

    `tied`: it is first, or nothing tells the best from it, or it is a rival within the threshold. `none`: the best is
    that nothing moved. `alone`: first, without a rival of another kind.
    """

    kind: str
    chart: bool
    first: float
    tied: float
    none: float
    alone: float
    errors: np.ndarray  # size told less built in, mm, where one part of the right kind is first
    u95: np.ndarray


def one(seed: int, kind: str, chart: bool, mm: float) -> tuple[bool, bool, bool, bool, float, float]:
    """(first, tied, none, alone, size error, u95) of one car."""
    of: Sheet = _sheet(chart)
    rng = np.random.default_rng([sum(map(ord, kind)), int(chart), seed])
    made = guess(of, measured(of, damage(of, kind, rng, mm), rng))
    told = [sorted(made.kinds(e)) for e in made.likely]
    best = made.likely[0]
    first = told[0] == wanted(kind)
    error, u95 = np.nan, np.nan
    if first and len(best.parts) == 1:
        error, u95 = abs(best.sizes[0]) - mm, 1.96 * best.sd[0]
    return first, wanted(kind) in told, not told[0], first and all(t == told[0] for t in told), error, u95


def run(cars: int, chart: bool, kind: str, workers: int = 2, mm: float = MM) -> Outcome:
    """Simulate `cars` cars of one kind."""
    made = many(partial(one, kind=kind, chart=chart, mm=mm), range(cars), workers)
    first, tied, none, alone = (float(np.mean([m[k] for m in made])) for k in range(4))
    return Outcome(
        kind, chart, first, tied, none, alone, np.array([m[4] for m in made]), np.array([m[5] for m in made])
    )


def table(cars: int = 500, workers: int = 2) -> list[str]:
    """Lines to print."""
    lines = [
        f"{cars} simulated cars of each kind, {MM:g} mm, one drop of the bob, 64 floor tapes, heights, 1 mm scatter"
    ]
    for chart, kinds in ((False, KINDS), (True, KINDS_OF_A_CHART)):
        lines.append("  with a factory chart" if chart else "  by symmetry alone")
        for kind in ("straight", *kinds):
            o = run(cars, chart, kind, workers)
            known = np.isfinite(o.errors)
            size = ""
            if known.any() and kind != "side":
                held = np.mean(np.abs(o.errors[known]) <= o.u95[known])
                size = f", size off by {np.mean(o.errors[known]):+.2f} mm on average, held at 95 % {100 * held:.1f} %"
            lines.append(
                f"    {kind:10s} right {100 * o.first:5.1f} %, right or tied {100 * o.tied:5.1f} %, no rival of "
                f"another kind {100 * o.alone:5.1f} %, none {100 * o.none:5.1f} %{size}"
            )
    return lines
