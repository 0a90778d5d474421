"""What stands before the camera: sheets with their points, scale bars, rails behind the sheets, pipes before them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tests.synthetic.car import Car

Array = NDArray[np.float64]
FLOOR = -850.0
"""z of the floor in the car's axes, mm: the car stands on tall stands."""
CORNERS = np.array([(-0.5, 0.5), (0.5, 0.5), (0.5, -0.5), (-0.5, -0.5)])
"""Of the black square in sides: clockwise from the printed top left; sheet axes x right, y up, z outward."""
PAPER = 1.5
"""Side of the white paper over that of the black square."""


@dataclass(frozen=True)
class Sheet:
    """A printed target. `centre` (3,) mm; `turn` (3, 3) car_from_sheet: columns printed right, printed up, outward.

    `side` is what the paper really measures, `stated` what targets.csv says of it; the point lies `standoff` along
    the outward normal from the centre. A left-handed `turn` (right reversed) is a print in a mirror.
    """

    number: int
    point: str
    centre: Array
    turn: Array
    side: float = 80.0
    standoff: float = 0.0
    stated: float = 80.0

    @property
    def normal(self) -> Array:
        """Outward, (3,)."""
        out: Array = self.turn[:, 2]
        return out

    def corners(self, over: float = 1.0) -> Array:
        """(4, 3) corners of the black square; of the paper for `over` PAPER."""
        return self.at(CORNERS * over)

    def at(self, in_sides: Array) -> Array:
        """(m, 3) places on the sheet; `in_sides` (m, 2) from its centre, in sides of the black square."""
        here: Array = self.centre + self.side * (in_sides @ self.turn[:, :2].T)
        return here


@dataclass(frozen=True)
class Bar:
    """A bar between two points that carry a sheet: its true length, and the length written on it."""

    a: str
    b: str
    length: float
    written: float


@dataclass(frozen=True)
class Pipe:
    """A round bar from `a` to `b` (3,) mm; `albedo` 0 black to 1 white; `name` for who hides a sheet."""

    name: str
    a: Array
    b: Array
    radius: float
    albedo: float = 0.05


@dataclass(frozen=True)
class Plate:
    """A round plate, such as a brake disc: `normal` (3,) is its visible side's, mm."""

    centre: Array
    normal: Array
    radius: float
    albedo: float = 0.09


@dataclass(frozen=True)
class Scene:
    """`points`: where every point is, car axes, mm.

    Rails and plates are drawn behind all sheets, pipes hide what is behind them.
    """

    sheets: tuple[Sheet, ...]
    points: dict[str, Array] = field(default_factory=dict)
    bars: tuple[Bar, ...] = ()
    rails: tuple[Pipe, ...] = ()
    plates: tuple[Plate, ...] = ()
    pipes: tuple[Pipe, ...] = ()
    car: Car | None = None
    floor: float = FLOOR

    def sheet(self, number: int) -> Sheet:
        """The sheet with this number."""
        return next(sheet for sheet in self.sheets if sheet.number == number)


def facing(normal: Sequence[float] | Array, spin_deg: float = 0.0) -> Array:
    """(3, 3) car_from_sheet with this outward normal, its printed up spun by `spin_deg` from as near up as may be."""
    n = np.asarray(normal, dtype=float)
    n = n / np.linalg.norm(n)
    up = np.array([0.0, 0.0, 1.0]) if abs(n[2]) < 0.9 else np.array([1.0, 0.0, 0.0])
    right = np.cross(up, n)
    right /= np.linalg.norm(right)
    up = np.cross(n, right)
    c, s = np.cos(np.radians(spin_deg)), np.sin(np.radians(spin_deg))
    return np.column_stack([c * right + s * up, c * up - s * right, n])
