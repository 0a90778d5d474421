"""The drill document: one object from which text, JSON, template, DXF and drawing are made. Nothing here computes.

Millimetres and degrees; car axes x forward, y to the left, z up. `None` stands for what the readings do not hold.
u95 is the expanded uncertainty, 95 %.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from measure.body.verdict import Verdict

Use = Literal["use", "slot", "redrill", "undecided"]
Status = Literal["drill", "not yet", "there already"]
Why = Literal["central", "rails", "pilot", "holes"]


@dataclass(frozen=True)
class Arc:
    """A horizontal length from the plumb mark under `mark` to the plumb point of the hole, mm, as a tape is read."""

    mark: str
    length: float


@dataclass(frozen=True)
class CheckArc:
    """The third length. `u95`: the tape may differ by so much though all is well."""

    mark: str
    length: float
    u95: float


@dataclass(frozen=True)
class Ellipse:
    """Where the hole may come out, 95 %: half axes in mm; `direction_deg` of the longer one from x towards the left."""

    major: float
    minor: float
    direction_deg: float


@dataclass(frozen=True)
class Existing:
    """A hole that is there already: how far it stands from where it is wanted, and what can be done with it.

    `off` mm, with u95 in any direction; `slot` mm: how much longer it must be made to take the bolt.
    """

    point: str
    off: float
    u95: float
    verdict: Use
    slot: float
    words: str


@dataclass(frozen=True)
class HoleResult:
    """One hole. x, y, z in the car with u95 of where it comes out if marked by these arcs; status says whether yet."""

    mount: str
    hole: str
    x: float
    y: float
    z: float | None
    u95: list[float | None]
    arcs: list[Arc]
    check: CheckArc | None
    side: str
    crossing_deg: float
    status: Status
    ellipse: Ellipse
    diameter: float
    bolt: float | None
    existing: Existing | None
    words: str


@dataclass(frozen=True)
class NextStep:
    """What would settle an undecided figure, and the u95 it would have then, in the figure's unit."""

    what: str
    act: str
    u95: float | None


@dataclass(frozen=True)
class MountResult:
    """One mount. `offset` mm, + to the left; `square_deg`, + turned to the left; x, y, z its middle in the car.

    `gap_L`, `gap_R`: from its outermost edge to the rail, mm; None without rails or on them. `fit_u95`: how far a hole
    may come out from where the bolt wants it (mm) against `fit_limit`, what the hole forgives.
    """

    name: str
    square_deg: float | None
    offset: float
    gap_L: float | None  # noqa: N815 - as the rest of the program names sides
    gap_R: float | None  # noqa: N815
    verdict: Verdict
    words: str
    square_u95: float | None
    offset_u95: float
    gap_L_u95: float | None  # noqa: N815
    gap_R_u95: float | None  # noqa: N815
    square_limit: float
    offset_limit: float
    square_verdict: Verdict
    offset_verdict: Verdict
    fit_u95: float
    fit_limit: float | None
    fit_verdict: Verdict
    why: Why
    x: float
    y: float
    z: float | None
    next: list[NextStep] = field(default_factory=list)


@dataclass(frozen=True)
class PlanPoint:
    """A point of the body in plan, for the drawing."""

    name: str
    x: float
    y: float
    part: str
    side: str


@dataclass(frozen=True)
class DrillPlan:
    """Everything that one stage says of where to drill."""

    job: str
    stage: str
    units: str
    version: str
    inputs_sha256: str
    mounts: list[MountResult]
    holes: list[HoleResult]
    cautions: list[str]
    notes: list[str]
    points: list[PlanPoint]
    marks_dropped: bool


def exit_status(plan: DrillPlan) -> int:
    """0 every mount may be drilled, 1 one may not, 3 neither but one is undecided."""
    verdicts = {mount.verdict for mount in plan.mounts}
    return 1 if "outside" in verdicts else 3 if "undecided" in verdicts else 0
