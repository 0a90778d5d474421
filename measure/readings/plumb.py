"""The plumb bob: a mark on the floor lies under its point but for the error of the drop.

No table of its own: every mark that a tape or the base line uses is a drop. Rows: point.xy - mark.xy = 0.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from measure.readings.kind import Site, point_of
from measure.readings.reading import Block, Linearised, Reading, Row
from measure.readings.unknowns import NOWHERE, Index, State

NO_GAP = 1e-9
"""mm; a drop that nothing else checks lies exactly under its point."""


def blocks(readings: Sequence[Reading], site: Site, *, heading_is_free: bool) -> list[Block]:
    """Two rows a mark, sd `plumb` each.

    `heading_is_free`: no reading says which way the network points. The gap of a drop then turns with the longest
    tape from its mark; counted in fixed axes it would seem to hold the heading, by its own length. A turn of that
    tape, and not of the network as a whole: the parts of a network that is in pieces turn each by itself.
    """
    u = site.unknowns
    if not u.marks:
        return []
    under = np.array([u.point_idx[point_of(mark)] for mark in u.marks])
    drops = [Reading("plumb", "", (mark,), (0.0, 0.0), site.job.sd.plumb) for mark in u.marks]
    rows = [Row(drop, axis, 0.0) for drop in drops for axis in ("along", "across")]
    columns = np.stack([u.point_columns[under][:, :2], u.mark_columns], axis=2).reshape(-1, 2)
    signs = np.tile([1.0, -1.0], (len(rows), 1))
    far_end = _far_ends(readings, site) if heading_is_free else np.full(len(u.marks), NOWHERE)
    leads = far_end != NOWHERE

    def linearise(state: State) -> Linearised:
        gap = state.positions[under, :2] - state.marks
        if not leads.any() or np.max(np.abs(gap)) < NO_GAP:
            return gap.ravel(), signs, columns
        leg = state.marks[far_end] - state.marks
        share = np.column_stack([-leg[:, 1], leg[:, 0]]) / np.maximum(np.sum(leg**2, axis=1), 1.0)[:, None]
        by = np.where(leads[:, None], np.hstack([u.mark_columns[far_end], u.mark_columns]), NOWHERE)
        across = np.column_stack([-gap[:, 1], gap[:, 0]]).ravel()
        turning = -across[:, None] * np.repeat(np.hstack([share, -share]), 2, axis=0)
        return gap.ravel(), np.hstack([signs, turning]), np.hstack([columns, np.repeat(by, 2, axis=0)])

    return [Block(rows, np.zeros(len(rows)), np.full(len(rows), site.job.sd.plumb), linearise)]


def _far_ends(readings: Sequence[Reading], site: Site) -> Index:
    """For each mark (marks,) the mark at the other end of its longest tape; NOWHERE without a tape to another point."""
    u = site.unknowns
    far_end = np.full(len(u.marks), NOWHERE)
    longest = np.zeros(len(u.marks))
    for reading in readings:
        if reading.kind != "floor" or point_of(reading.names[0]) == point_of(reading.names[1]):
            continue
        a, b = (u.mark_idx[name] for name in reading.names)
        for here, there in ((a, b), (b, a)):
            if reading.values[0] > longest[here]:
                longest[here], far_end[here] = reading.values[0], there
    return far_end
