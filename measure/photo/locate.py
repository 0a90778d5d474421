"""Locating printed targets to hundredths of a pixel: their whole pattern fitted to the light, all of a picture at once.

Seventeen parameters each (see `pattern`). Gauss-Newton, damped on the way; pixels off the model weigh less and less,
the scale from the median. The bend of the lens within the sheet is held near nought by what phones do: to second order
a radial distortion is a homography but for w |x|^2. The centre is the image of the sheet's centre, never the mean of
its corners.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from measure.photo.code import Bits, all_cells
from measure.photo.outline import SHEET_CORNERS, square_to
from measure.photo.pattern import APERTURE, PARAMETERS, Array, Single, model
from measure.photo.search import Candidate
from measure.photo.telling import levels, pixels, points

COARSE, FINE = 200, 1200
"""Pixels near edges that are compared while the pattern is moved into place, and after that."""
FEWEST = 60
"""Pixels under which there is nothing to fit."""
NEAR_COARSE, NEAR = 2.0, 1.4
"""Blurs from an edge up to which pixels are compared: what is farther tells a tenth of it all."""
COARSE_STEPS, BLUR_STAYS, STEPS = 4, 2, 10
"""Steps of each stage at most; steps of the first in which the blur stays as it is."""
ENOUGH_COARSE, ENOUGH = 0.3, 0.02
"""px, a step of the corners after which a stage ends; the next would be a tenth of the sd."""
FIRST_BLUR = 1.0
"""px^2, variance to start from,"""
LEAST_BLUR = 0.02
"""and the least that is believed."""
MOST_UNLIKE = 8.0
"""Ratio of the blur's variances along and across a movement."""
BEND_SD = 2.5e-5
"""1/px, sd of the bend: k1 of 0.1, half-way to the corner of a phone's picture (our judgement)."""
UNLIKE_SD = 0.7
"""Prior sd of how unlike the blur is all round, over its mean: edges of two directions do not tell."""
OFF = 3.5
"""Residuals over the scatter from which a pixel weighs less, and soon nothing."""
WIDE, NARROW = 0.3, 0.02
"""Scatter over the contrast that is taken at least, in the first stage and after."""
LEAST_CONTRAST = 0.003
"""Light of white less black, at least: ten grey levels in the dark. An even surface is like any print without any."""
WORST_FIT = 0.12
"""Scatter over the contrast from which a fit is no target's, or one half hidden."""
LOST = 0.35
"""Share of pixels far off the model from which too much is hidden."""
ALIKE = 1.25
"""Factor on the sd: neighbouring pixels err together (JPEG), measured on rendered pictures."""
FLOOR = 0.004
"""px, what no fit of one target does better than: light not quite as the curve says, lens within the target."""

_BLUR = np.arange(8, 11)
_PLACES = np.column_stack([np.vstack([np.zeros((1, 2)), SHEET_CORNERS]), np.ones(5)]).T


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


def locate(grey: NDArray[np.uint8], candidates: Sequence[Candidate]) -> list[Located | None]:
    """Fit the candidates' patterns to the picture (h, w); None where what is there is no such print."""
    if not candidates:
        return []
    numbers = [each.number for each in candidates]
    corners = np.array([each.corners for each in candidates])
    black = all_cells()[numbers]
    side = np.mean(np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2), axis=1)
    origin, scale = np.round(corners.mean(axis=1)), np.maximum(side / 2, 4.0)
    p = _first(grey, corners, black, origin, scale)
    stages = (
        (COARSE, NEAR_COARSE, COARSE_STEPS, BLUR_STAYS, WIDE, ENOUGH_COARSE),
        (FINE, NEAR, STEPS, 0, NARROW, ENOUGH),
    )
    for count, near, steps, stays, least, enough in stages:
        H = _to_picture(p)
        drawn = points(numbers, near * _blur_in_cells(p), count)
        x, y, seen, counts = pixels(grey, H, drawn, origin, scale)
        fit = _Fit(x, y, seen, counts, black, scale)
        p = fit.run(p, steps, stays, least, enough)
    return fit.results(origin)


def _first(grey: NDArray[np.uint8], corners: Array, black: Bits, origin: Array, scale: Array) -> Array:
    """Parameters (m, 17) to start from: the candidates' homographies, a typical blur, black and white as they look."""
    H = square_to((corners - origin[:, None]) / scale[:, None, None])
    G = np.linalg.inv(H)
    p = np.zeros((len(corners), PARAMETERS))
    p[:, :8] = (G / G[:, 2:, 2:]).reshape(-1, 9)[:, :8]
    p[:, 8] = p[:, 10] = (FIRST_BLUR + APERTURE) / scale**2
    dark, bright = levels(grey, H, black, origin, scale)
    p[:, 11], p[:, 12] = dark, np.maximum(bright - dark, 1e-3)
    return p


def _to_picture(p: Array) -> Array:
    """Homographies (m, 3, 3) from the sheet to the frame."""
    return np.asarray(np.linalg.inv(np.column_stack([p[:, :8], np.ones(len(p))]).reshape(-1, 3, 3)))


def _blur_in_cells(p: Array) -> Array:
    """Blur (m, 2) at the sheet's centre, across upright and across level edges."""
    H = _to_picture(p)
    x, y = H[:, 0, 2] / H[:, 2, 2], H[:, 1, 2] / H[:, 2, 2]
    d = p[:, 6] * x + p[:, 7] * y + 1
    a, c, b = p[:, 8], p[:, 9], p[:, 10]
    both = [
        a * gx**2 + 2 * c * gx * gy + b * gy**2 for gx, gy in ((p[:, 0] / d, p[:, 1] / d), (p[:, 3] / d, p[:, 4] / d))
    ]
    return np.sqrt(np.maximum(np.stack(both, axis=1), 1e-8))


def places(p: Array) -> Array:
    """Centres and corners (m, 5, 2) in the frame."""
    place = _to_picture(p) @ _PLACES
    straight = np.swapaxes(place[:, :2] / place[:, 2:], 1, 2)
    at = straight
    for _ in range(3):
        at = straight - p[:, None, 15:] * np.sum(at**2, axis=2)[..., None]
    return np.asarray(at)


@dataclass
class _Fit:
    """Pixels (m, n) of m targets, and the state of their fit."""

    x: Single
    y: Single
    seen: Single
    counts: NDArray[np.bool_]
    black: Bits
    scale: Array
    p: Array = field(init=False)
    J: Single = field(init=False)
    residual: Single = field(init=False)

    def run(self, p: Array, steps: int, stays: int, least: float, enough: float) -> Array:
        """Parameters (m, 17) after the last step of each target; J and residual as they were evaluated last."""
        m = len(p)
        self.number = np.maximum(self.counts.sum(axis=1), 1)
        light_there, self.J = model(p, self.x, self.y, self.black)
        self.residual = np.where(self.counts, self.seen - light_there, np.float32(0))
        self.p = p.copy()
        damping = np.full(m, 1e-3)
        active = np.arange(m)
        for k in range(steps):
            active = active[self._step(active, damping, k < stays, least, enough)]
            if not len(active):
                break
        return self.p

    def _step(
        self, on: NDArray[np.intp], damping: Array, blur_stays: bool, least: float, enough: float
    ) -> NDArray[np.bool_]:
        """One trial for the targets `on`; which of them go on."""
        p, J, residual, counts, scale = self.p[on], self.J[on], self.residual[on], self.counts[on], self.scale[on]
        scatter = np.maximum(self.scatter(on), np.maximum(least * np.abs(p[:, 12]), 1e-6))
        weight = _weight(residual, scatter, counts)
        N, right = _normals(J, weight, residual)
        prior = _prior(p, scale)
        gap = np.einsum("mij,mj->mi", prior, p)
        N += (scatter**2)[:, None, None] * np.swapaxes(prior, 1, 2) @ prior
        right -= scatter[:, None] ** 2 * np.einsum("mij,mi->mj", prior, gap)
        own = np.einsum("mii->mi", N)
        D = own * (damping[on, None] + 1e-9) + 1e-12
        if blur_stays:
            N[:, _BLUR] = 0.0
            N[:, :, _BLUR] = 0.0
            right[:, _BLUR] = 0.0
            D[:, _BLUR] = 1.0
        trial = p + np.linalg.solve(N + D[:, :, None] * np.eye(PARAMETERS), right[:, :, None])[:, :, 0]
        sound = _sound(trial)
        trial = np.where(sound[:, None], _tamed(trial, LEAST_BLUR / scale**2), p)
        moved = np.max(np.abs(places(trial) - places(p)), axis=(1, 2)) * scale
        done = sound & (moved < enough) & (damping[on] < 1e-2) & (not blur_stays)
        self.p[on[done]] = trial[done]
        go = np.flatnonzero(~done)
        if len(go):
            light_there, J = model(trial[go], self.x[on[go]], self.y[on[go]], self.black[on[go]])
            after = np.where(counts[go], self.seen[on[go]] - light_there, np.float32(0))
            off = np.einsum("mij,mj->mi", prior[go], trial[go])
            cost = _cost(residual[go], scatter[go]) + 0.5 * np.sum(gap[go] ** 2, axis=1)
            better = _cost(after, scatter[go]) + 0.5 * np.sum(off**2, axis=1) <= cost * (1 + 1e-5)
            better &= sound[go]
            taken = on[go[better]]
            self.p[taken], self.J[taken], self.residual[taken] = trial[go[better]], J[better], after[better]
            damping[taken] = np.where(damping[taken] > 1e-6, damping[taken] / 10, 0.0)
            held = on[go[~better]]
            damping[held] = np.maximum(10 * damping[held], 1e-2)
        return np.asarray(~done & (damping[on] < 1e5))

    def scatter(self, on: NDArray[np.intp]) -> Array:
        """1.4826 times the median size (m,) of the residuals that count."""
        size = np.sort(np.where(self.counts[on], np.abs(self.residual[on]), np.float32(np.inf)), axis=1)
        return np.asarray(1.4826 * size[np.arange(len(on)), self.number[on] // 2].astype(np.float64))

    def results(self, origin: Array) -> list[Located | None]:
        p, J, counts, residual = self.p, self.J, self.counts, self.residual
        every = np.arange(len(p))
        contrast = p[:, 12]
        scatter = self.scatter(every)
        far = np.sum(np.abs(residual) > np.maximum(6 * scatter, 0.25 * contrast)[:, None], axis=1) / self.number
        weight = _weight(residual, np.maximum(scatter, NARROW * contrast), counts)
        share = np.maximum(np.sum(weight, axis=1) - PARAMETERS, 1.0)
        spread = np.maximum(np.sqrt(np.sum(weight * residual**2, axis=1, dtype=np.float64) / share), scatter)
        N, _ = _normals(J, weight, residual)
        prior = _prior(p, self.scale)
        N += (spread**2)[:, None, None] * np.swapaxes(prior, 1, 2) @ prior
        size = 1 / np.sqrt(np.maximum(np.einsum("mii->mi", N), 1e-30))
        cofactors = size[:, :, None] * np.linalg.pinv(size[:, :, None] * N * size[:, None], 1e-10, True) * size[:, None]
        H = _to_picture(p)
        h = H[:, :, 2]
        # moving G by dG moves H by -H dG H, and with it the image h of the sheet's centre
        toward = np.zeros((len(p), 2, 3))
        toward[:, 0, 0] = toward[:, 1, 1] = 1 / h[:, 2]
        toward[:, :, 2] = -h[:, :2] / h[:, 2:] ** 2
        by_G = -np.einsum("nij,njk,nl->nikl", toward, H, h).reshape(-1, 2, 9)[:, :, :8]
        C = by_G @ cofactors[:, :8, :8] @ np.swapaxes(by_G, 1, 2)
        sd = np.hypot(np.sqrt(np.maximum(np.trace(C, axis1=1, axis2=2), 0.0) / 2) * ALIKE * spread * self.scale, FLOOR)
        at = places(p) * self.scale[:, None, None] + origin[:, None]
        blur = np.sqrt(np.maximum((p[:, 8] + p[:, 10]) / 2 * self.scale**2 - APERTURE, LEAST_BLUR))
        good = (
            (contrast > LEAST_CONTRAST)
            & (scatter <= WORST_FIT * contrast)
            & (far <= LOST)
            & (self.number >= FEWEST)
            & np.isfinite(sd)
        )
        return [
            Located(at[i, 0], at[i, 1:], float(sd[i]), float(blur[i]), float(spread[i] / contrast[i]))
            if good[i]
            else None
            for i in every
        ]


def _normals(J: Single, weight: Single, residual: Single) -> tuple[Array, Array]:
    """J W J^T (m, 17, 17) and J W r (m, 17)."""
    weighted = J * weight[:, None]
    N = (weighted @ np.swapaxes(J, 1, 2)).astype(np.float64)
    right = (weighted @ residual[:, :, None])[:, :, 0].astype(np.float64)
    return (N + np.swapaxes(N, 1, 2)) / 2, right


def _sound(p: Array) -> NDArray[np.bool_]:
    """Whether trials (m, 17) are still prints seen from the front: bright on dark, nothing folded."""
    finite = np.all(np.isfinite(p), axis=1)
    G = np.column_stack([np.where(finite[:, None], p[:, :8], 0.0), np.ones(len(p))]).reshape(-1, 3, 3)
    return np.asarray(finite & (p[:, 12] > 0) & (np.linalg.det(G) > 0))


def _tamed(p: Array, least: Array) -> Array:
    """The blurs' covariances with their spreads kept positive and not too unlike."""
    a, c, b = p[:, 8], p[:, 9], p[:, 10]
    middle, half = (a + b) / 2, np.hypot((a - b) / 2, c)
    high = np.maximum(middle + half, least)
    low = np.minimum(np.maximum(np.maximum(middle - half, high / MOST_UNLIKE), least), high)
    shrink = (high - low) / 2 / np.maximum(half, 1e-30)
    middle = (high + low) / 2
    tamed = p.copy()
    tamed[:, 8], tamed[:, 9], tamed[:, 10] = middle + (a - b) / 2 * shrink, c * shrink, middle - (a - b) / 2 * shrink
    return tamed


def _weight(residual: Single, scatter: Array, counts: NDArray[np.bool_]) -> Single:
    """Weights (m, n): nought, in the end, for what is not the print at all, such as a bar before it."""
    over = residual * (1 / (OFF * scatter)).astype(np.float32)[:, None]
    root = 1 / (1 + over * over)
    return np.where(counts, root * root, np.float32(0))


def _cost(residual: Single, scatter: Array) -> Array:
    """What those weights make least (Geman and McClure 1987, from memory), in squares of the scatter, (m,)."""
    over = residual * (1 / (OFF * scatter)).astype(np.float32)[:, None]
    square = over * over
    return np.asarray(np.sum(square / (1 + square), axis=1, dtype=np.float64) * OFF**2 / 2)


def _prior(p: Array, scale: Array) -> Array:
    """What is known beforehand: rows (m, 4, 17) over their sd. Blurs are alike all round, lines straight."""
    rows = np.zeros((len(p), 4, PARAMETERS))
    alike = UNLIKE_SD * np.maximum((p[:, 8] + p[:, 10]) / 2, 1e-9)
    rows[:, 0, 8], rows[:, 0, 10], rows[:, 1, 9] = 0.5 / alike, -0.5 / alike, 1.0 / alike
    rows[:, 2, 15] = rows[:, 3, 16] = 1.0 / (BEND_SD * scale)
    return rows
