"""Plumb marks measured off a chalked base line: along it, and across it (positive to its left)."""

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
    Column("along", "length", required=True),
    Column("across", "length", required=True),
    Column("sd", "length", minimum=0.0),
    Column("note", "text"),
)


def read(row: TableRow, sheet: Sheet) -> Reading | None:
    """One mark off the base line."""
    mark = sheet.point(row, "point", mark=True)
    if mark is None:
        return None
    values = row.required("along"), row.required("across")
    sd = either(row.figure("sd"), sheet.job.sd.marks)
    typed = f"{row.raw.get('along', '')}\t{row.raw.get('across', '')}"
    return Reading("marks", row.source, (mark,), values, sd, "", typed)


def blocks(readings: Sequence[Reading], site: Site) -> list[Block]:
    """Two rows a mark: its x and y in the network are what was measured."""
    if not readings:
        return []
    u = site.unknowns
    where = np.array([u.mark_idx[r.names[0]] for r in readings])
    columns = u.mark_columns[where].reshape(-1, 1)
    ones = np.ones((len(columns), 1))
    rows = [Row(r, axis, r.values[i]) for r in readings for i, axis in enumerate(("along", "across"))]

    def linearise(state: State) -> Linearised:
        return state.marks[where].ravel(), ones, columns

    observed = np.array([r.values for r in readings]).ravel()
    return [Block(rows, observed, np.repeat([r.sd for r in readings], 2).astype(float), linearise)]


KIND = Kind("marks", COLUMNS, line_by_line(read), blocks, ("marks",))
