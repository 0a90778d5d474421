"""The camera model alone, without derivatives: what draws invented pictures and the solver is held against."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def project(lens: Array, in_camera: Array) -> Array:
    """Pixels (m, 2) of points (m, 3) in the camera's axes; `lens` is (9,) or (m, 9). Z must be positive."""
    x, y = (in_camera[:, :2] / in_camera[:, 2:]).T
    xd, yd = _distorted(lens, x, y)
    focal, aspect, cx, cy = lens[..., 0], lens[..., 1], lens[..., 2], lens[..., 3]
    return np.column_stack([focal * xd + cx, focal * (1 + aspect) * yd + cy])


def _distorted(lens: Array, x: Array, y: Array) -> tuple[Array, Array]:
    k1, k2, p1, p2, k3 = (lens[..., i] for i in range(4, 9))
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    return x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x), y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y
