"""The side of a printed target as the other targets have it, where the stated one does not fit them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from measure.photo.first_poses import AGREES, FirstPoses, View
from measure.photo.lens import rays
from measure.photo.square import poses


def side_by_the_rest(block: FirstPoses, views: Sequence[View], number: int) -> float | None:
    """mm; None where the directions in which the block's photographs see the target meet nowhere."""
    directions, centres, apart, stated = [], [], [], 1.0
    for view in views:
        if view.name not in block.rotations or number not in view.numbers:
            continue
        k = list(view.numbers).index(number)
        stated = float(view.sides[k])
        centre = poses(rays(view.lens, view.corners[k])[None], view.sides[k : k + 1] / 2)[0][0]
        apart.append(float(np.linalg.norm(centre)))
        directions.append(block.rotations[view.name] @ centre / apart[-1])
        centres.append(block.centres[view.name])
    if len(apart) < 2:
        return None
    across = np.array([np.eye(3) - np.outer(d, d) for d in directions])
    N = across.sum(axis=0)
    if np.min(np.linalg.eigvalsh(N)) < AGREES**2:  # seen from one side only
        return None
    place = np.linalg.solve(N, np.einsum("kij,kj->i", across, np.array(centres)))
    arm = place - np.array(centres)
    along = np.einsum("kj,kj->k", arm, np.array(directions))
    astray = np.linalg.norm(np.einsum("kij,kj->ki", across, arm), axis=1)
    if np.any(astray > AGREES * along):
        return None
    return stated * float(np.median(along / np.array(apart)))
