"""Which heights are held against each other: an instrument that stood unlevel tells none by itself.

Two points seen from one unlevel setup, with their plan held by tapes, may still tip: their rise changes nothing at
first order. The adjustment then gives it no variance, since it is part of the datum; it is unknown all the same.
"""

from __future__ import annotations

import numpy as np

from measure.adjust.held import MOVES, motions
from measure.adjust.network import NDArrayBool
from measure.adjust.solver import Adjustment
from measure.readings.unknowns import Index


def rises_held(adjustment: Adjustment, held: NDArrayBool, level_sets: Index) -> NDArrayBool:
    """(points,) whether a point's height is held against the others of its set; False for points without one.

    Where every held point belongs to one set, that set may turn as a whole: the car's axes turn with it.
    """
    known = level_sets >= 0
    moves = motions(adjustment)[:, :, 2]
    scale = float(np.max(np.abs(motions(adjustment)), initial=0.0))
    for label in np.unique(level_sets[held & known]):
        mine = held & (level_sets == label)
        if np.array_equal(mine, held):
            continue
        for move in moves:
            known[mine] &= np.abs(move[mine] - np.median(move[mine])) <= MOVES * scale
    return known
