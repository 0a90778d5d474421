"""Black quadrilaterals of a picture, and their sides drawn sharper: where a print may be, whatever it spells.

The picture is halved before it is searched: its noise and its small print halve with it, and the time falls to a
quarter. An outline's acute corners are worn off by blur, its long sides are not: the corners are where those meet.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from measure.photo.code import CELLS
from measure.photo.homography import through_corners

Array = NDArray[np.float64]
Grey = NDArray[np.uint8]

HALVED_FROM = 3_000_000
"""Pixels from which a picture is halved."""
SLIGHT = 4.0
"""Grey levels by which black lies under a share of the local mean."""
LEAST_POINTS = 28
"""Pixels of an outline, at least: a square of some 11 halved pixels, seen aslant."""
SLIM = 0.01
"""Area of an outline over the square of its length, under which it is a line."""
BROKEN = 0.3
"""Area within an outline over that of its hull, at least: a ring with a gap is outlined inside as well."""
STRAY, STRAY_LONG = 1.2, 0.012
"""px, and over its length: how far a hull may stray from straight sides."""
MOST_SIDES = 10
ASLANT = 0.05
"""Sine of the angle between two sides that meet, at least."""
GROWN = 1.5
"""Area where the sides meet over the hull's, at most."""


@dataclass(frozen=True)
class Look:
    """How keenly a picture is searched.

    The window of the local mean in px, in a picture as it is and in a halved one; the share of that mean under which
    black lies; grey levels that an outline lies under that on the mean. A clear print does by 20 and more, a rust stain
    hardly.
    """

    window: int
    window_halved: int
    share: float
    deep: float


QUICK = Look(21, 9, 0.94, 5.0)
KEEN = Look(23, 11, 0.97, 3.0)
"""Finds pale and blurred prints as well, and outlines every stain: half as long again."""

SHEET_CORNERS = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) * CELLS / 2
_GAP = np.ones((2, 2), np.uint8)
_ALONG = np.linspace(-3.2, 3.2, 9)
_OUT, _IN = 1.0, 0.85
_ACROSS = np.linspace(-_OUT, _IN, 13)
"""Cells along and across a side, inwards, where the picture is looked at to draw it sharper."""


def quads(grey: Grey, look: Look) -> Array:
    """Convex quadrilaterals (m, 4, 2) px, clockwise in the picture (h, w): dark, with something bright around."""
    import cv2  # heavy

    h, w = grey.shape
    factor = 2 if h * w > HALVED_FROM else 1
    small = grey if factor == 1 else _halved(grey)
    if min(small.shape) < look.window:
        return np.zeros((0, 4, 2))
    level = _level(small, look.window if factor == 1 else look.window_halved, look.share)
    dark = cv2.compare(small, level, cv2.CMP_LT)
    # the border of a small print seen aslant is a pixel thin and has gaps of one: these are closed
    dark = cv2.erode(cv2.dilate(dark, _GAP, anchor=(0, 0)), _GAP, anchor=(1, 1))
    outlines, _ = cv2.findContours(dark, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    long = [each for each in outlines if len(each) >= LEAST_POINTS]
    if not long:
        return np.zeros((0, 4, 2))
    count = np.array([len(each) for each in long])
    points = np.concatenate(long)[:, 0].astype(np.int64)
    first = np.cumsum(count) - count
    index = points[:, 1] * small.shape[1] + points[:, 0]
    depth = np.add.reduceat(level.ravel().take(index).astype(np.int64) - small.ravel().take(index), first)
    area = _areas(points, first, count)
    sides, hulls = [], []
    for i in np.flatnonzero((area > BROKEN * SLIM * count**2) & (depth > look.deep * count)):
        hull = cv2.convexHull(long[i], clockwise=True)  # with y down: anticlockwise as seen
        length, full = cv2.arcLength(hull, True), cv2.contourArea(hull)
        if full > SLIM * length**2 and area[i] > BROKEN * full:
            polygon = cv2.approxPolyDP(hull, max(STRAY, STRAY_LONG * length), True)
            if 4 <= len(polygon) <= MOST_SIDES:
                sides.append(polygon[::-1, 0].astype(np.float64))
                hulls.append(full + length / 2)
    # pixels' centres stand for their middles: half a pixel on all sides, and where four pixels became one
    return _met(sides, np.array(hulls)) * factor + (factor - 1) / 2


def _halved(grey: Grey) -> Grey:
    """Means of two by two pixels; an odd row or column at the end is left out."""
    import cv2  # heavy

    h, w = grey.shape
    return cast(Grey, cv2.resize(grey[: h // 2 * 2, : w // 2 * 2], (w // 2, h // 2), interpolation=cv2.INTER_AREA))


def _level(small: Grey, window: int, share: float) -> Grey:
    """Grey level (h, w) under which a pixel is dark for its surroundings."""
    import cv2  # heavy

    mean = cv2.blur(small, (window, window))
    # what is next to black is taken for its size: such a patch is dark all over, and no outline of it is deep
    return cast(Grey, cv2.convertScaleAbs(mean, alpha=share, beta=-SLIGHT))


def _areas(points: NDArray[np.int64], first: NDArray[np.int64], count: NDArray[np.int64]) -> Array:
    """Areas (m,) within outlines of so many points each, one after the other; below nought round a hole."""
    after = np.empty_like(points)
    after[:-1] = points[1:]
    after[first + count - 1] = points[first]
    return np.asarray(-np.add.reduceat(points[:, 0] * after[:, 1] - points[:, 1] * after[:, 0], first) / 2.0)


def _met(polygons: list[Array], hulls: Array) -> Array:
    """Corners (m, 4, 2) where the four longest sides of each polygon meet, moved out by half a pixel."""
    if not polygons:
        return np.zeros((0, 4, 2))
    start, leg = np.zeros((len(polygons), MOST_SIDES, 2)), np.zeros((len(polygons), MOST_SIDES, 2))
    for k, polygon in enumerate(polygons):
        n = len(polygon)
        start[k, :n] = polygon
        leg[k, : n - 1] = polygon[1:] - polygon[:-1]
        leg[k, n - 1] = polygon[0] - polygon[-1]
    length = np.hypot(leg[..., 0], leg[..., 1])
    longest = np.sort(np.argsort(-length, axis=1, kind="stable")[:, :4], axis=1)[..., None]
    start = np.take_along_axis(start, longest, axis=1)
    way = np.take_along_axis(leg, longest, axis=1)
    way = way / np.hypot(way[..., 0], way[..., 1])[..., None]
    start = start + 0.5 * np.stack([way[..., 1], -way[..., 0]], axis=2)
    before, way_before = np.roll(start, 1, axis=1), np.roll(way, 1, axis=1)
    turn = way_before[..., 0] * way[..., 1] - way_before[..., 1] * way[..., 0]
    meeting = np.all(turn > ASLANT, axis=1)
    way, before, way_before, turn = way[meeting], before[meeting], way_before[meeting], turn[meeting]
    gap = start[meeting] - before
    far = (gap[..., 0] * way[..., 1] - gap[..., 1] * way[..., 0]) / turn
    met = before + far[..., None] * way_before
    p, q = met[:, 2] - met[:, 0], met[:, 3] - met[:, 1]
    area = np.abs(p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]) / 2
    return np.asarray(met[area < GROWN * hulls[meeting]])


def square_to(corners: Array) -> Array:
    """Homographies (m, 3, 3) from the sheet, in cells from its centre, x right and y down, to corners (m, 4, 2)."""
    return through_corners(SHEET_CORNERS, corners)


def values_at(grey: Grey, H: Array, at: Array) -> Grey:
    """Grey values (m, n) at sheet coordinates (n, 2), of the nearest pixel."""
    place = H @ np.column_stack([at, np.ones(len(at))]).T
    h, w = grey.shape
    u, v = np.rint(place[:, 0] / place[:, 2]), np.rint(place[:, 1] / place[:, 2])
    column, row = np.clip(u, 0, w - 1).astype(np.intp), np.clip(v, 0, h - 1).astype(np.intp)
    return np.asarray(grey.ravel().take(row * w + column))


def _looked() -> Array:
    """Sheet coordinates (4 * 9 * 13, 2) across the four sides, clockwise from the top."""
    along, across = (each.ravel() for each in np.meshgrid(_ALONG, _ACROSS - CELLS / 2, indexing="ij"))
    top = np.stack([along, across])
    turns = [np.array([[c, -s], [s, c]]) for c, s in ((1, 0), (0, 1), (-1, 0), (0, -1))]
    return np.concatenate([(turn @ top).T for turn in turns])


_LOOKED = _looked()
_SLOPE = _ALONG / np.sum(_ALONG**2)


def sharpened(grey: Grey, corners: Array, black: Array, white: Array) -> Array:
    """Corners (m, 4, 2) moved to where the light crosses over from white (m,) to black (m,) along each side."""
    H = square_to(corners)
    seen = values_at(grey, H, _LOOKED).reshape(len(H), 4, len(_ALONG), len(_ACROSS))
    share = np.clip((seen - black[:, None, None, None]) / (white - black)[:, None, None, None], 0.0, 1.0)
    edge = share.mean(axis=3) * (_OUT + _IN) - _OUT  # cells inwards of the side as it was, (m, 4, 9)
    middle = np.median(edge, axis=2)
    edge = np.clip(edge, middle[..., None] - 0.5, middle[..., None] + 0.5)
    offset, slope = edge.mean(axis=2), edge @ _SLOPE
    # side k in its own turn: across = -4 + offset + slope * along; the next one is this one a quarter turn on
    reach = -CELLS / 2 + offset
    before, slope_before = np.roll(reach, 1, axis=1), np.roll(slope, 1, axis=1)
    # in the turn of side k the side before it, on the left, is: along = before - slope_before * across
    across = (reach + slope * before) / (1 + slope * slope_before)
    along = before - slope_before * across
    x, y = np.empty_like(along), np.empty_like(along)
    for k, (c, s) in enumerate(((1, 0), (0, 1), (-1, 0), (0, -1))):
        x[:, k], y[:, k] = c * along[:, k] - s * across[:, k], s * along[:, k] + c * across[:, k]
    place = H @ np.stack([x, y, np.ones_like(x)], axis=1)
    return np.asarray(np.swapaxes(place[:, :2] / place[:, 2:], 1, 2))
