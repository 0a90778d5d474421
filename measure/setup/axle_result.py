"""The axle document: one object from which text, JSON and drawing are made. Nothing here computes.

Millimetres and degrees; car axes x forward, y to the left, z up. `None` stands for what the readings do not hold.
u95 is the expanded uncertainty, 95 %.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from measure.body.verdict import Verdict

Status = Literal["move", "not yet", "leave it"]
PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class SetupFigure:
    """One figure with its verdict. `usual`: where such a figure starts from; `source`: whence usual and limit come."""

    name: str
    value: float | None
    unit: str
    u95: float | None
    limit: float | None
    verdict: Verdict
    words: str
    usual: float | None = None
    source: str = ""


@dataclass(frozen=True)
class Adjuster:
    """One arm or rod. `move` mm wanted, + longer, with u95; `set_to` mm what turns and flats come to."""

    name: str
    body_end: str
    axle_end: str
    length: float
    move: float
    u95: float
    turns: int | None
    flats: float | None
    set_to: float
    turn_words: str
    which_way: str
    status: Status
    words: str


@dataclass(frozen=True)
class EndMove:
    """How far an end of the axle is to go, mm, + forward and + left; x, y where it stands."""

    side: str
    x: float
    y: float
    forward: float
    left: float
    words: str


@dataclass(frozen=True)
class Remeasure:
    """Whether measuring more before anything is turned would be worth it, and what."""

    worth: bool
    words: str
    act: str | None = None
    figure: str | None = None
    u95: float | None = None


@dataclass(frozen=True)
class AxleResult:
    """One axle: as it stands, what to move, and what is expected then."""

    name: str
    status: Status
    words: str
    now: list[SetupFigure]
    ends: list[EndMove]
    adjusters: list[Adjuster]
    after: list[SetupFigure]
    remeasure: Remeasure | None
    housing: list[SetupFigure]
    setup: list[SetupFigure]
    not_held: list[str]


@dataclass(frozen=True)
class PlanMark:
    """A point for the drawing."""

    name: str
    x: float
    y: float
    z: float | None
    part: str
    side: str


@dataclass(frozen=True)
class AxleDocument:
    """Everything one stage says of how to set its axles."""

    job: str
    stage: str
    units: str
    version: str
    inputs_sha256: str
    axles: list[AxleResult]
    cautions: list[str]
    notes: list[str]
    points: list[PlanMark] = field(default_factory=list)


def exit_status(doc: AxleDocument) -> int:
    """0 nothing to move, 1 something is to be moved or no move mends it, 3 neither, but something is undecided."""
    each = {axle.status for axle in doc.axles}
    outside = any(f.verdict == "outside" for axle in doc.axles for f in (*axle.now, *axle.housing))
    return 1 if "move" in each or outside else 3 if "not yet" in each else 0
