"""Where printed targets may be: black quadrilaterals whose cells spell a wanted number, at most one cell wrong.

The library finds the quadrilaterals; what they spell is read here, from the encoded picture, half-way between the black
border and the white around it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from measure.photo.code import CELLS, WRONG_BITS, read

Array = NDArray[np.float64]

SMALLEST = 22.0
"""px, shortest side of a square looked for."""
WINDOW = 23
"""px, window of the local threshold."""
DARKER = 12.0
"""Grey levels by which black must lie under the mean of that window: less, and every rust stain is outlined."""
ROUGH = 0.03
"""How far an outline may stray from a quadrilateral, over its length."""
CONTRAST = 12.0
"""Grey levels between border and surround under which nothing is read."""
BORDER_WRONG = 2
"""Border cells, of 28, that may read white: a reflection, a corner rubbed off."""
ROUGHLY_WRONG, ROUGHLY_BORDER = 5, 10
"""The same while the outline is rough: still nearer to one number than to any other; read anew once located."""


@dataclass(frozen=True)
class Candidate:
    """A target roughly placed, not yet certain: corners (4, 2) px, clockwise from the printed top left seen upright."""

    number: int
    corners: Array
    wrong_bits: int


def candidates(grey: NDArray[np.uint8], wanted: frozenset[int] | None) -> list[Candidate]:
    """Every quadrilateral of the picture (h, w) that spells a number, each once; `wanted` None means any number."""
    quads = _quads(grey)
    if not len(quads):
        return []
    inner, border, contrast = _cells(grey, quads)
    numbers, turns, wrong = read(inner)
    good = (wrong <= ROUGHLY_WRONG) & (border <= ROUGHLY_BORDER) & (contrast > CONTRAST)
    found = []
    for i in np.flatnonzero(good):
        number = int(numbers[i])
        if wanted is None or number in wanted:
            # turned anticlockwise by k quarters, the print's top left stands k corners on against the clock
            corners = np.roll(quads[i], int(turns[i]), axis=0)
            found.append(Candidate(number, corners, int(wrong[i])))
    return _each_once(found)


def wrong_cells(grey: NDArray[np.uint8], number: int, corners: Array) -> int | None:
    """Cells of a located print (4, 2) that read wrong; None where it is not, for certain, a print of that number."""
    inner, border, contrast = _cells(grey, corners[None])
    numbers, turns, wrong = read(inner)
    sure = wrong[0] <= WRONG_BITS and border[0] <= BORDER_WRONG and contrast[0] > CONTRAST
    return int(wrong[0]) if sure and numbers[0] == number and turns[0] == 0 else None


def _quads(grey: NDArray[np.uint8]) -> Array:
    """Convex quadrilaterals (m, 4, 2), clockwise in the picture."""
    import cv2  # heavy

    settings = cv2.aruco.DetectorParameters()
    settings.adaptiveThreshWinSizeMin = settings.adaptiveThreshWinSizeMax = WINDOW
    settings.adaptiveThreshWinSizeStep = WINDOW
    settings.adaptiveThreshConstant = DARKER
    settings.minMarkerPerimeterRate = 4 * SMALLEST / max(grey.shape)
    settings.maxMarkerPerimeterRate = 4.0
    settings.polygonalApproxAccuracyRate = ROUGH
    # a print and the paper round it are two outlines, not one drawn twice
    settings.minMarkerDistanceRate, settings.minGroupDistance = 0.01, 0.01
    settings.minDistanceToBorder = 1
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    settings.errorCorrectionRate = 1.0
    table = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    accepted, _, rejected = cv2.aruco.ArucoDetector(table, settings).detectMarkers(grey)
    quads = np.array([*accepted, *rejected], dtype=float).reshape(-1, 4, 2)
    if not len(quads):
        return quads
    ahead, behind = np.roll(quads, -1, axis=1) - quads, np.roll(quads, 1, axis=1) - quads
    area = np.sum(ahead[..., 0] * behind[..., 1] - ahead[..., 1] * behind[..., 0], axis=1)
    return np.where((area > 0)[:, None, None], quads, quads[:, ::-1])


def square_to(corners: Array) -> Array:
    """Homographies (m, 3, 3) from the sheet, in cells from its centre, x right and y down, to corners (m, 4, 2)."""
    m, half = len(corners), CELLS / 2
    x, y = np.array([-half, half, half, -half]), np.array([-half, -half, half, half])
    u, v = corners[..., 0], corners[..., 1]
    A = np.zeros((m, 8, 8))
    A[:, :4, 0], A[:, :4, 1], A[:, :4, 2] = x, y, 1.0
    A[:, 4:, 3], A[:, 4:, 4], A[:, 4:, 5] = x, y, 1.0
    A[:, :4, 6], A[:, :4, 7] = -u * x, -u * y
    A[:, 4:, 6], A[:, 4:, 7] = -v * x, -v * y
    # a whisker on the diagonal: an outline folded flat gives a homography of no use instead of an error
    h = np.linalg.solve(A + 1e-12 * np.eye(8), np.concatenate([u, v], axis=1)[:, :, None])[:, :, 0]
    return np.column_stack([h, np.ones(m)]).reshape(m, 3, 3)


_GRID = np.arange(CELLS + 2) - (CELLS + 1) / 2  # cell centres, one ring of white around
_AROUND = np.abs(_GRID) > CELLS / 2
_WITHIN = np.array([-0.25, 0.0, 0.25])


def _cells(grey: NDArray[np.uint8], quads: Array) -> tuple[NDArray[np.bool_], NDArray[np.int64], Array]:
    """Inner cells (m, 6, 6) True where black, border cells that read white (m,), contrast (m,) in grey levels."""
    H = square_to(quads)
    at = (_GRID[:, None] + _WITHIN).ravel()
    y, x = np.meshgrid(at, at, indexing="ij")
    place = H @ np.stack([x.ravel(), y.ravel(), np.ones(x.size)])
    u, v = place[:, 0] / place[:, 2], place[:, 1] / place[:, 2]
    h, w = grey.shape
    i = np.clip(np.round(v).astype(np.int64), 0, h - 1)
    j = np.clip(np.round(u).astype(np.int64), 0, w - 1)
    n = CELLS + 2
    values = grey[i, j].astype(float).reshape(-1, n, 3, n, 3).mean(axis=(2, 4))
    ring = np.zeros((n, n), dtype=bool)
    ring[1:-1, 1:-1] = True
    ring[2:-2, 2:-2] = False
    outside = _AROUND[:, None] | _AROUND[None]
    black = np.median(values[:, ring], axis=1)
    white = np.median(values[:, outside], axis=1)
    level = ((black + white) / 2)[:, None, None]
    dark = values < level
    return dark[:, 2:-2, 2:-2], np.sum(~dark[:, ring], axis=1), white - black


def _each_once(found: list[Candidate]) -> list[Candidate]:
    """The same print outlined twice is one; the outline with fewer wrong cells, then the larger, is kept."""
    kept: list[Candidate] = []
    for one in sorted(found, key=lambda c: (c.number, c.wrong_bits, -_size(c.corners))):
        middle = one.corners.mean(axis=0)
        same = any(
            k.number == one.number and np.linalg.norm(k.corners.mean(axis=0) - middle) < 0.3 * _size(k.corners)
            for k in kept
        )
        if not same:
            kept.append(one)
    return kept


def _size(corners: Array) -> float:
    """Mean side in pixels."""
    return float(np.mean(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)))
