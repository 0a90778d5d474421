"""Level readings between two points: how much higher `to` stands than `from` (spirit or water level)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from measure.readings.kind import Kind, Sheet, Site, either, line_by_line
from measure.readings.reading import Block, Linearised, Reading, Row
from measure.readings.unknowns import State
from measure.tables import Column
from measure.tables import Row as TableRow

COLUMNS = (
    Column("from", "name", required=True),
    Column("to", "name", required=True),
    Column("rise", "length", required=True),
    Column("sd", "length", minimum=0.0),
    Column("note", "text"),
)


def read(row: TableRow, sheet: Sheet) -> Reading | None:
    """One rise."""
    start, end = sheet.point(row, "from"), sheet.point(row, "to")
    if start is None or end is None:
        return None
    if start == end:
        sheet.complain(row, "to", end, "a level lies between two different points")
        return None
    sd = either(row.figure("sd"), sheet.job.sd.levels)
    return Reading("levels", row.source, (start, end), (row.required("rise"),), sd, "", row.raw.get("rise", ""))


def blocks(readings: Sequence[Reading], site: Site) -> list[Block]:
    """One row a rise: z of `to` minus z of `from`."""
    if not readings:
        return []
    u = site.unknowns
    ends = np.array([[u.point_idx[n] for n in r.names] for r in readings])
    columns = u.point_columns[:, 2][ends]
    signs = np.tile([-1.0, 1.0], (len(readings), 1))

    def linearise(state: State) -> Linearised:
        heights = state.positions[:, 2][ends]
        return heights[:, 1] - heights[:, 0], signs, columns

    observed = np.array([r.values[0] for r in readings])
    sd = np.array([r.sd for r in readings])
    return [Block([Row(r, "", r.values[0]) for r in readings], observed, sd, linearise)]


KIND = Kind("levels", COLUMNS, line_by_line(read), blocks, ("levels",), fill_in="rise")
