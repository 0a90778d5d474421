"""Where a printed square stands in front of one camera: its centre for certain, its tilt two ways.

A small square looks almost alike tilted towards the camera or away from it, but its centre and its distance do not
depend on which: seen along the ray of its centre, its longest direction is not foreshortened. Closed form after
Collins and Bartoli, "Infinitesimal plane-based pose estimation", 2014 (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from measure.photo.homography import through_corners

Array = NDArray[np.float64]

CORNERS = np.array([[-1.0, 1.0], [1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]])
"""Corners in units of half a side, clockwise from the printed top left; sheet axes: x right, y up, z outward."""


def poses(corner_rays: Array, half: Array) -> tuple[Array, Array, Array]:
    """Centres (m, 3) in the camera, two turns (m, 2, 3, 3) camera_from_sheet, their misfits (m, 2).

    `corner_rays` (m, 4, 2) are X/Z, Y/Z of the corners; `half` (m,) half a side in mm. The better turn comes first;
    misfits are rms over the corners, in units of X/Z. A turn that shows the sheet's back is left as it is.
    """
    H = through_corners(CORNERS, corner_rays)
    centre_ray = H[:, :2, 2] / H[:, 2:, 2]
    turn = _to_axis(centre_ray)  # (m, 3, 3): axis_from_camera
    G = turn @ H
    G = G / G[:, 2, 2][:, None, None]
    J = G[:, :2, :2]  # derivative of the image by the sheet at its centre; the centre's own image is (0, 0)
    _, size, Vt = np.linalg.svd(J)
    stretch = size[:, 0]
    R = np.zeros((len(J), 2, 3, 3))
    R22 = J / stretch[:, None, None]
    lost = np.eye(2) - np.swapaxes(R22, 1, 2) @ R22  # outer product of the third row with itself
    third = Vt[:, 1] * np.sqrt(np.maximum(np.einsum("mi,mij,mj->m", Vt[:, 1], lost, Vt[:, 1]), 0.0))[:, None]
    for k, sign in enumerate((1.0, -1.0)):
        first_two = np.concatenate([R22, sign * third[:, None, :]], axis=1)  # (m, 3, 2)
        R[:, k, :, :2] = first_two
        R[:, k, :, 2] = np.cross(first_two[:, :, 0], first_two[:, :, 1])
    R = np.swapaxes(turn, 1, 2)[:, None] @ R
    distance = half / stretch
    ray = np.column_stack([centre_ray, np.ones(len(centre_ray))])
    centres = ray / np.linalg.norm(ray, axis=1)[:, None] * distance[:, None]
    flat = np.column_stack([CORNERS, np.zeros(4)])
    seen = np.einsum("mkij,cj->mkci", R, flat) * half[:, None, None, None] + centres[:, None, None, :]
    gap = seen[..., :2] / seen[..., 2:] - corner_rays[:, None]
    misfit = np.sqrt(np.mean(np.sum(gap**2, axis=3), axis=2))
    order = np.argsort(misfit, axis=1, kind="stable")
    rows = np.arange(len(R))[:, None]
    return centres, R[rows, order], misfit[rows, order]


def _to_axis(centre_ray: Array) -> Array:
    """Rotations (m, 3, 3) that bring each ray (m, 2) onto the z axis by the shortest way."""
    p, q = centre_ray.T
    n = np.sqrt(1 + p * p + q * q)
    c = 1 / n
    # Rodrigues about (q, -p, 0): rotates (p, q, 1)/n to (0, 0, 1)
    s2 = np.maximum(p * p + q * q, 1e-300)
    a = (1 - c) / s2
    R = np.empty((len(p), 3, 3))
    R[:, 0, 0], R[:, 0, 1], R[:, 0, 2] = 1 - a * p * p, -a * p * q, -p / n
    R[:, 1, 0], R[:, 1, 1], R[:, 1, 2] = -a * p * q, 1 - a * q * q, -q / n
    R[:, 2, 0], R[:, 2, 1], R[:, 2, 2] = p / n, q / n, c
    return R
