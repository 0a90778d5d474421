"""Acceptance in the manner of VDI/VDE 2634 part 1: known lengths that played no part in the scale, in many directions.

A shop carries one or two bars of known length round the car; each place is a row of tape.csv (where = bar). The first
row gives the scale, the others are compared. Figures are errors: measured minus known.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from measure.adjust.critical import K95, normal_critical
from measure.adjust.in_line import adjust_what_is_held
from measure.adjust.stage import ContradictionError, Solved
from measure.findings import BadInput, Findings
from measure.read_job import Progress, read_job
from measure.readings.reading import Reading
from measure.refusals import refuse_contradiction

DIRECTIONS = 7
"""Directions that the lengths must lie in (VDI/VDE 2634 part 1, from memory)."""
APART = 15.0
"""Degrees between two directions that count as two (our judgement)."""


@dataclass(frozen=True)
class TestedLength:
    """One known length: `error` is measured minus known, `u95` its expanded uncertainty, mm; direction in words."""

    source: str
    names: tuple[str, str]
    known: float
    error: float
    u95: float


@dataclass(frozen=True)
class Acceptance:
    """`largest_allowed`: largest error, over its own u95, that chance alone brings in one such test of twenty.

    `verdict`: "passed", "failed", or "too few" where the lengths lie in fewer than seven directions.
    """

    job: str
    stage: str
    scale_from: str
    lengths: list[TestedLength]
    directions: int
    largest: float
    largest_allowed: float
    verdict: str


def acceptance(folder: Path, stage: str | None = None, progress: Progress | None = None) -> Acceptance:
    """Test a stage's photographs against its bars. Raises BadInput without two rows of bars, or without photographs."""
    findings = Findings()
    job, name, readings = read_job(folder, stage, findings, progress)
    bars = [r for r in readings if r.kind == "bar"]
    if not any(r.seen for r in readings) or len(bars) < 2:
        findings.error(
            f"{name}/tape.csv", None, "where", f"{len(bars)} rows with where = bar and "
            f"{len({r.via for r in readings if r.seen})} photographs",
            "photograph one or two bars of known length in at least eight places, each place a row of its own",
        )  # fmt: skip
        raise BadInput(findings)
    others = [r for r in readings if r not in bars[1:] and r.kind not in ("floor", "car")]
    try:
        solved = adjust_what_is_held(job, name, others)
    except ContradictionError:
        refuse_contradiction(job, name, others, findings)
    u = solved.site.unknowns

    def seen(bar: Reading) -> bool:
        return all(n in u.point_idx and solved.held[u.point_idx[n]] for n in bar.names)

    if not seen(bars[0]):
        findings.error(
            f"{name}/tape.csv", int(bars[0].source.rpartition(":")[2]), None, " to ".join(bars[0].names),
            "the first bar gives the scale and is not seen well enough: photograph it again, or put another first",
        )  # fmt: skip
        raise BadInput(findings)
    tested, legs = [], []
    for bar in bars[1:]:
        if not seen(bar):
            findings.note(f"{name}/tape.csv", int(bar.source.rpartition(":")[2]), None, " to ".join(bar.names),
                          "not seen well enough to be tested")  # fmt: skip
            continue
        length, unit = _tested(bar, solved)
        tested.append(length)
        legs.append(unit)
    directions = _directions(legs)
    largest = max((abs(t.error) / t.u95 for t in tested), default=0.0)
    allowed = normal_critical(len(tested)) / K95
    verdict = "too few" if directions < DIRECTIONS else "passed" if largest <= allowed else "failed"
    return Acceptance(job.title, name, bars[0].source, tested, directions, largest, allowed, verdict)


def _tested(bar: Reading, solved: Solved) -> tuple[TestedLength, np.ndarray]:
    """One bar against the length between its ends as photographed, and its direction (3,), a unit vector."""
    u, state, Q = solved.site.unknowns, solved.final.state, solved.final.Q
    a, b = (u.point_idx[n] for n in bar.names)
    leg = state.positions[b] - state.positions[a]
    unit = leg / np.linalg.norm(leg)
    columns = np.concatenate([u.point_columns[a], u.point_columns[b]])
    gradient = np.concatenate([-unit, unit])
    sd = np.sqrt(gradient @ Q[np.ix_(columns, columns)] @ gradient + bar.sd**2)
    error = float(np.linalg.norm(leg)) - bar.values[0]
    return TestedLength(bar.source, (bar.names[0], bar.names[1]), bar.values[0], error, float(K95 * sd)), unit


def _directions(legs: list[np.ndarray]) -> int:
    """How many directions lie at least APART from each other; a leg and its reverse are one. Greedy, in order."""
    kept: list[np.ndarray] = []
    for leg in legs:
        if all(abs(float(leg @ other)) < np.cos(np.radians(APART)) for other in kept):
            kept.append(leg)
    return len(kept)


def exit_status(result: Acceptance) -> int:
    """0 passed, 1 failed, 3 too few lengths to say."""
    return {"passed": 0, "failed": 1}.get(result.verdict, 3)
