"""What blurred prints look like, and how that changes when they are moved: the model behind `locate`, many at once.

Sheet coordinates are in cells, x right and y down from the centre. A cell's edge, seen through a blur that is Gaussian
in pixels, is an error function of the distance from it; the blur along x and y follows from the slope of the sheet
coordinates in the picture. The window of a pixel adds a twelfth of a square pixel to the blur's variance.

Parameters of one target, 17: the homography from the picture to the sheet (8, its last element is 1), the blur's
covariance (3: xx, xy, yy), black, white less black, and the latter's slope (4), and how the lens bends (2): x moves by
the last but one, y by the last, times the squared distance from the origin.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from measure.photo.code import CELLS, Bits

Array = NDArray[np.float64]
Single = NDArray[np.float32]
"""Pixels are computed in single precision: seven digits of a light that the picture gives to two."""

PARAMETERS = 17
APERTURE = 1.0 / 12.0
"""px^2, variance of a pixel's own window."""
REACHES = ((0, 0.13), (1, 0.45), (3, np.inf))
"""Lines of the grid looked at on either side of the nearest one, and the blur in cells up to which those will do."""
_AROUND = 5
"""White cells kept round the grid, so that every pixel has neighbours."""
_PEAK = np.float32(1.0 / np.sqrt(2.0 * np.pi))


def model(p: Array, x: Single, y: Single, black: Bits) -> tuple[Single, Single]:
    """Light (m, n) that parameters (m, 17) of targets (m, 8, 8) predict at x, y (m, n); its Jacobian (m, 17, n)."""
    q: Single = p.astype(np.float32)[:, :, None]
    square: Single = x * x + y * y
    x, y = x + q[:, 15] * square, y + q[:, 16] * square
    shrink: Single = np.reciprocal(q[:, 6] * x + q[:, 7] * y + np.float32(1))
    s, t = (q[:, 0] * x + q[:, 1] * y + q[:, 2]) * shrink, (q[:, 3] * x + q[:, 4] * y + q[:, 5]) * shrink
    s_x, s_y = (q[:, 0] - s * q[:, 6]) * shrink, (q[:, 1] - s * q[:, 7]) * shrink
    t_x, t_y = (q[:, 3] - t * q[:, 6]) * shrink, (q[:, 4] - t * q[:, 7]) * shrink
    a, c, b = q[:, 8], q[:, 9], q[:, 10]
    spread_sx, spread_sy = a * s_x + c * s_y, c * s_x + b * s_y
    spread_tx, spread_ty = a * t_x + c * t_y, c * t_x + b * t_y
    blur_s: Single = np.sqrt(np.maximum(spread_sx * s_x + spread_sy * s_y, np.float32(1e-6)))
    blur_t: Single = np.sqrt(np.maximum(spread_tx * t_x + spread_ty * t_y, np.float32(1e-6)))
    share, by_s, by_t, by_blur_s, by_blur_t = _white_share(black, s, t, blur_s, blur_t)
    span = q[:, 12] + q[:, 13] * x + q[:, 14] * y
    by_s, by_t = by_s * span, by_t * span
    J = np.empty((len(p), PARAMETERS, x.shape[1]), np.float32)
    # the blur in cells changes with the slope of the sheet coordinates, which the homography gives
    wide_s, wide_t = by_blur_s * span / blur_s, by_blur_t * span / blur_t
    pull_x, pull_y = np.zeros_like(x), np.zeros_like(y)
    for k, (by, wide, at, at_x, at_y, spread_x, spread_y) in enumerate((
        (by_s, wide_s, s, s_x, s_y, spread_sx, spread_sy), (by_t, wide_t, t, t_x, t_y, spread_tx, spread_ty),
    )):  # fmt: skip
        wide = wide * shrink
        by_x, by_y = wide * spread_x, wide * spread_y
        moved = by * shrink - by_x * q[:, 6] * shrink - by_y * q[:, 7] * shrink
        across = by_x * at_x + by_y * at_y
        J[:, 3 * k] = moved * x + by_x
        J[:, 3 * k + 1] = moved * y + by_y
        J[:, 3 * k + 2] = moved
        pull_x -= (moved * x + by_x) * at + across * x
        pull_y -= (moved * y + by_y) * at + across * y
    J[:, 6], J[:, 7] = pull_x, pull_y
    J[:, 8] = (wide_s * s_x * s_x + wide_t * t_x * t_x) / 2
    J[:, 9] = wide_s * s_x * s_y + wide_t * t_x * t_y
    J[:, 10] = (wide_s * s_y * s_y + wide_t * t_y * t_y) / 2
    J[:, 11], J[:, 12] = 1.0, share
    J[:, 13], J[:, 14] = share * x, share * y
    J[:, 15] = (by_s * s_x + by_t * t_x) * square
    J[:, 16] = (by_s * s_y + by_t * t_y) * square
    return q[:, 11] + span * share, J


def _white_share(
    black: Bits, s: Single, t: Single, blur_s: Single, blur_t: Single
) -> tuple[Single, Single, Single, Single, Single]:
    """Share of white (m, n) at sheet coordinates s, t with blurs in cells, and its derivatives by the four."""
    blur = np.maximum(blur_s.max(axis=1), blur_t.max(axis=1))
    found = np.empty((5, *s.shape), np.float32)
    which = np.searchsorted([most for _, most in REACHES[:-1]], blur)
    for k, (reach, _) in enumerate(REACHES):
        those = np.flatnonzero(which == k)
        if len(those) == len(s):
            return _seen(black, s, t, blur_s, blur_t, reach)
        if len(those):
            found[:, those] = _seen(black[those], s[those], t[those], blur_s[those], blur_t[those], reach)
    return found[0], found[1], found[2], found[3], found[4]


def _seen(
    black: Bits, s: Single, t: Single, blur_s: Single, blur_t: Single, reach: int
) -> tuple[Single, Single, Single, Single, Single]:
    """The same from the cells between the lines of the grid within reach of the nearest one."""
    column, along, along_s, along_blur = _cells_seen(s, blur_s, reach)
    row, down, down_t, down_blur = _cells_seen(t, blur_t, reach)
    width = CELLS + 2 * _AROUND
    cells = np.pad(black, ((0, 0), (_AROUND, _AROUND), (_AROUND, _AROUND))).astype(np.float32).ravel()
    first = row * width + column + (np.arange(len(black), dtype=np.int32) * width * width)[:, None]
    of_black, by_s, by_t, by_blur_s, by_blur_t = (np.zeros_like(s) for _ in range(5))
    for r in range(len(down)):
        by_row, by_row_s, by_row_blur = (np.zeros_like(s) for _ in range(3))
        for c in range(len(along)):
            cell = cells.take(first + (r * width + c))
            by_row += cell * along[c]
            by_row_s += cell * along_s[c]
            by_row_blur += cell * along_blur[c]
        of_black += by_row * down[r]
        by_t -= by_row * down_t[r]
        by_blur_t -= by_row * down_blur[r]
        by_s -= by_row_s * down[r]
        by_blur_s -= by_row_blur * down[r]
    return 1 - of_black, by_s, by_t, by_blur_s, by_blur_t


def _cells_seen(
    at: Single, blur: Single, reach: int
) -> tuple[NDArray[np.int32], list[Single], list[Single], list[Single]]:
    """Share of each of 2 reach + 2 cells along an axis, its derivatives by place and blur; the first cell, padded."""
    line = np.clip(np.rint(at), -CELLS / 2, CELLS / 2)
    off = at - line
    per_blur = 1 / blur
    share, slope, widened = [], [], []
    before: tuple[Single | float, Single | float, Single | float] = (1.0, 0.0, 0.0)
    for k in range(-reach, reach + 1):
        z = (off - k) * per_blur
        step, rise = _normal(z)
        rise *= per_blur
        wider = -z * rise
        share.append(np.asarray(before[0] - step))
        slope.append(np.asarray(before[1] - rise))
        widened.append(np.asarray(before[2] - wider))
        before = (step, rise, wider)
    share.append(np.asarray(before[0]))
    slope.append(np.asarray(before[1]))
    widened.append(np.asarray(before[2]))
    first = line.astype(np.int32) + (CELLS // 2 + _AROUND - 1 - reach)
    return first, share, slope, widened


def _normal(z: Single) -> tuple[Single, Single]:
    """Normal distribution and its density, to 2e-7: Abramowitz and Stegun 7.1.26 (coefficients from memory).

    The library's own is several times as slow, and needs the density besides.
    """
    bell = np.exp(np.float32(-0.5) * z * z)
    k = 1 / (1 + np.float32(0.3275911 / np.sqrt(2.0)) * np.abs(z))
    tail = np.float32(0.5 * 1.061405429) * k
    for coefficient in (-1.453152027, 1.421413741, -0.284496736, 0.254829592):
        tail += np.float32(0.5 * coefficient)
        tail *= k
    tail *= bell
    return np.where(z > 0, 1 - tail, tail), _PEAK * bell
