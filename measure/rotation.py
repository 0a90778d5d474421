"""Small turns in space as vectors and matrices."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def rotation_matrices(vectors: Array) -> Array:
    """Rotation matrices (k, 3, 3) of rotation vectors (k, 3) in radians (Rodrigues' formula)."""
    angle = np.linalg.norm(vectors, axis=1)[:, None, None]
    K = cross_matrices(vectors)
    small = angle < 1e-8
    safe = np.where(small, 1.0, angle)
    a = np.where(small, 1.0, np.sin(safe) / safe)
    b = np.where(small, 0.5, (1 - np.cos(safe)) / safe**2)
    return np.asarray(np.eye(3) + a * K + b * (K @ K))


def cross_matrices(vectors: Array) -> Array:
    """Matrices (k, 3, 3) with `matrix @ u == cross(vector, u)`."""
    K = np.zeros((len(vectors), 3, 3))
    x, y, z = vectors.T
    K[:, 0, 1], K[:, 0, 2], K[:, 1, 2] = -z, y, -x
    K[:, 1, 0], K[:, 2, 0], K[:, 2, 1] = z, -y, x
    return K
