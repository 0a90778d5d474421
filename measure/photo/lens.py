"""The camera model: pinhole with the usual five distortion terms, and its analytic derivatives.

Camera axes: x right, y down, z forward, in the sensor's own frame (before any EXIF rotation). Pixels: the centre of
the first pixel is (0, 0). With x = X/Z, y = Y/Z and r2 = x^2 + y^2:

    radial = 1 + k1 r2 + k2 r2^2 + k3 r2^3
    u = focal               * (x radial + 2 p1 x y + p2 (r2 + 2 x^2)) + cx
    v = focal * (1 + aspect) * (y radial + p1 (r2 + 2 y^2) + 2 p2 x y) + cy

Source: Brown 1971, "Close-range camera calibration", in the form and the names common to open libraries (k1, k2, p1,
p2, k3 with fx = focal, fy = focal (1 + aspect)).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LENS = ("focal", "aspect", "cx", "cy", "k1", "k2", "p1", "p2", "k3")
"""Order of the lens parameters (9,): focal, cx, cy in pixels, the others without unit."""


def project_with_derivatives(lens: Array, in_camera: Array) -> tuple[Array, Array, Array]:
    """Pixels (m, 2), their derivatives by the point in the camera (m, 2, 3) and by the lens (m, 2, 9)."""
    X, Y, Z = in_camera.T
    x, y = X / Z, Y / Z
    focal, aspect, cx, cy, k1, k2, p1, p2, k3 = (lens[..., i] for i in range(9))
    r2 = x * x + y * y
    r4, r6 = r2 * r2, r2 * r2 * r2
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    slope = k1 + r2 * (2 * k2 + r2 * 3 * k3)  # of radial by r2
    xd = x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)
    yd = y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y
    fy = focal * (1 + aspect)
    pixels = np.column_stack([focal * xd + cx, fy * yd + cy])
    crossed = 2 * x * y * slope + 2 * (p1 * x + p2 * y)
    xd_x = radial + 2 * x * x * slope + 2 * p1 * y + 6 * p2 * x
    yd_y = radial + 2 * y * y * slope + 6 * p1 * y + 2 * p2 * x
    by_point = np.empty((len(x), 2, 3))
    by_point[:, 0, 0], by_point[:, 0, 1] = focal * xd_x / Z, focal * crossed / Z
    by_point[:, 1, 0], by_point[:, 1, 1] = fy * crossed / Z, fy * yd_y / Z
    by_point[:, :, 2] = -(by_point[:, :, 0] * x[:, None] + by_point[:, :, 1] * y[:, None])
    by_lens = np.zeros((len(x), 2, 9))
    by_lens[:, 0, 0], by_lens[:, 1, 0] = xd, (1 + aspect) * yd
    by_lens[:, 1, 1] = focal * yd
    by_lens[:, 0, 2] = by_lens[:, 1, 3] = 1.0
    for column, (bx, by) in {
        4: (x * r2, y * r2),
        5: (x * r4, y * r4),
        6: (2 * x * y, r2 + 2 * y * y),
        7: (r2 + 2 * x * x, 2 * x * y),
        8: (x * r6, y * r6),
    }.items():
        by_lens[:, 0, column], by_lens[:, 1, column] = focal * bx, fy * by
    return pixels, by_point, by_lens


def rays(lens: Array, pixels: Array) -> Array:
    """Directions (m, 2) x = X/Z, y = Y/Z seen at pixels (m, 2); Newton steps on the distortion, `lens` (9,)."""
    focal, aspect, cx, cy = lens[:4]
    wanted = (pixels - [cx, cy]) / [focal, focal * (1 + aspect)]
    unit = np.array([1.0, 0.0, 0.0, 0.0, *lens[4:]])
    seen = wanted.copy()
    for _ in range(20):
        in_camera = np.column_stack([seen, np.ones(len(seen))])
        now, by_point, _ = project_with_derivatives(unit, in_camera)
        step = np.linalg.solve(by_point[:, :, :2], (wanted - now)[:, :, None])[:, :, 0]
        seen = seen + step
        if len(step) == 0 or np.max(np.abs(step)) < 1e-13:
            break
    return np.asarray(seen)
