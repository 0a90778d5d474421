"""What most likely happened to a target image that does not fit: a misread number, a moved sheet, a bad picture."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from measure.adjust.mistakes import Suspect
from measure.adjust.solver import Adjustment
from measure.readings.reading import Reading
from measure.readings.targets import seen_at
from measure.readings.unknowns import Array

FITS = 3.0
"""Pixels within which an image lies where another target is seen."""
MOST_OF_IT = 0.5
"""Share of a picture's images, set aside, from which the picture as a whole is bad."""


def explain_image(adjustment: Adjustment, suspect: Suspect) -> str:
    """The hint for one suspected target image, as a person would say it."""
    reading = adjustment.network.rows[suspect.rows[0]].reading
    if reading.seen is None:
        raise ValueError("not an image")
    number, picture = reading.seen.number, reading.via
    off = float(np.linalg.norm(_misfit(adjustment, reading)))
    said = f"target {number} in {picture} is {off:.1f} px off"
    images = _images(adjustment)
    other = _lies_on(adjustment, reading, images)
    if other is not None:
        return f"{said}: it lies where target {other} should be; its number misread, or two sheets changed about?"
    mine = [on for r, on in images if r.via == picture]
    if len(mine) > 2 and mine.count(False) > MOST_OF_IT * len(mine):
        return f"{said}, as are most in that picture: it moved or is blurred; take it again"
    moved = _moved(images, number)
    if moved:
        return f"{said}: target {number} moved between the first and the last pictures ({moved}); stick it down again"
    return f"{said}: hidden in part, a reflection, or knocked; look at the picture"


def _images(adjustment: Adjustment) -> list[tuple[Reading, bool]]:
    """Every image, once, in the order of its picture, with whether it takes part."""
    told = {
        id(row.reading): (row.reading, bool(on))
        for row, on in zip(adjustment.network.rows, adjustment.active, strict=True)
        if row.reading.seen is not None and row.tested
    }
    return sorted(told.values(), key=lambda r: r[0].source)


def _misfit(adjustment: Adjustment, reading: Reading) -> Array:
    rows = [i for i, row in enumerate(adjustment.network.rows) if row.reading is reading and row.tested]
    return adjustment.residual[rows]


def _lies_on(adjustment: Adjustment, reading: Reading, images: list[tuple[Reading, bool]]) -> int | None:
    """The other target of the stage that would be seen at this place in this picture."""
    if reading.seen is None:
        return None
    one_each = {r.seen.number: r for r, _ in images if r.seen and r.seen.number != reading.seen.number}
    same_block = [r for r in one_each.values() if r.seen and r.seen.block is reading.seen.block]
    here = [replace(r, via=reading.via) for r in same_block if r.seen and r.seen.camera is reading.seen.camera]
    if not here:
        return None
    gap = np.linalg.norm(seen_at(here, adjustment.state) - np.array(reading.values), axis=1)
    best = int(np.argmin(gap))
    found = here[best].seen
    return found.number if found is not None and gap[best] < FITS else None


def _moved(images: list[tuple[Reading, bool]], number: int) -> str:
    """Which pictures show a target elsewhere, where they are the first or the last of those that show it."""
    mine = [(r.via, on) for r, on in images if r.seen and r.seen.number == number]
    out = [i for i, (_, on) in enumerate(mine) if not on]
    together = len(out) > 1 and out[-1] - out[0] + 1 == len(out)
    if not together or len(out) == len(mine) or (out[0] != 0 and out[-1] != len(mine) - 1):
        return ""
    return f"elsewhere in {mine[out[0]][0]} to {mine[out[-1]][0]}"
