"""A printed sheet as the sensor's pixels see it: the exact share of paper and of ink in each pixel's own area."""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from measure.photo.code import code_cells
from tests.synthetic.photos.camera import Camera, Shot
from tests.synthetic.photos.coverage import coverage
from tests.synthetic.photos.scene import PAPER, Sheet

Array = NDArray[np.float64]
CELLS = 8
STRAIGHT = 4.0
"""px of outline drawn as one straight piece: the lens bends an edge by some 1e-4 px over that."""


class Patch(NamedTuple):
    """Rows top: and columns left: of the picture: share of paper, share of ink, depth in mm; each (h, w)."""

    top: int
    left: int
    paper: Array
    ink: Array
    depth: Array


def patch(sheet: Sheet, shot: Shot) -> Patch | None:
    """The sheet in the shot; None where none of it is in the frame or it is seen from behind."""
    paper = sheet.corners(PAPER)
    if (shot.place - sheet.centre) @ sheet.normal <= 0.0 or np.any(shot.in_camera(paper)[:, 2] < 10.0):
        return None
    pixels = shot.pixels(paper)
    left, top = (int(v) for v in np.maximum(np.floor(pixels.min(axis=0)).astype(int) - 2, 0))
    right, bottom = (int(v) for v in np.ceil(pixels.max(axis=0)).astype(int) + 3)
    right, bottom = min(right, shot.camera.width), min(bottom, shot.camera.height)
    if right <= left or bottom <= top:
        return None
    longest = float(np.max(np.linalg.norm(pixels - np.roll(pixels, 1, axis=0), axis=1)))
    pieces = max(1, int(np.ceil(longest / (CELLS * PAPER) / STRAIGHT)))
    shares, hand = [], float(np.sign(np.linalg.det(sheet.turn)))
    for start, end, sign in (_square(PAPER, round(PAPER * CELLS)), _outline(sheet.number)):
        a, b = _divided(start, end, pieces)
        frame = np.array([left, top])
        shares.append(coverage(
            shot.pixels(sheet.at(a)) - frame, shot.pixels(sheet.at(b)) - frame, np.repeat(sign * hand, pieces),
            bottom - top, right - left,
        ))  # fmt: skip
    return Patch(top, left, shares[0], shares[1], _depth(sheet, shot, slice(left, right), slice(top, bottom)))


@cache
def _outline(number: int) -> tuple[Array, Array, Array]:
    """Directed edges between black and white cells: start and end (n, 2) in sides from the centre, y up; sign (n,).

    Round each black cell, clockwise as seen; edges between two black cells cancel and are left out.
    """
    black = np.pad(code_cells(number).astype(np.int64), 1)
    down = black[1:-1, :-1] - black[1:-1, 1:]  # on the line left of cell (row, column), directed down
    right = black[1:, 1:-1] - black[:-1, 1:-1]  # on the line above it, directed right
    starts, ends, signs = [], [], []
    for net, step in ((down, (0, 1)), (right, (1, 0))):
        row, column = np.nonzero(net)
        here = np.column_stack([column, row]).astype(float)
        starts.append(here)
        ends.append(here + step)
        signs.append(net[row, column].astype(float))
    flip = np.array([1.0, -1.0])
    start, end = ((np.concatenate(each) / CELLS - 0.5) * flip for each in (starts, ends))
    return start, end, np.concatenate(signs)


@cache
def _square(sides: float, pieces: int) -> tuple[Array, Array, Array]:
    """The same for a whole square about the centre, each of its sides in so many pieces."""
    corners = np.array([(-0.5, 0.5), (0.5, 0.5), (0.5, -0.5), (-0.5, -0.5)]) * sides
    start, end = _divided(corners, np.roll(corners, -1, axis=0), pieces)
    return start, end, np.ones(len(start))


def _divided(start: Array, end: Array, pieces: int) -> tuple[Array, Array]:
    """Each edge cut into so many equal pieces."""
    t = np.arange(pieces + 1)[None, :, None] / pieces
    points = start[:, None] + t * (end - start)[:, None]
    return points[:, :-1].reshape(-1, 2), points[:, 1:].reshape(-1, 2)


def _depth(sheet: Sheet, shot: Shot, columns: slice, rows: slice) -> Array:
    """Depth (h, w) of the sheet's plane at each pixel, the lens's distortion left out."""
    camera: Camera = shot.camera
    focal, aspect, cx, cy = camera.lens[:4]
    normal = shot.R @ sheet.normal
    reach = float(shot.in_camera(sheet.centre[None])[0] @ normal)
    x = (np.arange(columns.start, columns.stop) - cx) / focal
    y = (np.arange(rows.start, rows.stop) - cy) / (focal * (1 + aspect))
    away = normal[0] * x[None, :] + normal[1] * y[:, None] + normal[2]
    depth: Array = reach / np.where(np.abs(away) < 1e-9, 1e-9, away)
    return depth
