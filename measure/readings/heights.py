"""Heights of points above one level datum: a laser, a water level, a floor known to be flat."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from measure.readings.kind import Kind, Sheet, Site, either, line_by_line
from measure.readings.reading import Block, Linearised, Reading, Row
from measure.readings.unknowns import State
from measure.tables import Column
from measure.tables import Row as TableRow

COLUMNS = (
    Column("point", "name", required=True),
    Column("height", "length", required=True),
    Column("sd", "length", minimum=0.0),
    Column("note", "text"),
)


def read(row: TableRow, sheet: Sheet) -> Reading | None:
    """One height."""
    point = sheet.point(row, "point")
    if point is None:
        return None
    sd = either(row.figure("sd"), sheet.job.sd.heights)
    return Reading("heights", row.source, (point,), (row.required("height"),), sd, "", row.raw.get("height", ""))


def blocks(readings: Sequence[Reading], site: Site) -> list[Block]:
    """One row a height: the point's z is what was measured."""
    if not readings:
        return []
    u = site.unknowns
    where = np.array([u.point_idx[r.names[0]] for r in readings])
    columns = u.point_columns[where, 2:3]
    ones = np.ones((len(readings), 1))

    def linearise(state: State) -> Linearised:
        return state.positions[where, 2], ones, columns

    observed = np.array([r.values[0] for r in readings])
    sd = np.array([r.sd for r in readings])
    return [Block([Row(r, "", r.values[0]) for r in readings], observed, sd, linearise)]


KIND = Kind("heights", COLUMNS, line_by_line(read), blocks, ("heights",), fill_in="height")
