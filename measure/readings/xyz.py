"""Points measured in space by any instrument, in its own axes: six unknowns for each setup.

x_in_setup = R^T (x - origin), with R = network_from_setup; level or not, as the instrument stood.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from measure.readings.kind import Kind, Sheet, Site, either, line_by_line
from measure.readings.reading import Block, Linearised, Reading, Row
from measure.readings.unknowns import State
from measure.rotation import cross_matrices
from measure.tables import Column
from measure.tables import Row as TableRow

COLUMNS = (
    Column("setup", "name", required=True),
    Column("point", "name", required=True),
    Column("x", "length", required=True),
    Column("y", "length", required=True),
    Column("z", "length", required=True),
    Column("sd", "length", minimum=0.0),
    Column("note", "text"),
)


def read(row: TableRow, sheet: Sheet) -> Reading | None:
    """One point in the axes of its setup."""
    point = sheet.point(row, "point")
    if point is None:
        return None
    values = tuple(row.required(axis) for axis in "xyz")
    sd = either(row.figure("sd"), sheet.job.sd.xyz)
    typed = "\t".join(row.raw.get(axis, "") for axis in "xyz")
    return Reading("xyz", row.source, (point,), values, sd, row.text("setup"), typed)


def blocks(readings: Sequence[Reading], site: Site) -> list[Block]:
    """Three rows a point."""
    if not readings:
        return []
    u = site.unknowns
    setup_idx = {name: i for i, name in enumerate(u.setups)}
    point = np.array([u.point_idx[r.names[0]] for r in readings])
    setup = np.array([setup_idx[r.via] for r in readings])
    columns = np.repeat(np.column_stack([u.point_columns[point], u.setup_columns[setup]]), 3, axis=0)
    rows = [Row(r, axis, r.values[i]) for r in readings for i, axis in enumerate("xyz")]

    def linearise(state: State) -> Linearised:
        arm = state.positions[point] - state.origins[setup]
        setup_from_network = np.swapaxes(state.rotations[setup], 1, 2)
        computed = np.einsum("kij,kj->ki", setup_from_network, arm)
        # turning the setup by w on the left turns what it sees by -w: R^T (arm - w x arm)
        by_turn = setup_from_network @ cross_matrices(arm)
        derivatives = np.concatenate([setup_from_network, by_turn, -setup_from_network], axis=2)
        return computed.ravel(), derivatives.reshape(-1, 9), columns

    observed = np.array([r.values for r in readings]).ravel()
    return [Block(rows, observed, np.repeat([r.sd for r in readings], 3).astype(float), linearise)]


KIND = Kind("xyz", COLUMNS, line_by_line(read), blocks, ("xyz",))
