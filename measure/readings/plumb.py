"""The plumb bob: a mark on the floor lies under its point but for the error of the drop.

No table of its own: every mark that a tape or the base line uses is a drop. Rows: point.xy - mark.xy = 0.
"""

from __future__ import annotations

import numpy as np

from measure.readings.kind import Site, point_of
from measure.readings.reading import Block, Linearised, Reading, Row
from measure.readings.unknowns import State


def blocks(site: Site) -> list[Block]:
    """Two rows a mark, sd `plumb` each."""
    u = site.unknowns
    if not u.marks:
        return []
    under = np.array([u.point_idx[point_of(mark)] for mark in u.marks])
    drops = [Reading("plumb", "", (mark,), (0.0, 0.0), site.job.sd.plumb) for mark in u.marks]
    rows = [Row(drop, axis, 0.0) for drop in drops for axis in ("along", "across")]
    columns = np.stack([u.point_columns[under][:, :2], u.mark_columns], axis=2).reshape(-1, 2)
    signs = np.tile([1.0, -1.0], (len(rows), 1))

    def linearise(state: State) -> Linearised:
        return (state.positions[under, :2] - state.marks).ravel(), signs, columns

    return [Block(rows, np.zeros(len(rows)), np.full(len(rows), site.job.sd.plumb), linearise)]
