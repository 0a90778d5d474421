"""The comparison document: one object from which the text, the JSON and the drawing are made. Nothing here computes.

Millimetres; axes x forward, y to the left, z up: the car's own as the BEFORE stage has them where `frame` is "car", the
BEFORE network's where it is "network". None stands for what the readings do not hold.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from measure.compare.movement import Verdict


@dataclass(frozen=True)
class GlobalResult:
    """All common points together.

    `square` is the sum of squares, `freedom` its degrees of freedom; `chance` of as large a sum where nothing moved.
    `freedom_of_sd` is None where every sd was stated (chi-square, else F).
    """

    square: float
    freedom: int
    freedom_of_sd: float | None
    chance: float
    passed: bool


@dataclass(frozen=True)
class Inputs:
    """SHA-256 of what each stage was read from."""

    before: str
    after: str


@dataclass(frozen=True)
class MovementResult:
    """One common point. dx, dy, dz mm; `length` over the axes that are known; `u95` of each axis.

    `could_be`: the largest movement in the 95 % region; `smallest_seen`: the movement that is significant with 80 %
    power, worst direction; `stable`: one of the points the others are measured against.
    """

    name: str
    dx: float | None
    dy: float | None
    dz: float | None
    length: float | None
    u95: list[float | None]
    significant: bool
    could_be: float | None
    smallest_seen: float | None
    verdict: Verdict
    words: str
    stable: bool
    x: float
    y: float
    plan_covariance: list[float] | None = None  # variance of dx, covariance, variance of dy, mm2
    side: str = "C"
    part: str = ""
    single_drops: bool = False


@dataclass(frozen=True)
class Comparison:
    """Everything that two stages say of what moved."""

    job: str
    before: str
    after: str
    units: str
    version: str
    inputs_sha256: Inputs
    frame: Literal["car", "network"]
    plan_only: bool
    limit: float
    differences: list[str]
    global_test: GlobalResult
    stable: list[str]
    ambiguous: bool
    alternatives: list[str]
    together: list[list[str]]
    movements: list[MovementResult]
    only_before: list[str]
    only_after: list[str]
    cautions: list[str]
    notes: list[str] = field(default_factory=list)


def exit_status(comparison: Comparison) -> int:
    """0 all held, 1 something moved, 3 neither but something undecided."""
    verdicts = {m.verdict for m in comparison.movements}
    if "moved" in verdicts:
        return 1
    return 3 if "undecided" in verdicts or not verdicts else 0
