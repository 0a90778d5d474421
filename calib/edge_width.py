"""How blurred a picture of a board is: the width of its black-to-white edges."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

Array = NDArray[np.float64]

REACH = 0.13
"""How far across an edge it is looked at, over the length of a square: a code begins at 0.15."""
ALONG = np.array([-0.1, -0.05, 0.0, 0.05, 0.1])
"""Where along an edge, from its middle, over its length: the mean of several is quieter."""


def edge_width(grey: NDArray[np.uint8], on_board: Array, pixels: Array) -> float:
    """The sd in pixels of the blur, if it were Gaussian; the worse of the board's two directions.

    `grey` (h, w); corners `on_board` (n, 2) in mm and `pixels` (n, 2). Each edge between two neighbouring corners is
    cut across at its middle; a Gaussian blur of sd s takes a share 2 Phi(1 / 2s) - 1 of the step within one pixel. A
    shaken picture is blurred one way only, hence the worse direction. NaN where no two corners are neighbours.
    """
    widths = []
    square = float(np.min(_apart(on_board), initial=np.inf))
    for axis in (0, 1):
        step = on_board[None] - on_board[:, None]
        beside = (np.abs(step[:, :, axis] - square) < 0.1 * square) & (np.abs(step[:, :, 1 - axis]) < 0.1 * square)
        first, second = np.nonzero(beside)
        if len(first):
            widths.append(float(np.median(_widths(grey, pixels[first], pixels[second]))))
    return max(widths, default=float("nan"))


def _widths(grey: NDArray[np.uint8], a: Array, b: Array) -> Array:
    """Blur (m,) across the edges from corners a (m, 2) to b (m, 2)."""
    along = b - a
    length = np.linalg.norm(along, axis=1)
    across = np.column_stack([-along[:, 1], along[:, 0]]) / length[:, None]
    reach = np.maximum(REACH * length, 2.0)
    s = np.linspace(-1.0, 1.0, 33)
    middle = (a + b) / 2
    at = (
        middle[:, None, None]
        + ALONG[None, :, None, None] * along[:, None, None]
        + s[None, None, :, None] * reach[:, None, None, None] * across[:, None, None]
    )  # (m, 5, 33, 2)
    profile = _sampled(grey, at).mean(axis=1)
    step = np.abs(profile[:, -1] - profile[:, 0])
    pixel = 2 * reach / (len(s) - 1)  # pixels from sample to sample
    # fewer than 33 pixels are looked at, so that neighbours are less than a pixel apart: take the steepest pixel
    steepest = np.array([np.max(np.abs(_over_one_pixel(line, p))) for line, p in zip(profile, pixel, strict=True)])
    share = np.clip(steepest / np.maximum(step, 1e-9), 1e-6, 1 - 1e-6)
    return np.asarray(0.5 / ndtri((1 + share) / 2))


def _over_one_pixel(line: Array, pixel: float) -> Array:
    """Change of a profile over one pixel, at every place; linear between samples `pixel` apart."""
    x = np.arange(len(line)) * pixel
    if x[-1] <= 1.0:
        return np.array([line[-1] - line[0]])
    starts = np.linspace(0.0, x[-1] - 1.0, 41)
    return np.asarray(np.interp(starts + 1.0, x, line) - np.interp(starts, x, line))


def _sampled(grey: NDArray[np.uint8], at: Array) -> Array:
    """Grey values at places (..., 2), bilinear; places outside take the nearest edge."""
    height, width = grey.shape
    x, y = np.clip(at[..., 0], 0, width - 1.001), np.clip(at[..., 1], 0, height - 1.001)
    i, j = x.astype(int), y.astype(int)
    u, v = x - i, y - j
    return np.asarray(
        (1 - v) * ((1 - u) * grey[j, i] + u * grey[j, i + 1]) + v * ((1 - u) * grey[j + 1, i] + u * grey[j + 1, i + 1])
    )


def _apart(points: Array) -> Array:
    apart = np.linalg.norm(points[:, None] - points[None], axis=2)
    return np.asarray(apart[~np.eye(len(points), dtype=bool)])
