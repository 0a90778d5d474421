"""[limits] of job.toml: how far a figure may be off, for a family of checks or for one check by name."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any, cast

from measure.findings import Findings, did_you_mean
from measure.job.jobtoml import JobToml, note_inches
from measure.job.points import Point
from measure.job.settings import length, number
from measure.units import LengthError, Unit

FAMILIES = {"offset": 3.0, "angle": 0.2, "chart": 3.0, "movement": 3.0}
"""Limits where the job says nothing: mm, `angle` in degrees. Common practice, no source."""

_DEGREES = re.compile(r"angle|rails\.yaw|body\.twist|axle\..*\.(square|thrust)|face\..*|rail\.[LR]\.angle")


def read_limits(
    toml: JobToml, table: Mapping[str, Any], points: Sequence[Point], unit: Unit, findings: Findings
) -> dict[str, float]:
    """The families' limits and those of single checks, in mm or degrees; always above zero."""
    limits = dict(FAMILIES)
    known = [*FAMILIES, *check_names(points)]
    bare = []
    for name, value in _flat(table):
        path = ("limits", *name.split("."))
        if name not in known and not _further_name(name, points):
            would_do = f"there is no such limit; write {', '.join(FAMILIES)} or a check's name"
            toml.error(path, value, would_do + did_you_mean(name, known), findings)
            continue
        try:
            limit = number(value) if _DEGREES.fullmatch(name) else length(value, unit)
            if limit <= 0:
                raise LengthError("a limit is greater than zero")
        except LengthError as problem:
            toml.error(path, value, str(problem), findings)
            continue
        if not _DEGREES.fullmatch(name) and not isinstance(value, str):
            bare.append(name)
        limits[name] = limit
    if unit == "in":
        note_inches(toml, ("limits",), bare, findings)
    return limits


def check_names(points: Sequence[Point]) -> list[str]:
    """The names of the checks that these points allow (the table of checks says what each means)."""
    keys = list(dict.fromkeys(point.pair for point in points if point.pair is not None))
    axles = dict.fromkeys(point.group for point in points if point.kind in {"axle", "face"})
    faces = dict.fromkeys(point.group for point in points if point.kind == "face")
    names = [f"pair.{key}.{figure}" for key in keys for figure in ("offset", "lead", "rise", "width")]
    names += ["rails.yaw", "rails.asymmetry", "rails.taper", "body.twist"]
    names += [f"axle.{axle}.{figure}" for axle in axles for figure in ("offset", "square", "thrust", "lead")]
    names += [f"face.{face}.{side}.{angle}" for face in faces for side in "LR" for angle in ("toe", "camber")]
    names += [f"rail.{side}.{figure}" for side in "LR" for figure in ("angle", "bow")]
    names += [f"cross.{first}.{then}" for first, then in pairwise(keys)]
    names += [f"chart.{point.name}.{axis}" for point in points for axis in "xyz"]
    return names


def _further_name(name: str, points: Sequence[Point]) -> bool:
    """Names too many to list: any two pairs crossed, and lengths of the chart between any two points."""
    family, _, rest = name.partition(".")
    if family == "cross":
        known = {point.pair for point in points if point.pair is not None}
    elif family == "chart":
        known = {point.name for point in points}
    else:
        return False
    return any(rest.startswith(f"{a}.") and rest[len(a) + 1 :] in known - {a} for a in known)


def _flat(table: Mapping[str, Any], lead: str = "") -> Iterator[tuple[str, object]]:
    """Keys written with dots are tables in TOML: put back together, `pair.front.offset` is one name."""
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _flat(cast("dict[str, Any]", value), f"{lead}{key}.")
        else:
            yield f"{lead}{key}", value
