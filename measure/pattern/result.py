"""What `pattern` and `corrections` say: one object each, from which text, JSON and drawing are made. mm and degrees."""

from __future__ import annotations

from dataclasses import dataclass, field

from measure.result import Verdict


@dataclass(frozen=True)
class Part:
    """One moved part. `size`, `u95` and `limit` mm; `points`: what moved; `pairs`: where it begins and ends.

    `u95` holds while it is this part that moved: which one it was is the question of the rivals.
    """

    kind: str
    form: str
    size: float
    u95: float
    unit: str
    limit: float
    verdict: Verdict
    pairs: list[str]
    hinge: str
    side: str
    points: list[str]
    words: str


@dataclass(frozen=True)
class Told:
    """One explanation. `behind`: by how much its score is worse than the best; 6 is a likelihood ratio of 20 to 1.

    `left_over`: probability of a misfit of this size or more, were it true. No part: nothing moved.
    """

    parts: list[Part]
    misfit: float
    degrees_of_freedom: int
    left_over: float
    behind: float
    words: str


@dataclass(frozen=True)
class Unexplained:
    """A figure that the best explanation leaves off by `size` mm; `w` is that over its sd."""

    of: str
    figure: str
    size: float
    w: float
    words: str


@dataclass(frozen=True)
class Seen:
    """The smallest movement of one kind that would be found in four of five cars, mm; None: not with these readings."""

    kind: str
    size: float | None
    words: str


@dataclass(frozen=True)
class Place:
    """A point, mm, in the axes of the figures: where it stands, and how the best explanation moved it there."""

    name: str
    x: float
    y: float
    z: float | None
    dx: float
    dy: float
    dz: float
    side: str
    pair: str | None
    part: str


@dataclass(frozen=True)
class Pattern:
    """What kind of damage this is. `axes`, what deviations count from: chart, symmetry, symmetry and charted lengths.

    `answer`: "none", "found" (outside), "within" (found, inside the limits) or "undecided". `tied`: what nothing
    measured tells from the best; `rivals`: what is nearly as likely.
    """

    job: str
    stage: str
    units: str
    version: str
    inputs_sha256: str
    axes: str
    answer: str
    best: Told
    tied: list[Told]
    rivals: list[Told]
    more_rivals: int
    unexplained: list[Unexplained]
    would_tell: list[str]
    smallest_seen: list[Seen]
    points: list[Place]
    cautions: list[str]
    notes: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Expected:
    """A check as it stands and as it would stand; `verdict` and `u95` as if measured again equally well."""

    name: str
    unit: str
    limit: float
    before: float
    after: float
    u95: float
    verdict_before: Verdict
    verdict: Verdict


@dataclass(frozen=True)
class Step:
    """One thing to bring back. `by` mm brings it to nought, `to_the_limit` mm just to its limit."""

    number: int
    kind: str
    what: str
    way: str
    by: float
    to_the_limit: float
    u95: float
    points: list[str]
    why: str
    words: str
    measure_again: list[str]
    expected: list[Expected]


@dataclass(frozen=True)
class Corrections:
    """What must come which way, in order. `settle_first`: explanations that would ask for something else.

    `answer`: "none" (nothing to correct), "correct" or "undecided". `still_off`: what stays outside after all steps.
    """

    job: str
    stage: str
    units: str
    version: str
    inputs_sha256: str
    answer: str
    steps: list[Step]
    settle_first: list[str]
    would_tell: list[str]
    still_off: list[Expected]
    points: list[Place]
    cautions: list[str]
    notes: list[str] = field(default_factory=list)
