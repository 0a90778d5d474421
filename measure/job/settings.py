"""The settings of job.toml: which keys there are, what each may hold, and what it is when left out.

Lengths may be bare numbers in the job's unit or text with a unit of its own ("0.4 mm"); inside all are mm.
Each model is validated with the context {"unit": "mm" or "in", "bare": list}; the names of lengths that came
bare in an inch job are put in that list.
"""

from __future__ import annotations

import datetime
import math
from typing import Annotated, Any, Literal, cast

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo

from measure.units import MM_PER, LengthError, Unit, checked_length, parse_length

TapeClass = Literal["I", "II", "III", "none"]


def length(value: object, unit: Unit) -> float:
    """A length of job.toml in mm. Raises LengthError, whose text says what would do."""
    if isinstance(value, str):
        return parse_length(value, unit)
    return checked_length(number(value) * float(MM_PER[unit]))


def number(value: object) -> float:
    """A finite number of job.toml. Raises LengthError."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise LengthError("write a number, without quotes")
    try:
        plain = float(value)
    except OverflowError:
        plain = math.inf
    if not math.isfinite(plain) or abs(plain) >= 1e12:
        raise LengthError("write a finite number, below a million million")
    return plain


def _length(value: object, info: ValidationInfo) -> float:
    context = cast("dict[str, Any]", info.context or {})
    unit: Unit = context.get("unit", "mm")
    if unit == "in" and not isinstance(value, str) and value:
        context.setdefault("bare", []).append(str(info.field_name))
    return length(value, unit)


def _number(value: object) -> float:
    return number(value)


def _day(value: object) -> object:
    return value.isoformat() if isinstance(value, datetime.date) else value


Length = Annotated[float, BeforeValidator(_length)]
Number = Annotated[float, BeforeValidator(_number)]
LengthSd = Annotated[Length, Field(ge=0.0)]
NumberSd = Annotated[Number, Field(ge=0.0)]
Text = Annotated[str, Field(max_length=2000)]


class Settings(BaseModel):
    """A table of job.toml: unknown keys are refused, and nothing changes afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Sd(Settings):
    """Standard deviations: mm, but for `target` (pixels) and `level` (degrees). 0 means exact."""

    tape: LengthSd = 0.5
    tape_class: TapeClass = "II"
    plumb: LengthSd = 1.0
    marks: LengthSd = 1.0
    heights: LengthSd = 1.0
    levels: LengthSd = 1.0
    xyz: LengthSd = 0.5
    bar: LengthSd = 0.1
    target: NumberSd = 0.05
    build: LengthSd = 1.0
    level: NumberSd = 0.5


class Tape(Settings):
    """A tape: reading = zero + (1 + scale) * length, so + reads long. What is not known is None.

    `zero`, `zero_sd` mm; `scale`, `sd` (of the scale) without unit; `temperature` of the tape in use, deg C;
    `pull`, `standard_pull` N; `area` of its section mm2; `weight` N per m.
    """

    zero: Length = 0.0
    scale: Annotated[Number, Field(ge=-0.1, le=0.1)] = 0.0
    sd: Annotated[Number, Field(ge=0.0, le=0.1)] | None = None
    zero_sd: LengthSd = 0.0
    tape_class: TapeClass | None = None
    temperature: Annotated[Number, Field(ge=-90.0, le=100.0)] | None = None
    pull: Annotated[Number, Field(gt=0.0)] | None = None
    standard_pull: Annotated[Number, Field(gt=0.0)] = 50.0
    area: Annotated[Number, Field(gt=0.0)] | None = None
    weight: Annotated[Number, Field(gt=0.0)] | None = None


class StageInfo(Settings):
    """How the car stood on the day of a stage. `temperature` of the body in deg C, `ride_height` in mm.

    `turned` names the stage in which the wheels stood half a turn on, all else alike.
    """

    date: Annotated[Text, BeforeValidator(_day)] | None = None
    by: Text | None = None
    supported: Text | None = None
    ride_height: Length | None = None
    temperature: Annotated[Number, Field(ge=-90.0, le=100.0)] | None = None
    turned: Text | None = None


class Mount(Settings):
    """Where a mount belongs, and what its holes may take; lengths in mm.

    `from_` is the key of a pair or "axle:NAME": the mount's middle stands `ahead` of and `up` from the middle of its
    two points. `symmetric` true: every hole has a twin on the other side. `width` across the car, over all; `clearance`
    wanted at each rail. `on_rails`: it is bolted to the rails instead of standing between them; `rail_width`, from
    the line of the rail's points outwards. Holes may be made `oversize` larger or `slot` longer. `drops` of the bob at
    each hole when it is marked; `template`: the printed template, or the mount itself, is laid over the marks.
    """

    from_: Text | None = Field(default=None, alias="from")
    ahead: Length = 0.0
    up: Length = 0.0
    symmetric: bool | None = None
    width: Annotated[Length, Field(gt=0.0)] | None = None
    clearance: LengthSd = 0.0
    on_rails: bool = False
    rail_width: Annotated[Length, Field(gt=0.0)] | None = None
    slot: LengthSd = 0.0
    oversize: LengthSd = 0.0
    drops: Annotated[int, Field(ge=1, le=20)] = 1
    template: bool = False


class Root(Settings):
    """The top of job.toml, before its inner tables are looked into."""

    title: Text | None = None
    units: Unit = "mm"
    stages: list[Text] = []
    limits: dict[str, Any] = {}
    sd: dict[str, Any] = {}
    camera: dict[str, Any] = {}
    tape: dict[str, Any] = {}
    stage: dict[str, Any] = {}
    axle: dict[str, Any] = {}
    mount: dict[str, Any] = {}
