"""Target images adjusted as a user of general libraries would: their projection, their least squares, their inverse.

Unknowns in order: points (n, 3), of each picture the rotation vector and shift that bring the network into the camera
(p, 6), and fx, fy, cx, cy, k1, k2, p1, p2, k3. Free network: nothing is held.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Bar = tuple[int, int, float, float]
"""Two points, length and sd, mm."""

FIRST_SD = 0.1
"""px, weight of the images to begin with; then by their own scatter."""


@dataclass(frozen=True)
class Images:
    """Image k shows point `point[k]` in picture `picture[k]` at `pixels[k]` (m, 2); pictures in order."""

    picture: Index
    point: Index
    pixels: Array


@dataclass(frozen=True)
class Solution:
    """`points` (n, 3); `jacobian` of the whitened rows at the solution; what the images scattered by, px."""

    points: Array
    jacobian: Array
    image_sd: float
    evaluations: int

    def covariance(self) -> Array:
        """(3n, 3n) of the points: pseudo-inverse of the normal matrix, columns brought to one size first."""
        size = np.linalg.norm(self.jacobian, axis=0)
        scaled = self.jacobian / size
        inverse = np.linalg.pinv(scaled.T @ scaled, rcond=1e-11, hermitian=True)
        n = self.points.size
        return np.asarray(inverse[:n, :n] / np.outer(size[:n], size[:n]))


@dataclass(frozen=True)
class _Rows:
    """Residuals of the images, then of the bars, whitened."""

    images: Images
    bars: Sequence[Bar]
    points: int
    pictures: int
    image_sd: float

    def project(self, x: Array) -> tuple[Array, Array]:
        """Residuals (2m + b,) and their derivatives (2m + b, unknowns)."""
        n, m = 3 * self.points, len(self.images.picture)
        at, fx, fy, cx, cy = x[:n].reshape(-1, 3), *x[-9:-5]
        K, residual = np.array([(fx, 0.0, cx), (0.0, fy, cy), (0.0, 0.0, 1.0)]), np.empty(2 * m + len(self.bars))
        J = np.zeros((len(residual), len(x)))
        for i in range(self.pictures):
            mine = np.flatnonzero(self.images.picture == i)
            rows = (2 * mine[:, None] + np.arange(2)).ravel()
            pose = n + 6 * i
            turn, shift = x[pose : pose + 3], x[pose + 3 : pose + 6]
            pixels, by = cv2.projectPoints(at[self.images.point[mine]], turn, shift, K, x[-5:])
            residual[rows] = (pixels.reshape(-1, 2) - self.images.pixels[mine]).ravel()
            J[rows, pose : pose + 6], J[rows, -9:] = by[:, :6], by[:, 6:15]
            by_point = by[:, 3:6] @ cv2.Rodrigues(turn)[0]  # a point moves what a shift of the camera's view moves
            for axis in range(3):
                J[rows, np.repeat(3 * self.images.point[mine] + axis, 2)] = by_point[:, axis]
        residual[: 2 * m] /= self.image_sd
        J[: 2 * m] /= self.image_sd
        for row, (a, b, length, sd) in enumerate(self.bars, start=2 * m):
            leg = at[b] - at[a]
            now = float(np.linalg.norm(leg))
            residual[row] = (now - length) / sd
            J[row, 3 * b : 3 * b + 3], J[row, 3 * a : 3 * a + 3] = leg / now / sd, -leg / now / sd
        return residual, J

    def fit(self, x: Array, loss: str) -> Any:
        """Trust region, as the library has it."""
        return least_squares(
            lambda x: self.project(x)[0], x, lambda x: self.project(x)[1], method="trf", x_scale="jac", loss=loss
        )


def solved(images: Images, bars: Sequence[Bar], points: Array, cameras: Array, lens: Array, loss: str) -> Solution:
    """Solve twice: what the images scatter by in a first solution weighs them in the second, under the loss wanted.

    `points` (n, 3) and `cameras` camera_from_network (p, 4, 4) to start from, sized by the bars here; `lens` (9,) as in
    `measure.photo.lens`. `loss` is "linear" or "soft_l1".
    """
    size = np.median([length / np.linalg.norm(points[b] - points[a]) for a, b, length, _ in bars]) if bars else 1.0
    turns = np.array([cv2.Rodrigues(camera[:3, :3])[0].ravel() for camera in cameras])
    poses = np.hstack([turns, size * cameras[:, :3, 3]])
    focal, aspect, *others = lens
    x = np.concatenate([(size * points).ravel(), poses.ravel(), [focal, focal * (1 + aspect), *others]])
    rows = _Rows(images, bars, len(points), len(cameras), FIRST_SD)
    first = rows.fit(x, "linear")
    left = first.fun[: images.pixels.size] * FIRST_SD
    freedom = len(first.fun) - (len(x) - 6)
    square = np.mean(left**2) if loss == "linear" else (1.4826 * np.median(np.abs(left))) ** 2
    scatter = float(np.sqrt(square * len(first.fun) / max(freedom, 1)))
    rows = _Rows(images, bars, len(points), len(cameras), scatter)
    last = rows.fit(first.x, loss)
    return Solution(last.x[: points.size].reshape(-1, 3), last.jac, scatter, int(first.nfev + last.nfev))
