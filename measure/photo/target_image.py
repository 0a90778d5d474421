"""One printed target in one picture, as found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain
from math import isfinite
from typing import Any

Pixel = tuple[float, float]


@dataclass(frozen=True)
class TargetImage:
    """One target in one picture. `corners` of the black square, clockwise from the printed top left seen upright.

    `centre` is the image of the sheet's centre; `sd` of each of its coordinates, px; `side_px` its mean side.
    """

    number: int
    centre: Pixel
    corners: tuple[Pixel, ...]
    sd: float
    side_px: float
    wrong_bits: int


def to_rows(targets: Sequence[TargetImage]) -> list[list[Any]]:
    """Targets as what JSON knows."""
    return [[t.number, t.centre, t.corners, t.sd, t.side_px, t.wrong_bits] for t in targets]


def from_rows(rows: Any) -> list[TargetImage]:
    """Targets from JSON. Raises ValueError, TypeError or LookupError for what are none."""
    return [_target(row) for row in rows]


def _target(row: list[Any]) -> TargetImage:
    number, centre, corners, sd, side, wrong = row
    pairs = tuple((float(x), float(y)) for x, y in corners)
    if len(pairs) != 4 or not all(map(isfinite, (*centre, *chain(*pairs), sd, side))):
        raise ValueError("no place in a picture")
    return TargetImage(int(number), (float(centre[0]), float(centre[1])), pairs, float(sd), float(side), int(wrong))
