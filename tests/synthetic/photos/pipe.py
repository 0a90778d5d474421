"""A round bar drawn into a picture, before what is farther away and behind what is nearer."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from tests.synthetic.photos.camera import Shot
from tests.synthetic.photos.scene import Pipe

Array = NDArray[np.float64]
Image = NDArray[np.float32]
NEAR = 100.0
"""mm before the camera at which a pipe is cut off."""
TILE = 192
STEEL = (-3.0, 4.0)
"""Blue and red chroma about 0."""


def draw_pipe(pipe: Pipe, shot: Shot, light: Image, depth: Image, shrink: int, chroma: Image | None = None) -> None:
    """Draw the pipe into `light` where it is nearer than `depth`, and enter its own depth; both (h, w).

    The picture is `shrink` times smaller than the sensor. The outline is soft over one pixel; the lens's distortion
    is left out: a pipe is no target.
    """
    ends = _before_the_camera(*shot.in_camera(np.array([pipe.a, pipe.b])))
    if ends is None:
        return
    a, b = ends
    focal, aspect, cx, cy = shot.camera.lens[:4]
    f = np.array([focal, focal * (1 + aspect)])
    up = shot.R[:, 2].astype(np.float32)  # the car's z in the camera
    for rows, columns in _tiles(a, b, pipe.radius, f / shrink, np.array([cx, cy]) / shrink, light.shape):
        u = (((np.arange(columns.start, columns.stop) + 0.5) * shrink - 0.5 - cx) / f[0]).astype(np.float32)[None, :]
        v = (((np.arange(rows.start, rows.stop) + 0.5) * shrink - 0.5 - cy) / f[1]).astype(np.float32)[:, None]
        s, gap = _nearest(a.astype(np.float32), (b - a).astype(np.float32), u, v)
        share = np.sqrt(gap[0] ** 2 + gap[1] ** 2 + gap[2] ** 2) / np.float32(pipe.radius)
        alpha = np.clip(0.5 + (1.0 - share) * (pipe.radius * focal / shrink) / s, 0.0, 1.0)
        alpha = alpha * (s < depth[rows, columns])
        lit = -(gap[0] * up[0] + gap[1] * up[1] + gap[2] * up[2]) / np.float32(pipe.radius)
        shade = np.sqrt(1.0 - 0.85 * np.minimum(share, 1.0) ** 2) - 0.3 * lit
        glow = np.float32(pipe.albedo) * np.maximum(shade, 0.1) * (0.5 + 1.2 / (1.0 + (s / 2500.0) ** 2))
        light[rows, columns] += alpha * (glow - light[rows, columns])
        depth[rows, columns] = np.where(alpha > 0.5, s, depth[rows, columns])
        if chroma is not None:
            chroma[rows, columns] += alpha[..., None] * (np.array(STEEL, dtype=np.float32) - chroma[rows, columns])


def _before_the_camera(a: Array, b: Array) -> tuple[Array, Array] | None:
    """The part of the axis that lies before the camera."""
    if max(a[2], b[2]) < NEAR:
        return None
    if min(a[2], b[2]) < NEAR:
        cut = a + (NEAR - a[2]) / (b[2] - a[2]) * (b - a)
        return (cut, b) if a[2] < NEAR else (a, cut)
    return a, b


def _tiles(
    a: Array, b: Array, radius: float, f: Array, c: Array, shape: tuple[int, ...]
) -> Iterator[tuple[slice, slice]]:
    """Pieces of the picture that the pipe may touch."""
    ends = np.array([a[:2] / a[2] * f + c, b[:2] / b[2] * f + c])
    wide = 1.3 * radius * float(f.max()) / min(a[2], b[2]) + 3.0
    along = ends[1] - ends[0]
    low, high = ends.min(axis=0) - wide, ends.max(axis=0) + wide
    for top in range(0, shape[0], TILE):
        for left in range(0, shape[1], TILE):
            middle = np.array([left, top]) + TILE / 2
            if np.any(middle < low - TILE / 2) or np.any(middle > high + TILE / 2):
                continue
            q = np.clip(float((middle - ends[0]) @ along) / max(float(along @ along), 1e-9), 0.0, 1.0)
            if float(np.linalg.norm(ends[0] + q * along - middle)) < wide + 0.71 * TILE:
                yield slice(top, min(top + TILE, shape[0])), slice(left, min(left + TILE, shape[1]))


def _nearest(a: Image, axis: Image, u: Image, v: Image) -> tuple[Image, list[Image]]:
    """Where rays (u, v, 1) pass nearest to the axis a + q axis, 0 <= q <= 1: depth, and the gap from there to it."""
    dd = u * u + v * v + np.float32(1.0)
    ad = a[0] * u + a[1] * v + a[2]
    xd = axis[0] * u + axis[1] * v + axis[2]
    aa, ax = axis @ axis, a @ axis
    q = np.clip((xd * ad - ax * dd) / np.maximum(aa * dd - xd * xd, np.float32(1e-3)), 0.0, 1.0)
    s = (ad + q * xd) / dd
    return s, [a[0] + q * axis[0] - s * u, a[1] + q * axis[1] - s * v, a[2] + q * axis[2] - s]
