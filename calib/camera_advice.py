"""Whether the pictures of a board can hold a lens, and which ones to add where they cannot."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FEW = 8
"""Pictures under which a calibration is taken with a warning (common practice, no source)."""
TILTED, TURNED = 15.0, 60.0
"""Degrees from facing the board at which a picture counts as tilted; by which two pictures are turned to each other."""
FEWEST_TILTED = 3
CUTS = (0.25, 0.75)
"""Where the frame is cut each way into nine parts: the outer ones are narrow, since the lens bends most there."""
ONE_SIDED = 180.0
"""Degrees of the circle of tilting directions that may be empty."""
UNLIKE, UNLIKE_SURE = 0.005, 4.0
"""Share of the focal length by which a picture is off the usual, and over its sd (our judgement): focus shifts less."""
SQUASHED, SQUASHED_SURE = 0.01, 4.0
"""How far pixels may be from square, and over its sd (our judgement: in a camera they are square to a thousandth)."""
MOST_NAMED = 4
LOOSE_FOCAL = 0.005
"""Relative sd of the focal length above which the pictures are called weak."""

_ROWS, _COLUMNS = ("upper", "middle", "lower"), ("left", "middle", "right")


def empty_parts(pixels: Sequence[Array], size: tuple[int, int]) -> list[str]:
    """Which of the nine parts of the frame (width, height) hold no corner, in words, in the sensor's own frame."""
    all_pixels = np.concatenate(list(pixels)) if len(pixels) else np.zeros((0, 2))
    part = np.digitize((all_pixels + 0.5) / size, CUTS)
    taken = {(int(row), int(column)) for column, row in part}
    return [_part(r, c) for r in range(3) for c in range(3) if (r, c) not in taken]


def _part(row: int, column: int) -> str:
    return "middle" if row == column == 1 else f"{_ROWS[row]} {_COLUMNS[column]}".replace("middle ", "")


def turn_and_tilt(R: Array) -> tuple[Array, Array, Array]:
    """Of poses R (k, 3, 3): turn about the line of sight, tilt from facing it, and the tilt's direction, degrees (k,).

    The direction is that to which the board's normal leans in the picture.
    """
    turn = np.degrees(np.arctan2(R[:, 1, 0], R[:, 0, 0]))
    normal = R[:, :, 2]
    tilt = np.degrees(np.arccos(np.clip(np.abs(normal[:, 2]), 0.0, 1.0)))
    return turn, tilt, np.degrees(np.arctan2(normal[:, 1], normal[:, 0]))


def advice(R: Array, pixels: Sequence[Array], size: tuple[int, int], focal: float, focal_sd: float) -> list[str]:
    """What is weak about the pictures and which to add, most important first; empty where all is well.

    R (k, 3, 3), corners (n, 2) for each picture, width and height of the frame, focal length and its sd in pixels.
    """
    turn, tilt, leaning = turn_and_tilt(R)
    told = []
    if len(R) < FEW:
        told.append(f"{len(R)} pictures are few: take 12 to 20")
    tilted = tilt >= TILTED
    if np.count_nonzero(tilted) < FEWEST_TILTED:
        told.append(
            f"the board faces the camera in nearly every picture ({np.count_nonzero(tilted)} tilted by {TILTED:.0f} "
            "degrees or more), which does not tell the focal length from the distance: tilt it 20 to 45 degrees"
        )
    elif (gap := _largest_gap(leaning[tilted])) > ONE_SIDED:
        told.append(
            f"the board leans to one side only ({gap:.0f} degrees of the circle are empty): tilt it left, right, "
            "forward and back"
        )
    if _largest_turn(turn) < TURNED:
        told.append(
            "the camera was never turned: take a third of the pictures with it turned a quarter about the line of "
            "sight, else the middle of the picture is not held"
        )
    if missing := empty_parts(pixels, size):
        told.append(
            f"no corner of the board in {len(missing)} of 9 parts of the picture ({', '.join(missing)}; camera held "
            "level): the lens is a guess there, so bring the board there too"
        )
    if focal_sd > LOOSE_FOCAL * focal:
        told.append(
            f"the focal length is known to {100 * 1.96 * focal_sd / focal:.1f} % only (95 %): more pictures, tilted "
            "more, the board filling the frame"
        )
    return told


def of_the_focus(names: Sequence[str], longer: Array, sd: Array) -> list[str]:
    """Whether zoom or focus was changed: pictures, `longer` (k,) by their share of the focal length, off the usual."""
    longer = longer - np.median(longer)
    unlike = (np.abs(longer) > UNLIKE) & (np.abs(longer) > UNLIKE_SURE * sd)
    told = []
    for word, mine in (("longer", unlike & (longer > 0)), ("shorter", unlike & (longer < 0))):
        if which := np.flatnonzero(mine).tolist():
            more = f" and {len(which) - MOST_NAMED} more" if len(which) > MOST_NAMED else ""
            by = 100 * float(np.median(np.abs(longer[mine])))
            told.append(f"{by:.1f} % {word} in {', '.join(names[i] for i in which[:MOST_NAMED])}{more}")
    if not told:
        return []
    return [
        f"the focal length is not the same in all pictures ({'; '.join(told)}): zoom or focus was changed, so that "
        "this lens fits none of them well; take them all alike, or calibrate each setting on its own"
    ]


def of_the_pixels(aspect: float, sd: float) -> list[str]:
    """Whether the pictures were squashed on their way: a pixel is `aspect` too high for a square."""
    if abs(aspect) < max(SQUASHED, SQUASHED_SURE * sd):
        return []
    return [
        f"the pictures are {'stretched' if aspect > 0 else 'squashed'} by {100 * abs(aspect):.1f} % from top to "
        "bottom, as no camera takes them: calibrate with pictures as they come from the camera"
    ]


def _largest_gap(degrees: Array) -> float:
    """The widest empty arc between directions (m,), degrees."""
    around = np.sort(np.mod(degrees, 360.0))
    return float(np.max(np.diff(np.append(around, around[0] + 360.0))))


def _largest_turn(turn: Array) -> float:
    """The largest turn between two of the pictures (k,), 0 to 180 degrees."""
    apart = np.abs(np.mod(turn[:, None] - turn[None, :] + 180.0, 360.0) - 180.0)
    return float(np.max(apart, initial=0.0))
