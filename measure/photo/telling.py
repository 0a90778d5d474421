"""Which pixels of a target are compared: those near the edges of black and white, which say where it lies.

They are drawn along the edges evenly, in the sheet, as many for a small print as for a large one; a pixel drawn twice
counts once.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from measure.photo.code import CELLS, Bits, all_cells
from measure.photo.linear import light
from measure.photo.pattern import Array, Single

FARTHEST = 0.6
"""Cells from an edge, at most."""
_STEPS = np.array([0.754877666, 0.569840291])
"""Steps along and across an edge that fill both evenly (Roberts' two-dimensional sequence, from memory)."""
_GRID = np.arange(CELLS + 2) - (CELLS + 1) / 2
CENTRES = np.stack(np.meshgrid(_GRID, _GRID, indexing="xy"), axis=2).reshape(-1, 2)
"""Middles (100, 2) of the cells and of a ring of white around: how black is black, how white is white."""


@cache
def _edges(number: int) -> tuple[Array, NDArray[np.bool_]]:
    """Middles (m, 2) of the cells' sides, in sheet coordinates, that part black from white; True where upright."""
    padded = np.pad(all_cells()[number], 1)
    row, line = np.nonzero(padded[1:-1, :-1] != padded[1:-1, 1:])
    level, column = np.nonzero(padded[:-1, 1:-1] != padded[1:, 1:-1])
    upright = np.column_stack([line, row + 0.5])
    flat = np.column_stack([column + 0.5, level])
    # neighbours are drawn far apart: a fixed shuffle
    middles, which = np.concatenate([upright, flat]) - CELLS / 2, np.arange(len(upright) + len(flat)) < len(upright)
    order = np.random.default_rng(number).permutation(len(middles))
    return middles[order], which[order]


def points(numbers: list[int], widths: Array, count: int) -> Array:
    """Sheet coordinates (m, count + 100, 2), up to widths (m, 2) in cells from upright and level edges."""
    k = np.arange(count)
    along = (k * _STEPS[0]) % 1.0 - 0.5
    across = 2 * ((k * _STEPS[1]) % 1.0) - 1.0
    drawn = np.empty((len(numbers), count + len(CENTRES), 2))
    for i, number in enumerate(numbers):
        middles, upright = _edges(number)
        middle, up = middles[k % len(middles)], upright[k % len(middles)]
        width = np.minimum(widths[i], FARTHEST)
        drawn[i, :count, 0] = middle[:, 0] + np.where(up, across * width[0], along)
        drawn[i, :count, 1] = middle[:, 1] + np.where(up, along, across * width[1])
    drawn[:, count:] = CENTRES
    return drawn


def pixels(
    grey: NDArray[np.uint8], H: Array, at: Array, origin: Array, scale: Array
) -> tuple[Single, Single, Single, NDArray[np.bool_]]:
    """The pixels under sheet coordinates (m, n, 2): x, y (m, n) in each target's frame, light, and whether they count.

    `H` (m, 3, 3) leads from the sheet to that frame, which is (pixel - origin) / scale.
    """
    place = H @ np.concatenate([np.swapaxes(at, 1, 2), np.ones((len(at), 1, at.shape[1]))], axis=1)
    seen = np.rint(place[:, :2] / place[:, 2:] * scale[:, None, None] + origin[:, :, None])
    h, w = grey.shape
    x, y = seen[:, 0], seen[:, 1]
    inside = (x >= 0) & (y >= 0) & (x < w) & (y < h) & (place[:, 2] > 0)
    index = np.sort(np.where(inside, y * w + x, -1.0).astype(np.int64), axis=1)
    counts = index >= 0
    counts[:, 1:] &= index[:, 1:] != index[:, :-1]
    index = np.maximum(index, 0)
    row, column = np.divmod(index, w)
    return (
        ((column - origin[:, :1]) / scale[:, None]).astype(np.float32),
        ((row - origin[:, 1:]) / scale[:, None]).astype(np.float32),
        light(grey.ravel().take(index)),
        counts,
    )


def levels(grey: NDArray[np.uint8], H: Array, black: Bits, origin: Array, scale: Array) -> tuple[Array, Array]:
    """Light of black (m,) and of white (m,) in the middles of the cells."""
    place = H @ np.column_stack([CENTRES, np.ones(len(CENTRES))]).T
    seen = np.rint(place[:, :2] / place[:, 2:] * scale[:, None, None] + origin[:, :, None])
    h, w = grey.shape
    column, row = np.clip(seen[:, 0], 0, w - 1).astype(np.int64), np.clip(seen[:, 1], 0, h - 1).astype(np.int64)
    values = light(grey[row, column]).astype(np.float64)
    is_black = np.pad(black, ((0, 0), (1, 1), (1, 1))).reshape(len(black), -1)
    dark = np.nanmedian(np.where(is_black, values, np.nan), axis=1)
    bright = np.nanmedian(np.where(is_black, np.nan, values), axis=1)
    return dark, bright
