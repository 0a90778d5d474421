"""The driveline document: one object from which text and JSON are made. Nothing here computes.

Millimetres and degrees, car axes. `None` stands for what the readings do not hold. u95 is the expanded uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from measure.body.verdict import Verdict
from measure.setup.axle_result import SetupFigure


@dataclass(frozen=True)
class LineResult:
    """A line through points: degrees it drops to the rear (side view) and its rear end runs to the left (plan)."""

    name: str
    points: list[str]
    drop: float
    drop_u95: float
    left: float
    left_u95: float
    words: str
    crooked: float | None = None
    """mm, the farthest any point lies off the line; None with two points."""


@dataclass(frozen=True)
class JointResult:
    """One universal joint. `least`, `greatest` degrees: what its angle can be at 95 %."""

    name: str
    angle: float
    side: float
    plan: float
    least: float
    greatest: float
    limit: float
    verdict: Verdict
    words: str
    source: str


@dataclass(frozen=True)
class RippleResult:
    """The speed ripple left at the pinion, per cent from least to greatest, and the single joint that would leave it.

    `steady_to_rpm`: shaft speed up to which its angular acceleration stays under 400 rad/s^2 even at `could_be`.
    """

    percent: float
    could_be: float
    equivalent: float
    equivalent_could_be: float
    limit: float
    verdict: Verdict
    steady_to_rpm: float | None
    words: str
    source: str


@dataclass(frozen=True)
class DrivelineResult:
    """One driven axle: its lines, joints and what is left."""

    name: str
    verdict: Verdict
    words: str
    lines: list[LineResult]
    engine: SetupFigure | None
    joints: list[JointResult]
    phase: float
    ripple: RippleResult | None
    not_held: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class DrivelineDocument:
    """Everything one stage says of its driveline."""

    job: str
    stage: str
    units: str
    version: str
    inputs_sha256: str
    drivelines: list[DrivelineResult]
    cautions: list[str]
    notes: list[str]


def exit_status(doc: DrivelineDocument) -> int:
    """0 all within, 1 something outside, 3 neither but something undecided."""
    each = {line.verdict for line in doc.drivelines}
    return 1 if "outside" in each else 3 if "undecided" in each else 0
