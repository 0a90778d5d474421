"""What the adjustment solves for, where each unknown stands, and its present value.

Frame: the network's axes (x, y horizontal and z up where any reading knows gravity), millimetres.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from measure.rotation import rotation_matrices

Array = NDArray[np.float64]
Index = NDArray[np.int64]

NOWHERE = -1
"""Column of a coordinate that no reading touches."""


@dataclass(frozen=True)
class Unknowns:
    """The column of every unknown; NOWHERE where a coordinate is not solved for.

    Points have x, y, z, each only where a reading touches it; plumb marks x, y; a tape one scale and, where
    its readings were found to share one, an offset in mm; a setup six (a turn about the network's axes in
    radians, then its origin in mm). A photograph is a setup too: its camera's axes and place. A lens has the nine
    parameters of `measure.photo.lens`; a sheet, whose point stands off it, four (its turn, then half its side in mm).
    """

    points: tuple[str, ...]
    marks: tuple[str, ...]
    tapes: tuple[str, ...]
    setups: tuple[str, ...]
    point_columns: Index  # (points, 3)
    mark_columns: Index  # (marks, 2)
    tape_columns: Index  # (tapes, 2) scale, offset
    setup_columns: Index  # (setups, 6)
    lens_columns: Index  # (lenses, 9)
    sheet_columns: Index  # (sheets, 4)
    size: int
    lenses: tuple[str, ...] = ()
    sheets: tuple[str, ...] = ()
    point_idx: dict[str, int] = field(default_factory=dict)
    mark_idx: dict[str, int] = field(default_factory=dict)

    @staticmethod
    def of(
        plan_points: Iterable[str],
        height_points: Iterable[str],
        marks: Iterable[str],
        tapes: dict[str, tuple[bool, bool]],
        setups: Iterable[str],
        lenses: Iterable[str] = (),
        sheets: Iterable[str] = (),
    ) -> Unknowns:
        """Number the unknowns; a tape says whether its scale and its offset are free.

        Order of the names given is kept, so the same input numbers alike.
        """
        plan, heights = list(dict.fromkeys(plan_points)), list(dict.fromkeys(height_points))
        points = tuple(dict.fromkeys(plan + heights))
        marks, setups, lenses, sheets = tuple(marks), tuple(setups), tuple(lenses), tuple(sheets)
        has_plan, has_height = np.isin(points, plan), np.isin(points, heights)
        wanted = [
            np.column_stack([has_plan, has_plan, has_height]).reshape(len(points), 3).astype(bool),
            np.ones((len(marks), 2), dtype=bool),
            np.array(list(tapes.values()), dtype=bool).reshape(len(tapes), 2),
            np.ones((len(setups), 6), dtype=bool),
            np.ones((len(lenses), 9), dtype=bool),
            np.ones((len(sheets), 4), dtype=bool),
        ]
        taken, columns = 0, []
        for want in wanted:
            number = (np.cumsum(want) - 1 + taken).reshape(want.shape)
            columns.append(np.where(want, number, NOWHERE).astype(np.int64))
            taken += int(want.sum())
        return Unknowns(
            points, marks, tuple(tapes), setups, columns[0], columns[1], columns[2], columns[3], columns[4], columns[5],
            taken, lenses, sheets,
            {name: i for i, name in enumerate(points)}, {name: i for i, name in enumerate(marks)},
        )  # fmt: skip


@dataclass(frozen=True)
class State:
    """Present values. `positions` holds NaN-free numbers even for coordinates nothing touches (0)."""

    unknowns: Unknowns
    positions: Array  # (points, 3) mm
    marks: Array  # (marks, 2) mm
    tapes: Array  # (tapes, 2) scale (relative) and offset (mm)
    rotations: Array  # (setups, 3, 3): network_from_setup
    origins: Array  # (setups, 3) mm, the setup's origin in the network
    lenses: Array = field(default_factory=lambda: np.zeros((0, 9)))
    sheet_rotations: Array = field(default_factory=lambda: np.zeros((0, 3, 3)))  # network_from_sheet
    sheet_halves: Array = field(default_factory=lambda: np.zeros(0))  # mm

    def moved(self, step: Array) -> State:
        """The state after a step (size,) of all unknowns; turns of setups and sheets are applied on the left."""
        u = self.unknowns
        padded = np.append(step, 0.0)  # NOWHERE picks the zero at the end
        turn = padded[u.setup_columns[:, :3]]
        return replace(
            self,
            positions=self.positions + padded[u.point_columns],
            marks=self.marks + padded[u.mark_columns],
            tapes=self.tapes + padded[u.tape_columns],
            rotations=rotation_matrices(turn) @ self.rotations,
            origins=self.origins + padded[u.setup_columns[:, 3:]],
            lenses=self.lenses + padded[u.lens_columns],
            sheet_rotations=rotation_matrices(padded[u.sheet_columns[:, :3]]) @ self.sheet_rotations,
            sheet_halves=self.sheet_halves + padded[u.sheet_columns[:, 3]],
        )
