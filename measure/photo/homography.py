"""The homography that four corners give, exact through them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def through_corners(sheet: Array, seen: Array) -> Array:
    """Homographies (m, 3, 3) from four corners of a sheet (4, 2) to where each is seen (m, 4, 2)."""
    m = len(seen)
    x, y = sheet.T
    u, v = seen[..., 0], seen[..., 1]
    A = np.zeros((m, 8, 8))
    A[:, :4, 0], A[:, :4, 1], A[:, :4, 2] = x, y, 1.0
    A[:, 4:, 3], A[:, 4:, 4], A[:, 4:, 5] = x, y, 1.0
    A[:, :4, 6], A[:, :4, 7] = -u * x, -u * y
    A[:, 4:, 6], A[:, 4:, 7] = -v * x, -v * y
    # a whisker on the diagonal: an outline folded flat gives a homography of no use instead of an error
    h = np.linalg.solve(A + 1e-12 * np.eye(8), np.concatenate([u, v], axis=1)[:, :, None])[:, :, 0]
    return np.column_stack([h, np.ones(m)]).reshape(m, 3, 3)
