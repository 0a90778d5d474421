"""Mistakes planted in simulated sheets: are they found, and does a clean sheet stay clean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from measure.findings import BadInput
from measure.result import ReadingResult, Suspect
from tests.benchmarks.simulated import LEAN, judged, many
from tests.synthetic import Car, Survey, make_car, survey

LEAST, MOST = 1.2, 3.0
"""Planted size as a multiple of what is findable, drawn evenly; the sign too."""


@dataclass(frozen=True)
class Sheets:
    """Shares of sheets: clean without suspect; one mistake first (also if tied, or alone); both of two named.

    A sheet that is refused as a whole counts as one where nothing was found, and among `refused`.
    """

    clean: float
    first: float
    first_alone: float
    both: float
    both_alone: float
    refused: float


def one(seed: int) -> tuple[bool, ...]:
    """One car whose sheet is taken three times: clean, with one mistake, with two."""
    rng = np.random.default_rng([500, seed])
    car = make_car(rng, pairs=7, build=1.0)
    roll, pitch = rng.uniform(-LEAN, LEAN, 2)
    tapes = int(rng.integers(45, 75))
    sheet = survey(car, rng, tapes=tapes, roll_deg=float(roll), pitch_deg=float(pitch), heights=True)
    clean = judged(car, sheet)
    checked = [r for r in clean.readings if r.kind == "floor" and r.findable and (r.redundancy or 0.0) > 0.1]
    planted = [checked[k] for k in rng.choice(len(checked), 2, replace=False)]
    _plant(sheet, planted[0], rng)
    alone = _suspects(car, sheet)
    _plant(sheet, planted[1], rng)
    two = _suspects(car, sheet)
    wanted = {r.source for r in planted}
    sources = {s.source for s in two or ()}
    first = alone[0] if alone else None
    source = planted[0].source
    return (
        not clean.suspects,
        first is not None and source in (first.source, *first.with_),
        first is not None and first.source == source,
        wanted <= {name for s in two or () for name in (s.source, *s.with_)},
        wanted <= sources,
        alone is None or two is None,
    )


def _suspects(car: Car, sheet: Survey) -> list[Suspect] | None:
    try:
        return judged(car, sheet).suspects
    except BadInput:
        return None


def _plant(sheet: Survey, reading: ReadingResult, rng: np.random.Generator) -> None:
    assert reading.findable is not None
    row = int(reading.source.rpartition(":")[2]) - 2  # line 1 holds the column names
    sheet.tape[row]["length"] += float(rng.choice([-1.0, 1.0]) * rng.uniform(LEAST, MOST) * reading.findable)


def run(sheets: int, workers: int = 2) -> Sheets:
    """Simulate `sheets` sheets of 45 to 74 tapes."""
    made = np.array(many(one, range(sheets), workers), dtype=float)
    return Sheets(*made.mean(axis=0).tolist())


def table(sheets: int, workers: int = 2) -> list[str]:
    """Lines to print."""
    s = run(sheets, workers)
    return [
        f"{sheets} simulated sheets of 45 to 74 tapes, mistakes of {LEAST} to {MOST} times their findable size",
        f"  a clean sheet raises no suspect       {100 * s.clean:5.1f} %",
        f"  one mistake is the first suspect      {100 * s.first:5.1f} % (not tied {100 * s.first_alone:.1f} %)",
        f"  of two mistakes both are named        {100 * s.both:5.1f} % (not tied {100 * s.both_alone:.1f} %)",
        f"  refused as a whole                    {100 * s.refused:5.1f} %",
    ]
