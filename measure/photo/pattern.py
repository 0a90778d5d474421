"""What a blurred print of one number looks like, and how that changes when it is moved: the model behind `locate`.

Sheet coordinates are in cells, x right and y down from the centre. A cell's edge, seen through a blur that is Gaussian
in pixels, is an error function of the distance from it; the blur along x and y follows from the slope of the sheet
coordinates in the picture. The window of a pixel adds a twelfth of a square pixel to the blur's variance.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from measure.photo.code import CELLS, Bits

Array = NDArray[np.float64]

EDGES = np.arange(CELLS + 1) - CELLS / 2
APERTURE = 1.0 / 12.0
"""px^2, variance of a pixel's own window."""
_ROOT2 = np.sqrt(2.0)
_PEAK = 1.0 / np.sqrt(2.0 * np.pi)


NARROW = 0.4
"""Blur in cells under which an edge two cells away no longer shows."""
_AROUND = 2
"""White cells kept round the grid, so that every pixel has neighbours."""


def white_share(
    black: Bits, s: Array, t: Array, blur_s: Array, blur_t: Array
) -> tuple[Array, Array, Array, Array, Array]:
    """Share of white (n,) at sheet coordinates s, t (n,) with blurs (n,) in cells, and its derivatives by the four."""
    reach = 1 if max(float(blur_s.max()), float(blur_t.max())) < NARROW else CELLS
    column, along, along_s, along_blur = _cells_seen(s, blur_s, reach)
    row, down, down_t, down_blur = _cells_seen(t, blur_t, reach)
    if reach == CELLS:
        cells = np.broadcast_to(black.astype(np.float32), (len(s), CELLS, CELLS))
    else:
        padded = np.pad(black.astype(np.float32), _AROUND)
        near = (np.arange(3)[:, None] * len(padded) + np.arange(3)).ravel()
        cells = padded.ravel().take((row * len(padded) + column)[:, None] + near).reshape(-1, 3, 3)
    by_row = np.einsum("nrc,nc->nr", cells, along)
    by_column = np.einsum("nrc,nr->nc", cells, down)
    return (
        1.0 - np.einsum("nr,nr->n", by_row, down),
        -np.einsum("nc,nc->n", along_s, by_column),
        -np.einsum("nr,nr->n", by_row, down_t),
        -np.einsum("nc,nc->n", along_blur, by_column),
        -np.einsum("nr,nr->n", by_row, down_blur),
    )


def _cells_seen(at: Array, blur: Array, reach: int) -> tuple[NDArray[np.int64], Array, Array, Array]:
    """Share of cells (n, 3 or 8) along one axis, and its derivatives by place and by blur; the first cell, padded."""
    if reach == CELLS:
        first, edges = np.zeros(len(at), dtype=np.int64), EDGES[None]
    else:
        # the cell the pixel lies in, or the white ones beyond the grid, and its two neighbours
        first = np.clip(np.floor(at + CELLS / 2), -1, CELLS).astype(np.int64) + _AROUND - 1
        edges = (first - _AROUND - CELLS / 2)[:, None] + np.arange(4)
    # single precision: seven digits of a share that the picture gives to two
    per_blur = (1.0 / blur).astype(np.float32)[:, None]
    z = (at[:, None] - edges).astype(np.float32) * per_blur
    step = np.float32(0.5) * erf(z * np.float32(1 / _ROOT2))
    slope = np.exp(np.float32(-0.5) * z * z) * (np.float32(_PEAK) * per_blur)
    widened = -z * slope
    return first, step[:, :-1] - step[:, 1:], slope[:, :-1] - slope[:, 1:], widened[:, :-1] - widened[:, 1:]
