"""Locating a printed target to hundredths of a pixel: its whole pattern fitted to the light in the picture.

Seventeen parameters: the homography from the picture to the sheet (8), the blur as a covariance in pixels (3), black,
and white with its slope across the sheet (4), and how the lens bends straight lines within the sheet (2, held near
nought by what phones do): to second order a radial distortion is a homography but for w |x|^2. Gauss-Newton, damped on
the way; pixels off the model weigh less and less, the scale from the median. The centre is the image of the sheet's
centre, never the mean of its corners.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from measure.photo.code import CELLS, code_cells
from measure.photo.linear import light
from measure.photo.pattern import APERTURE, white_share
from measure.photo.search import Candidate, square_to

Array = NDArray[np.float64]

REACH = CELLS / 2 + 1.3
"""Cells from the centre up to which pixels are compared: a good ring of the white border."""
COARSE, FINE, FLAT = 500, 1800, 200
"""Pixels compared while the pattern is moved into place; after that near its edges, and elsewhere."""
MOST = 15_000
"""Pixels of a target that are looked at, at most about four times as many."""
NEAR_EDGE = 2.5
"""Blurs from an edge within which there is something to see."""
STEPS = 12
ENOUGH = 1e-2
"""px, a step of the corners after which the next would be a tenth of the sd."""
FIRST_BLUR = 1.0
"""px^2, variance to start from,"""
LEAST_BLUR = 0.02
"""and the least that is believed."""
MOST_UNLIKE = 8.0
"""Ratio of the blur's variances along and across a movement."""
ALL = np.arange(17)
PLACED = np.array([*range(8), *range(11, 15)])
"""Parameters: all, and those but for the blur, which comes last."""
BEND_SD = 2.5e-5
"""1/px, sd of the bend: k1 of 0.1, half-way to the corner of a phone's picture (our judgement)."""
UNLIKE_SD = 0.7
"""Prior sd of how unlike the blur is all round, over its mean: edges of two directions do not tell."""
OFF = 3.5
"""Residuals over the scatter from which a pixel weighs less, and soon nothing."""
WIDE, NARROW = 0.3, 0.02
"""Scatter over the contrast that is taken at least, in the first steps and after,"""
WIDE_STEPS = 3
"""and how many those are."""
WORST_FIT = 0.12
"""Scatter over the contrast from which a fit is no target's, or one half hidden."""
LOST = 0.35
"""Share of pixels far off the model from which too much is hidden."""
ALIKE = 1.6
"""Factor on the sd: neighbouring pixels err together (JPEG), measured on rendered pictures."""
FLOOR = 0.004
"""px, what no fit of one target does better than: light not quite as the curve says, lens within the target."""

SHEET_CORNERS = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) * CELLS / 2


@dataclass(frozen=True)
class Located:
    """`centre` (2,), `corners` (4, 2) px; `sd` px of one coordinate of the centre; `blur` px, its sd across an edge.

    `misfit`: scatter of the light over the contrast.
    """

    centre: Array
    corners: Array
    sd: float
    blur: float
    misfit: float


def locate(grey: NDArray[np.uint8], candidate: Candidate) -> Located | None:
    """Fit a candidate's pattern to the picture (h, w); None where what is there is no such print."""
    frame = _Frame.around(candidate.corners)
    every, light_there = _pixels(grey, candidate.corners, frame)
    if len(light_there) < 60:
        return None
    black = code_cells(candidate.number)
    few = np.arange(len(every))[:: max(1, len(every) // COARSE)]
    pixels, seen = every[few], light_there[few]
    p = _first(candidate.corners, frame, pixels, seen, black)
    damping = 1e-3
    model, J = _model(p, pixels, black)
    for k in range(STEPS):
        if k == WIDE_STEPS:
            chosen = _telling(p, every, black)
            pixels, seen = every[chosen], light_there[chosen]
            model, J = _model(p, pixels, black)
        residual = seen - model
        scatter = _scatter(residual, p, k)
        weight = _weight(residual, scatter)
        free = ALL if k >= WIDE_STEPS else PLACED
        N = (J[free] * weight) @ J[free].T
        right = J[free] @ (weight * residual)
        prior, gap = _prior(p, frame)
        if k >= WIDE_STEPS:
            N += scatter**2 * prior.T @ prior
            right -= scatter**2 * prior.T @ gap
        cost = _cost(residual, scatter) + 0.5 * float(gap @ gap)
        while True:
            trial = p.copy()
            trial[free] += np.linalg.solve(N + np.diag((damping + 1e-12) * np.diag(N)), right)
            if _sound(trial):
                trial[8:11] = _tamed(trial[8:11], LEAST_BLUR / frame.scale**2)
                moved = float(np.max(np.abs(_places(trial) - _places(p)))) * frame.scale
                if k > WIDE_STEPS and moved < ENOUGH and damping < 1e-3:
                    return _result(trial, J, weight, residual, frame)
                trial_model, trial_J = _model(trial, pixels, black)
                off = prior @ trial  # the prior's rows as they were weighed for this step
                if _cost(seen - trial_model, scatter) + 0.5 * float(off @ off) <= cost * (1 + 1e-6):
                    break
            damping = max(10 * damping, 1e-3)
            if damping > 1e5:
                return _result(p, J, weight, residual, frame)
        p, model, J = trial, trial_model, trial_J
        damping = damping / 10 if damping > 1e-6 else 0.0
    residual = seen - model
    weight = _weight(residual, _scatter(residual, p, STEPS))
    return _result(p, J, weight, seen - model, frame)


@dataclass(frozen=True)
class _Frame:
    """Picture coordinates made small: (pixel - origin) / scale."""

    origin: Array
    scale: float

    @staticmethod
    def around(corners: Array) -> _Frame:
        side = float(np.mean(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)))
        return _Frame(np.round(corners.mean(axis=0)), max(side / 2, 4.0))


def _pixels(grey: NDArray[np.uint8], corners: Array, frame: _Frame) -> tuple[Array, Array]:
    """Pixels (n, 3) in the frame with a one behind, and their light (n,): those within reach of the sheet's centre."""
    H = square_to(corners[None])[0]
    ring = H @ np.column_stack([SHEET_CORNERS * (REACH / (CELLS / 2)), np.ones(4)]).T
    ring = ring[:2] / ring[2]
    h, w = grey.shape
    x0, y0 = np.maximum(np.floor(ring.min(axis=1)).astype(int), 0)
    x1, y1 = np.minimum(np.ceil(ring.max(axis=1)).astype(int) + 1, [w, h])
    if x1 - x0 < 8 or y1 - y0 < 8:
        return np.zeros((0, 3)), np.zeros(0)
    stride = max(1, int(np.sqrt((x1 - x0) * (y1 - y0) / MOST)))  # of a large target a lattice will do
    y, x = np.mgrid[y0:y1:stride, x0:x1:stride]
    place = np.linalg.inv(H) @ np.stack([x.ravel(), y.ravel(), np.ones(x.size)])
    s, t = place[0] / place[2], place[1] / place[2]
    inside = np.flatnonzero((np.abs(s) < REACH) & (np.abs(t) < REACH) & (place[2] > 0))
    seen = light(grey[y.ravel()[inside], x.ravel()[inside]]).astype(float)
    at = (np.column_stack([x.ravel()[inside], y.ravel()[inside]]) - frame.origin) / frame.scale
    return np.column_stack([at, np.ones(len(at))]), seen


def _telling(p: Array, pixels: Array, black: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Of all pixels (n, 3), those near an edge of black and white, which say where it lies, and a few of the others."""
    s, t, d = _sheet(p, pixels)
    slope_s = np.hypot(p[0] - s * p[6], p[1] - s * p[7]) / np.abs(d)
    slope_t = np.hypot(p[3] - t * p[6], p[4] - t * p[7]) / np.abs(d)
    blur = np.sqrt((p[8] + p[10]) / 2) * NEAR_EDGE
    padded, half = np.pad(black, 1), CELLS / 2
    column, row = (np.clip(np.floor(at + half), -1, CELLS).astype(np.int64) + 1 for at in (s, t))
    line, step = (np.clip(np.round(at + half), 0, CELLS).astype(np.int64) for at in (s, t))
    upright = padded[row, line] != padded[row, line + 1]  # the nearest line of the grid is an edge here
    level = padded[step, column] != padded[step + 1, column]
    near = (upright & (np.abs(s + half - line) < blur * slope_s)) | (level & (np.abs(t + half - step) < blur * slope_t))
    telling, flat = np.flatnonzero(near), np.flatnonzero(~near)
    telling = telling[:: max(1, len(telling) // FINE)]
    return np.concatenate([telling, flat[:: max(1, len(flat) // FLAT)]])


def _first(corners: Array, frame: _Frame, pixels: Array, seen: Array, black: NDArray[np.bool_]) -> Array:
    """Parameters to start from: the candidate's homography, a typical blur, black and white as the cells show."""
    H = square_to(((corners - frame.origin) / frame.scale)[None])[0]
    G = np.linalg.inv(H)
    G /= G[2, 2]
    blur = FIRST_BLUR / frame.scale**2
    p = np.concatenate([G.ravel()[:8], [blur, 0.0, blur], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0]])
    share = _model(p, pixels, black)[0]
    A = np.column_stack([1.0 - share, share])
    dark, bright = np.linalg.lstsq(A, seen, rcond=None)[0]
    p[11], p[12] = dark, bright - dark
    return p


def _sheet(p: Array, pixels: Array) -> tuple[Array, Array, Array]:
    """Sheet coordinates s, t (n,) and the denominator (n,) of the homography."""
    G = np.append(p[:8], 1.0).reshape(3, 3)
    place = pixels @ G.T
    return place[:, 0] / place[:, 2], place[:, 1] / place[:, 2], place[:, 2]


def _model(p: Array, pixels: Array, black: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Light (n,) that the parameters predict, and its Jacobian (17, n)."""
    square = pixels[:, 0] ** 2 + pixels[:, 1] ** 2
    x, y = pixels[:, 0] + p[15] * square, pixels[:, 1] + p[16] * square
    s, t, d = _sheet(p, np.column_stack([x, y, pixels[:, 2]]))
    s_x, s_y = (p[0] - s * p[6]) / d, (p[1] - s * p[7]) / d
    t_x, t_y = (p[3] - t * p[6]) / d, (p[4] - t * p[7]) / d
    a, c, b = p[8:11]
    var_s = a * s_x**2 + 2 * c * s_x * s_y + b * s_y**2
    var_t = a * t_x**2 + 2 * c * t_x * t_y + b * t_y**2
    blur_s, blur_t = np.sqrt(np.maximum(var_s, 1e-8)), np.sqrt(np.maximum(var_t, 1e-8))
    share, by_s, by_t, by_blur_s, by_blur_t = white_share(black, s, t, blur_s, blur_t)
    span = p[12] + p[13] * x + p[14] * y
    J = np.empty((17, len(x)))
    for k, (by, at) in enumerate(((by_s, s), (by_t, t))):
        slope = span * by / d
        J[3 * k], J[3 * k + 1], J[3 * k + 2] = slope * x, slope * y, slope
        pull = -slope * at
        if k == 0:
            J[6], J[7] = pull * x, pull * y
        else:
            J[6] += pull * x
            J[7] += pull * y
    wide_s, wide_t = span * by_blur_s / (2 * blur_s), span * by_blur_t / (2 * blur_t)
    for k, (wide, at, at_x, at_y) in enumerate(((wide_s, s, s_x, s_y), (wide_t, t, t_x, t_y))):
        # the blur in cells changes with the slope of the sheet coordinates, which the homography gives
        by_x, by_y = 2 * wide * (a * at_x + c * at_y) / d, 2 * wide * (c * at_x + b * at_y) / d
        through = (by_x * p[6] + by_y * p[7]) / d
        turned = by_x * at_x + by_y * at_y
        J[3 * k] += by_x - through * x
        J[3 * k + 1] += by_y - through * y
        J[3 * k + 2] -= through
        J[6] += (through * x - by_x) * at - turned * x
        J[7] += (through * y - by_y) * at - turned * y
    J[8] = wide_s * s_x**2 + wide_t * t_x**2
    J[9] = 2 * (wide_s * s_x * s_y + wide_t * t_x * t_y)
    J[10] = wide_s * s_y**2 + wide_t * t_y**2
    J[11], J[12], J[13], J[14] = 1.0, share, share * x, share * y
    J[15] = span * (by_s * s_x + by_t * t_x) * square
    J[16] = span * (by_s * s_y + by_t * t_y) * square
    return p[11] + span * share, J


def _scatter(residual: Array, p: Array, step: int) -> float:
    """What counts as near the model: generous while the pattern is still being moved into place."""
    least = (WIDE if step < WIDE_STEPS else NARROW) * abs(p[12])
    return float(max(1.4826 * np.median(np.abs(residual)), least, 1e-6))


def _sound(p: Array) -> bool:
    """Whether a trial is still a print seen from its front: bright on dark, nothing folded."""
    return bool(np.all(np.isfinite(p)) and p[12] > 0 and np.linalg.det(np.append(p[:8], 1.0).reshape(3, 3)) > 0)


def _tamed(blur: Array, least: float) -> Array:
    """The blur's covariance (a, c, b) with its spreads kept positive and not too unlike."""
    a, c, b = blur
    middle, half = (a + b) / 2, float(np.hypot((a - b) / 2, c))
    high = max(middle + half, least)
    low = min(max(middle - half, high / MOST_UNLIKE, least), high)
    shrink = (high - low) / 2 / half if half > 0 else 0.0
    middle = (high + low) / 2
    return np.array([middle + (a - b) / 2 * shrink, c * shrink, middle - (a - b) / 2 * shrink])


def _weight(residual: Array, scatter: float) -> Array:
    """Weights (n,): nought, in the end, for what is not the print at all, such as a bar before it."""
    return np.asarray(1.0 / (1.0 + (residual / (OFF * scatter)) ** 2) ** 2)


def _cost(residual: Array, scatter: float) -> float:
    """What those weights make least (Geman and McClure 1987, from memory), in squares of the scatter."""
    square = (residual / (OFF * scatter)) ** 2
    return float(np.sum(square / (1.0 + square))) * OFF**2 / 2


def _prior(p: Array, frame: _Frame) -> tuple[Array, Array]:
    """What is known beforehand: rows (4, 17) over their sd, and their values (4,).

    The blur is alike all round, and straight lines are straight.
    """
    rows = np.zeros((4, 17))
    alike = UNLIKE_SD * max((p[8] + p[10]) / 2, 1e-9)
    rows[0, 8], rows[0, 10], rows[1, 9] = 0.5 / alike, -0.5 / alike, 1.0 / alike
    rows[2, 15] = rows[3, 16] = 1.0 / (BEND_SD * frame.scale)
    return rows, rows @ p


def _places(p: Array) -> Array:
    """Centre and corners (5, 2) in the frame."""
    H = np.linalg.inv(np.append(p[:8], 1.0).reshape(3, 3))
    place = H @ np.column_stack([np.vstack([np.zeros((1, 2)), SHEET_CORNERS]), np.ones(5)]).T
    straight = (place[:2] / place[2]).T
    at = straight
    for _ in range(3):
        at = straight - p[15:] * np.sum(at**2, axis=1)[:, None]
    return np.asarray(at)


def _result(p: Array, J: Array, weight: Array, residual: Array, frame: _Frame) -> Located | None:
    contrast = p[12]
    scatter = 1.4826 * float(np.median(np.abs(residual)))
    far = np.mean(np.abs(residual) > max(6 * scatter, 0.25 * contrast))
    if scatter > WORST_FIT * contrast or far > LOST:
        return None
    N = (J * weight) @ J.T
    spread = max(float(np.sqrt(np.sum(weight * residual**2) / max(np.sum(weight) - 17, 1.0))), scatter)
    prior, _ = _prior(p, frame)
    N += spread**2 * prior.T @ prior
    cofactors = np.linalg.pinv(N, hermitian=True, rcond=1e-14)
    H = np.linalg.inv(np.append(p[:8], 1.0).reshape(3, 3))
    h = H[:, 2]
    # moving G by dG moves H by -H dG H, and with it the image h of the sheet's centre
    toward = np.array([[1.0, 0.0, -h[0] / h[2]], [0.0, 1.0, -h[1] / h[2]]]) / h[2]
    by_G = -np.einsum("ij,jk,l->ikl", toward, H, h).reshape(2, 9)[:, :8]
    C = by_G @ cofactors[:8, :8] @ by_G.T * (ALIKE * spread * frame.scale) ** 2
    places = _places(p) * frame.scale + frame.origin
    blur = float(np.sqrt(max((p[8] + p[10]) / 2 * frame.scale**2 - APERTURE, LEAST_BLUR)))
    sd = float(np.hypot(np.sqrt(np.trace(C) / 2), FLOOR))
    return Located(places[0], places[1:], sd, blur, spread / contrast)
