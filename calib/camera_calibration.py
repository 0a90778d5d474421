"""A camera's lens from pictures of a flat board: least squares with the full covariance of the nine parameters.

The unknowns are the lens and one pose for each picture; the poses are eliminated picture by picture, so that what
remains is a 9 x 9 system whose inverse is the marginal covariance of the lens (nothing is held fixed for it). The
answer is the undamped one.

In the uncertainty: the scatter of the corners as it turned out (a posteriori). Not in it: a board that is not flat or
whose squares are not alike, a focus that changes from picture to picture, the shutter that reads line by line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from measure.photo.lens import LENS, project_with_derivatives
from measure.rotation import rotation_matrices

Array = NDArray[np.float64]

MOST_STEPS = 300
"""A handful will do for good pictures; one that does not fit makes the steps shrink slowly."""
SETTLED = 1e-7
"""Largest step over its own sd at which the solution stands; the sd is that of corners of at least LEAST_SIGMA."""
LEAST_SIGMA = 1e-3
"""Pixels; corners free of error would else never be met to their own last digit."""
NOTHING_LEFT = 1e-9
"""A share so small that rounding alone may have left it."""
BETTER_PICTURES = (
    "tilt the board 20 to 45 degrees in all directions, turn the camera for a third of the pictures, fill the frame"
)


class CalibrationError(Exception):
    """The pictures do not hold a lens; str() says what would do."""


@dataclass(frozen=True)
class View:
    """Corners of the board in one picture: `on_board` (n, 2) in mm, `pixels` (n, 2)."""

    name: str
    on_board: Array
    pixels: Array


@dataclass(frozen=True)
class Calibration:
    """What the pictures say about the lens.

    `lens` (9,) in the order of LENS; `covariance` (9, 9) marginal, a posteriori; `R` (k, 3, 3), `t` (k, 3) in mm:
    X_camera = R X_board + t; `residuals` for each picture (n, 2), seen minus computed, pixels; `sigma0` the sd of one
    pixel coordinate.
    """

    lens: Array
    covariance: Array
    R: Array
    t: Array
    residuals: tuple[Array, ...]
    sigma0: float
    degrees_of_freedom: int

    @property
    def sd(self) -> Array:
        """Standard deviations (9,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def rms(self) -> Array:
        """Root mean square residual of a corner (both coordinates together) in each picture (k,), pixels."""
        return np.array([np.sqrt(np.mean(np.sum(v * v, axis=1))) for v in self.residuals])


def calibrate(views: Sequence[View], start: tuple[Array, Array, Array]) -> Calibration:
    """Adjust lens and poses to the corners; `start` is lens (9,), R (k, 3, 3), t (k, 3).

    Gauss-Newton; a step that raises the sum of squares is halved. Raises CalibrationError where the pictures hold no
    lens or the steps do not settle.
    """
    lens, R, t = (np.array(each, dtype=float) for each in start)
    count = 2 * sum(len(view.pixels) for view in views)
    freedom = count - len(LENS) - 6 * len(views)
    if freedom <= 0:
        raise CalibrationError("there are fewer corners than unknowns: take more pictures of the whole board")
    square = _square(views, lens, R, t)
    for _ in range(MOST_STEPS):
        lens_step, pose_steps, N = _step(views, lens, R, t)
        sigma0 = np.sqrt(square / freedom)
        share = 1.0
        while True:
            tried = (lens + share * lens_step, *_moved(R, t, share * pose_steps))
            now = _square(views, *tried)
            if now <= square * (1 + 1e-12) or share < 1e-4:
                break
            share /= 2
        lens, R, t = tried
        square = now
        sd = np.sqrt(np.diag(np.linalg.inv(N))) * max(sigma0, LEAST_SIGMA)
        if np.max(np.abs(lens_step) / sd) < SETTLED:
            break
    else:
        raise CalibrationError(f"the lens does not settle: {BETTER_PICTURES}")
    _, _, N = _step(views, lens, R, t)
    residuals = tuple(_residual(view, lens, R[i], t[i]) for i, view in enumerate(views))
    sigma0 = float(np.sqrt(square / freedom))
    return Calibration(lens, np.asarray(np.linalg.inv(N) * sigma0**2), R, t, residuals, sigma0, freedom)


def _step(views: Sequence[View], lens: Array, R: Array, t: Array) -> tuple[Array, Array, Array]:
    """Steps of the lens (9,) and of the poses (k, 6: turn, shift), and the reduced normal matrix (9, 9)."""
    N, right, raw = np.zeros((9, 9)), np.zeros(9), np.zeros(9)
    kept = []
    for i, view in enumerate(views):
        A, B, v = _rows(view, lens, R[i], t[i])
        Q, triangle = np.linalg.qr(B)
        size = np.abs(np.diag(triangle))
        if np.min(size) < NOTHING_LEFT * np.max(size):
            raise CalibrationError(f"{view.name}: its corners do not hold the board's place; leave it out")
        QA, Qv = Q.T @ A, Q.T @ v
        left = A - Q @ QA  # what no pose can take up
        N += left.T @ left
        right += left.T @ v
        raw += np.sum(A * A, axis=0)
        kept.append((triangle, QA, Qv))
    unit = np.sqrt(np.diag(N))
    scaled = N / np.outer(unit, unit) if np.all(unit > NOTHING_LEFT * np.sqrt(raw)) else np.zeros((9, 9))
    if np.min(np.linalg.eigvalsh(scaled)) < NOTHING_LEFT:
        raise CalibrationError(f"they do not tell the focal length from the distance: {BETTER_PICTURES}")
    lens_step = np.linalg.solve(scaled, right / unit) / unit
    poses = np.array([np.linalg.solve(triangle, Qv - QA @ lens_step) for triangle, QA, Qv in kept])
    return lens_step, poses, N


def _rows(view: View, lens: Array, R: Array, t: Array) -> tuple[Array, Array, Array]:
    """Derivatives by the lens (2n, 9) and by the pose (2n, 6), and seen minus computed (2n,).

    A pose is turned about the camera's own axes, R -> exp(w) R, and shifted by d: dX = w x (R X_board) + d.
    """
    turned = view.on_board @ R[:, :2].T
    pixels, by_point, by_lens = project_with_derivatives(lens, turned + t)
    by_turn = np.cross(turned[:, None, :], by_point)  # by_point (w x a) = w (a x by_point)
    B = np.concatenate([by_turn, by_point], axis=2)
    return by_lens.reshape(-1, 9), B.reshape(-1, 6), (view.pixels - pixels).ravel()


def _residual(view: View, lens: Array, R: Array, t: Array) -> Array:
    in_camera = view.on_board @ R[:, :2].T + t
    return view.pixels - project_with_derivatives(lens, in_camera)[0]


def _square(views: Sequence[View], lens: Array, R: Array, t: Array) -> float:
    """Sum of squares; infinite where a corner comes to lie behind the camera."""
    total = 0.0
    for i, view in enumerate(views):
        if np.min(view.on_board @ R[i, 2, :2] + t[i, 2]) <= 0:
            return float(np.inf)
        total += float(np.sum(_residual(view, lens, R[i], t[i]) ** 2))
    return total


def _moved(R: Array, t: Array, steps: Array) -> tuple[Array, Array]:
    """Poses after steps (k, 6)."""
    return rotation_matrices(steps[:, :3]) @ R, t + steps[:, 3:]


def focal_of_each(views: Sequence[View], found: Calibration) -> tuple[Array, Array]:
    """By how much of the focal length each picture alone would have it longer (k,), and the sd of that (k,).

    Its pose goes along, the rest of the lens stays: what a zoom or a focus between two pictures changes.
    """
    longer, sd = [], []
    for i, view in enumerate(views):
        A, B, v = _rows(view, found.lens, found.R[i], found.t[i])
        Q = np.linalg.qr(B)[0]
        left = A[:, 0] - Q @ (Q.T @ A[:, 0])
        longer.append(left @ v / (left @ left))
        sd.append(found.sigma0 / np.linalg.norm(left))
    return np.array(longer) / found.lens[0], np.array(sd) / found.lens[0]
