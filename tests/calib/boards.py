"""Synthetic pictures of boards with known truth: exact corners, and small rendered pictures."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import cv2
import numpy as np
from scipy.interpolate import RectBivariateSpline
from scipy.ndimage import gaussian_filter
from scipy.spatial.transform import Rotation

from calib.board import Board, Chessboard
from calib.board_pictures import marker_cells, marker_corners
from calib.camera_calibration import View
from measure.photo.lens import rays
from tests.synthetic.photos.projection import project

LENS_TRUE = np.array([520.0, 0.001, 322.3, 236.9, -0.21, 0.06, 0.0007, -0.0004, 0.0])
SIZE = (640, 480)


def poses(
    board: Board, lens: np.ndarray, size: tuple[int, int], count: int, rng: np.random.Generator, *, tilt: float = 35.0
) -> tuple[np.ndarray, np.ndarray]:
    """R (k, 3, 3), t (k, 3) that keep the whole board in the frame: tilted in all directions, a third turned."""
    corners = board.corners()
    middle = corners.mean(axis=0)
    edge = np.array([[x, y] for x in (-1.2, 1.2) for y in (-1.2, 1.2)]) * (corners - middle).max(axis=0) + middle
    R, t = [], []
    while len(R) < count:
        turn = (90.0 if len(R) % 3 == 2 else 0.0) + rng.uniform(-10, 10)
        leaning = np.radians(360.0 * len(R) / count + rng.uniform(-20, 20))
        angle = np.radians(rng.uniform(0.6, 1.0) * tilt)
        tilted = Rotation.from_rotvec(angle * np.array([np.cos(leaning), np.sin(leaning), 0.0])).as_matrix()
        turned = Rotation.from_euler("z", turn, degrees=True).as_matrix()
        each = tilted @ turned
        reach = float(np.linalg.norm(corners - middle, axis=1).max())
        z = lens[0] * reach / (min(size) / 2) * rng.uniform(0.8, 1.4)
        aim = (rng.uniform(0.2, 0.8, 2) * size - lens[2:4]) / lens[0] * z
        shift = np.append(aim, z) - each[:, :2] @ middle
        seen = edge @ each[:, :2].T + shift
        if np.min(seen[:, 2]) <= 0:
            continue
        pixels = project(lens, seen)
        if np.min(pixels) > 4 and np.all(pixels.max(axis=0) < np.array(size) - 5):
            R.append(each)
            t.append(shift)
    return np.array(R), np.array(t)


def exact_views(board: Board, lens: np.ndarray, R: np.ndarray, t: np.ndarray) -> list[View]:
    corners = board.corners()
    return [
        View(f"picture{i:02}", corners, project(lens, corners @ each[:, :2].T + shift))
        for i, (each, shift) in enumerate(zip(R, t, strict=True))
    ]


def noisy(views: list[View], sd: float, rng: np.random.Generator) -> list[View]:
    return [View(v.name, v.on_board, v.pixels + rng.normal(0.0, sd, v.pixels.shape)) for v in views]


@cache
def _raster(board: Board) -> tuple[np.ndarray, float, float]:
    """Black cells of the printed board, the cell's size in mm, and how far the raster begins before the origin, mm.

    Squares, codes and their places are whole multiples of the cell, so that nothing is rounded.
    """
    if isinstance(board, Chessboard):  # its origin is the first inner corner
        y, x = np.mgrid[0 : board.rows + 1, 0 : board.columns + 1]
        return (x + y) % 2 == 0, board.square, board.square
    cell = board.marker / 14
    each = round(board.square / cell)
    assert each * cell == board.square
    y, x = np.mgrid[0 : board.rows * each, 0 : board.columns * each] // each
    black = (x + y) % 2 == 0
    for number, (left, top) in enumerate(marker_corners(board)):
        i, j = round(top / cell), round(left / cell)
        black[i : i + 14, j : j + 14] = np.kron(marker_cells(number), np.ones((2, 2), dtype=bool))
    return black, cell, 0.0


def _reflectance(board: Board, xy: np.ndarray) -> np.ndarray:
    """Linear grey (n,) of the printed board at places (n, 2) in its own mm: black 0.03, paper 0.85."""
    black, cell, before = _raster(board)
    i, j = np.floor((xy + before) / cell).astype(int).T
    inside = (i >= 0) & (j >= 0) & (i < black.shape[1]) & (j < black.shape[0])
    return np.where(inside & black[np.where(inside, j, 0), np.where(inside, i, 0)], 0.03, 0.85)


@cache
def _directions(lens: tuple[float, ...], size: tuple[int, int]) -> np.ndarray:
    """Rays (h + 1, w + 1, 2) at the pixels' corners; exact at every eighth, a cubic spline between (to 3e-5 pixels)."""
    w, h = size
    x, y = np.arange(0, w + 9, 8) - 0.5, np.arange(0, h + 9, 8) - 0.5
    across, down = np.meshgrid(x, y)
    exact = rays(np.array(lens), np.column_stack([across.ravel(), down.ravel()])).reshape(len(y), len(x), 2)
    at_y, at_x = np.arange(h + 1) - 0.5, np.arange(w + 1) - 0.5
    return np.stack([RectBivariateSpline(y, x, exact[:, :, i])(at_y, at_x) for i in (0, 1)], axis=2)


def rendered(
    board: Board, lens: np.ndarray, R: np.ndarray, t: np.ndarray, size: tuple[int, int] = SIZE,
    *, blur: float = 0.7, noise: float = 1.0, rng: np.random.Generator, samples: int = 4,
) -> np.ndarray:  # fmt: skip
    """A picture (h, w) uint8 of one pose: area sampled, blurred in linear light, sRGB, noise in grey levels.

    Rays between a pixel's corners are interpolated: the lens bends far less than the noise in between.
    """
    grid = _directions(tuple(lens), size)
    w, h = size
    plane = np.linalg.inv(np.column_stack([R[:, :2], t]))  # board from direction, homogeneous
    total = np.zeros((h, w))
    for row in range(samples):
        for column in range(samples):
            # a place by chance in each sub-square: evenly spaced ones shift an edge that runs along the rows as a whole
            v = ((row + rng.random((h, w))) / samples)[:, :, None]
            u = ((column + rng.random((h, w))) / samples)[:, :, None]
            above = (1 - u) * grid[:-1, :-1] + u * grid[:-1, 1:]
            below = (1 - u) * grid[1:, :-1] + u * grid[1:, 1:]
            d = (1 - v) * above + v * below
            at = np.column_stack([d.reshape(-1, 2), np.ones(w * h)]) @ plane.T
            total += _reflectance(board, at[:, :2] / at[:, 2:]).reshape(h, w)
    linear = gaussian_filter(total / samples**2, blur)
    encoded = 255 * np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 0) ** (1 / 2.4) - 0.055)
    return np.clip(np.rint(encoded + rng.normal(0.0, noise, (h, w))), 0, 255).astype(np.uint8)


def shoot(folder: Path, board: Board, count: int, rng: np.random.Generator) -> list[Path]:
    """Write so many small pictures of the board, IMG_0000.png and on: a good set, by a camera with LENS_TRUE."""
    R, t = poses(board, LENS_TRUE, SIZE, count, rng)
    paths = [folder / f"IMG_{i:04}.png" for i in range(count)]
    for i, path in enumerate(paths):
        ok, data = cv2.imencode(".png", rendered(board, LENS_TRUE, R[i], t[i], rng=rng, samples=2))
        assert ok
        path.write_bytes(data.tobytes())
    return paths
