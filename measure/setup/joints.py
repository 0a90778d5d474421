"""Universal joints in a row: angle of each, and the speed ripple that is left, exactly, for any planes and phases.

A cross joint carries the direction of its driving yoke's arm e, square to the driving shaft a, to that of its driven
yoke's arm, square to the driven shaft b: along b x e, as the cross's two arms stand at right angles. That is linear in
e. In two axes across each shaft a joint is so a 2 by 2 matrix, and shafts with their yokes' phase are turns between
them; of the product M of all, an arm direction e is driven on with the speed ratio det(M)/|M e|^2. Its greatest value
is s1/s2 and its least s2/s1, with s1 >= s2 the singular values of M. One joint at the angle beta has 1 and cos(beta):
greatest 1/cos(beta), least cos(beta), the textbook's figures; two in one plane with yokes in line have the ratio of
their cosines, 1 where the angles are alike.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from measure.readings.unknowns import Array


def across(shaft: Array) -> Array:
    """Two unit axes (..., 2, 3) square to shaft directions (..., 3) that do not stand upright: leftward, then upward.

    Seen from the front, where x comes to the eye, the turn from the first to the second is clockwise for a shaft that
    points to the rear, and anticlockwise for one that points forward.
    """
    left = np.stack([-shaft[..., 1], shaft[..., 0], np.zeros_like(shaft[..., 0])], axis=-1)
    left = left / np.linalg.norm(left, axis=-1, keepdims=True)
    return np.asarray(np.stack([left, np.cross(shaft, left)], axis=-2))


def chain(shafts: Array, phases_deg: Sequence[float]) -> Array:
    """(..., 2, 2) arm direction at the first driving yoke to that at the last driven yoke.

    shafts (..., n, 3): unit directions of n >= 2 shafts in a row, all pointing forward. phases_deg (n - 2): how far the
    far yoke of each inner shaft is turned from its near yoke, + anticlockwise seen from the front.
    """
    n = shafts.shape[-2]
    if len(phases_deg) != n - 2:
        raise ValueError(f"{n} shafts have {n - 2} inner ones, not {len(phases_deg)}")
    M = np.broadcast_to(np.eye(2), (*shafts.shape[:-2], 2, 2))
    for k in range(n - 1):
        a, b = shafts[..., k, :], shafts[..., k + 1, :]
        carried = np.cross(b[..., None, :], across(a))  # of each axis across a
        joint = across(b) @ np.swapaxes(carried, -1, -2)
        M = joint @ M
        if k < n - 2:
            c, s = np.cos(np.radians(phases_deg[k])), np.sin(np.radians(phases_deg[k]))
            M = np.array([[c, -s], [s, c]]) @ M
    return np.asarray(M)


def ripple_vector(M: Array) -> Array:
    """(..., 2): a smooth vector whose length is ln(greatest/mean) = -ln(least/mean) speed; nought where all cancels.

    With S = M'M/det M, symmetric and of determinant 1: S = exp([[p, q], [q, -p]]), and (p, q) is the vector.
    """
    S = np.swapaxes(M, -1, -2) @ M / np.linalg.det(M)[..., None, None]
    p, q = (S[..., 0, 0] - S[..., 1, 1]) / 2, (S[..., 0, 1] + S[..., 1, 0]) / 2
    size = np.hypot(p, q)  # sinh of the length wanted
    stretch = np.where(size > 1e-9, np.arcsinh(size) / np.where(size > 1e-9, size, 1.0), 1.0)
    return np.stack([p * stretch, q * stretch], axis=-1)


def fluctuation(log_ratio: float) -> float:
    """(greatest - least)/mean speed from ln(greatest/mean): 2 sinh; tan(beta) sin(beta) for one joint."""
    return float(2 * np.sinh(log_ratio))


def equivalent_angle(log_ratio: float) -> float:
    """Degrees of the single joint that would leave the same ripple: arccos of least/mean."""
    return float(np.degrees(np.arccos(np.exp(-abs(log_ratio)))))


def bend(a: Array, b: Array) -> Array:
    """(..., 2) degrees: working angle of a joint between unit directions a and b (..., 3) as a vector (side, plan).

    Its length is the angle itself, plan and side together. Side: + the rear shaft drops more to the rear; plan: + its
    rear end lies more to the left. Both for shafts that run roughly along the car.
    """
    turn = np.cross(a, b)
    sine = np.linalg.norm(turn, axis=-1)
    angle = np.arctan2(sine, np.sum(a * b, axis=-1))
    stretch = np.where(sine > 1e-12, angle / np.where(sine > 1e-12, sine, 1.0), 1.0)
    # in axes across the bisecting direction the turn has no part along the shafts
    axes = across((a + b) / np.linalg.norm(a + b, axis=-1, keepdims=True))
    side = np.sum(turn * axes[..., 0, :], axis=-1)
    plan = np.sum(turn * axes[..., 1, :], axis=-1)
    return np.asarray(np.degrees(np.stack([-side * stretch, -plan * stretch], axis=-1)))
