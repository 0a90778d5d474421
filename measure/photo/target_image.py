"""One printed target in one picture, as found."""

from __future__ import annotations

from dataclasses import dataclass

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
