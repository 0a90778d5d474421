"""One set of points laid over another by a turn and a shift."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def rigid_fit(source: Array, target: Array, *, mirror: bool = False) -> tuple[Array, Array]:
    """Rotation R (..., d, d) and shift t (..., d) with target ~ R source + t, least squares; sets are (..., k, d).

    Source: Umeyama, "Least-squares estimation of transformation parameters between two point patterns",
    IEEE PAMI 13 (1991) 376-380, eq. 34-42 without scale. With mirror the determinant may be -1.
    """
    a, b = source.mean(axis=-2), target.mean(axis=-2)
    U, _, Vt = np.linalg.svd(np.swapaxes(target - b[..., None, :], -1, -2) @ (source - a[..., None, :]))
    if not mirror:
        U[..., :, -1] *= np.where(np.linalg.det(U @ Vt) < 0, -1.0, 1.0)[..., None]
    R = U @ Vt
    return np.asarray(R), np.asarray(b - (R @ a[..., None])[..., 0])
