"""The result document: one object from which the text, the JSON, the page and the drawings are all made.

Always millimetres and degrees, whatever the job's unit. `None` stands for a figure that the readings do not
hold, and becomes `null` in JSON, never a missing key. Axes: x forward, y to the car's left, z up (ISO 8855);
in the car's own axes where `frame` is "car", in the network's arbitrary ones where it is "network".

Nothing here computes. A key may be added, none renamed.
"""

import dataclasses
import json
import math
import numbers
from dataclasses import dataclass, field
from typing import Any, Literal

Frame = Literal["car", "network"]
Verdict = Literal["within", "outside", "undecided", "no limit"]
ActKind = Literal["drop", "tape", "picture", "heights", "pair"]
"""Drop the bob again, run a floor tape, take a picture, measure heights, measure a further pair."""


@dataclass(frozen=True)
class Tilt:
    """How the car sat to gravity, in degrees: roll + left side high, pitch + nose low. None: not levelled."""

    roll: float | None = None
    pitch: float | None = None


@dataclass(frozen=True)
class ScaledKind:
    """One kind of reading that scattered more than stated: its sd were multiplied by `factor` (> 1)."""

    kind: str
    factor: float
    degrees_of_freedom: float


@dataclass(frozen=True)
class Network:
    """Figures of the adjustment as a whole.

    `sigma0` is root(v'Pv / degrees of freedom), no unit, with every sd as stated; `sigma0_after` is the same
    after whatever `scaled` lists. `sigma0_low` and `sigma0_high` bound it (chi-square, 95 %) where all is as
    stated. None where nothing is left over to judge by.
    """

    points: int
    readings: int
    unknowns: int
    defect: int
    degrees_of_freedom: int
    sigma0: float | None
    sigma0_low: float | None
    sigma0_high: float | None
    passed: bool | None
    scaled: list[ScaledKind] = field(default_factory=list)
    sigma0_after: float | None = None


@dataclass(frozen=True)
class TapeResult:
    """What the adjustment found of one tape: `scale` is relative, + reads long; `sd` is its marginal sd."""

    name: str
    scale: float | None
    sd: float | None


@dataclass(frozen=True)
class PointResult:
    """One point, in mm; sd are marginal (everything else free). `cov_xy` in mm2.

    `side` is L, R or C; `pair` the key of its pair; `part` as in points.csv.
    """

    name: str
    x: float | None
    y: float | None
    z: float | None
    sd_x: float | None
    sd_y: float | None
    sd_z: float | None
    cov_xy: float | None = None
    side: str = "C"
    pair: str | None = None
    part: str = ""


@dataclass(frozen=True)
class ReadingResult:
    """One reading: `residual` is adjusted minus value, in the reading's own unit; w is residual / its sd."""

    source: str
    kind: str
    names: list[str]
    value: float
    adjusted: float | None
    residual: float | None
    sd: float
    redundancy: float | None
    w: float | None
    findable: float | None


@dataclass(frozen=True)
class Suspect:
    """A reading that is probably wrong. `size`: reading minus what it should be (+ reads long).

    `set_aside`: it no longer takes part. `with_`: sources from which it cannot be told apart; in JSON the
    key is `cannot_tell_from`, `with` being a reserved word in several languages.
    """

    source: str
    kind: str
    w: float | None
    size: float | None
    hint: str
    set_aside: bool = False
    with_: list[str] = field(default_factory=list, metadata={"key": "cannot_tell_from"})


@dataclass(frozen=True)
class Centreline:
    """The symmetry plane: the pairs that carry it and how well it is held."""

    pairs_used: list[str]
    pairs_set_aside: list[str]
    ambiguous: bool
    alternatives: list[str]
    yaw_sd_deg: float | None
    offset_sd: float | None


@dataclass(frozen=True)
class Share:
    """One line of a budget: `share` of the variance, 0 to 1, that comes from `what`."""

    what: str
    share: float


@dataclass(frozen=True)
class NextAct:
    """The one further act that would shrink a figure's uncertainty most, and the u95 it would reach.

    `act` says it in words. `names`: the point where the bob is dropped again, the two marks of a tape; empty where the
    act is about no single point. Documents written before `kind` and `names` came have neither.
    """

    act: str
    u95: float
    kind: ActKind | None = None
    names: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class CheckResult:
    """One figure of the body with its expanded uncertainty (95 %) and its verdict.

    `value`, `u95` and `limit` are in `unit` ("mm" or "deg"). `words` says value and side as a person would:
    "4.2 mm to the left". `single_drops`: it rests on points plumbed only once. `estimable`: the readings
    hold it.
    """

    name: str
    value: float | None
    unit: str
    u95: float | None
    limit: float | None
    verdict: Verdict
    side: str
    words: str
    budget: list[Share] = field(default_factory=list)
    next: NextAct | None = None
    single_drops: bool = False
    estimable: bool = True


@dataclass(frozen=True)
class Loose:
    """Points that nothing holds in a direction, and the shortest list of readings that would hold them."""

    points: list[str]
    direction: str
    fix: list[str]


@dataclass(frozen=True)
class Document:
    """Everything that one stage of one job says."""

    job: str
    stage: str
    units: str
    version: str
    inputs_sha256: str
    frame: Frame
    plan_only: bool
    tilt: Tilt
    network: Network
    points: list[PointResult]
    readings: list[ReadingResult]
    suspects: list[Suspect]
    centreline: Centreline
    checks: list[CheckResult]
    cautions: list[str]
    notes: list[str] = field(default_factory=list)
    unchecked: list[str] = field(default_factory=list)
    loose: list[Loose] = field(default_factory=list)
    pieces: list[list[str]] = field(default_factory=list)
    tapes: list[TapeResult] = field(default_factory=list)


def as_json(doc: object) -> str:
    """A document (a dataclass) as indented JSON, keys in the order of the dataclasses, one newline at the end.

    The same document gives the same bytes: figures are written to 12 significant digits, so that the last
    bits of a sum, which differ between processors, do not show. NaN and infinity become null.
    """
    return json.dumps(_plain(doc), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def _plain(value: Any) -> Any:
    """Dataclasses, numpy scalars and non-finite floats as what JSON knows; TypeError for anything else."""
    if value is None or isinstance(value, bool | str):
        return value
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        keys = {f.name: f.metadata.get("key", f.name) for f in dataclasses.fields(value)}
        return {key: _plain(getattr(value, name)) for name, key in keys.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, numbers.Integral):
        return int(value)
    if isinstance(value, numbers.Real):
        # + 0.0 turns minus nought, which reads as a side, into nought.
        return float(f"{float(value):.12g}") + 0.0 if math.isfinite(value) else None
    if type(value).__name__ in ("bool", "bool_"):  # numpy's truth values are neither bool nor a number
        return bool(value)
    raise TypeError(f"a result document cannot hold a {type(value).__name__}")
