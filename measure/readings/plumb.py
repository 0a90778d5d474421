"""The plumb bob: a mark on the floor lies under its point but for the error of the drop.

No table of its own: every mark that a tape or the base line uses is a drop. Rows: point.xy - mark.xy = 0.
"""

from __future__ import annotations

import numpy as np

from measure.readings.kind import Site, point_of
from measure.readings.reading import Block, Linearised, Reading, Row
from measure.readings.unknowns import NOWHERE, Array, Index, State

NO_GAP = 1e-9
"""mm; a drop that nothing else checks lies exactly under its point."""


def blocks(site: Site, *, heading_is_free: bool) -> list[Block]:
    """Two rows a mark, sd `plumb` each.

    `heading_is_free`: no reading says which way the network points. The gap of a drop then turns with the network
    (`_turning`); counted in fixed axes it would seem to hold the heading, by its own length.
    """
    u = site.unknowns
    if not u.marks:
        return []
    under = np.array([u.point_idx[point_of(mark)] for mark in u.marks])
    drops = [Reading("plumb", "", (mark,), (0.0, 0.0), site.job.sd.plumb) for mark in u.marks]
    rows = [Row(drop, axis, 0.0) for drop in drops for axis in ("along", "across")]
    columns = np.stack([u.point_columns[under][:, :2], u.mark_columns], axis=2).reshape(-1, 2)
    signs = np.tile([1.0, -1.0], (len(rows), 1))

    def linearise(state: State) -> Linearised:
        gap = state.positions[under, :2] - state.marks
        if not heading_is_free or np.max(np.abs(gap)) < NO_GAP:
            return gap.ravel(), signs, columns
        across = np.column_stack([-gap[:, 1], gap[:, 0]]).ravel()
        share, by = _turning(state)
        turning = -across[:, None] * share
        turned = np.where((np.abs(across) < NO_GAP)[:, None], NOWHERE, by)
        return gap.ravel(), np.hstack([signs, turning]), np.hstack([columns, turned])

    return [Block(rows, np.zeros(len(rows)), np.full(len(rows), site.job.sd.plumb), linearise)]


def _turning(state: State) -> tuple[Array, Index]:
    """How much each plan coordinate of the points turns the network as a whole (2p,), rad per mm, and its columns.

    The turn that fits small moves d of points at c from their centre best: sum(c x d)/sum(|c|^2).
    """
    columns = state.unknowns.point_columns[:, :2]
    c = np.where(columns >= 0, state.positions[:, :2], np.nan)
    c = np.nan_to_num(c - np.nanmean(c, axis=0))
    share = np.column_stack([-c[:, 1], c[:, 0]]) / max(float(np.sum(c**2)), 1.0)
    return share.ravel(), columns.ravel()
