"""An invented car: where its points were meant to be, and where they are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Shift = Sequence[float]

PROFILE = (  # station x, half width y, height z, mm; name; part: front outriggers to tail
    (0.0, 600.0, 300.0, "outrigger", "reference"),
    (-380.0, 430.0, 240.0, "rail1", "rail"),
    (-800.0, 450.0, 60.0, "rail2", "rail"),
    (-1180.0, 520.0, 0.0, "crossbar", "reference"),
    (-1560.0, 470.0, 20.0, "rail3", "rail"),
    (-2050.0, 400.0, 210.0, "rail4", "rail"),
    (-2500.0, 350.0, 270.0, "tail", "reference"),
)
LENGTH = 2500.0
AXLE_STATION, AXLE_HALF_WIDTH, AXLE_HEIGHT = -1750.0, 680.0, 110.0
FACE_HALF_WIDTH, FACE_RADIUS, FACE_HOLES = 700.0, 60.0, 5


class Member(NamedTuple):
    """What is said of a point in points.csv."""

    name: str
    side: str  # L, R or C
    part: str


@dataclass
class Car:
    """`points` are where the points are, `design` where they were meant to be: (n, 3), car axes, mm.

    Design, then factory scatter `build` of the body's points, then damage, then the axle's offset and yaw.
    The axle and its faces have no scatter: their truth is exactly what was asked for.
    """

    meta: list[Member]
    points: Array
    design: Array
    damages: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    build: float = 1.0

    @property
    def names(self) -> list[str]:
        return [member.name for member in self.meta]

    def idx(self, name: str) -> int:
        return self.names.index(name)

    def where(self, name: str) -> Array:
        here: Array = self.points[self.idx(name)]
        return here

    def pairs(self) -> list[tuple[str, int, int]]:
        """(key, idx of the left, idx of the right), front first; axle and face points form none."""
        left = {m.name[:-1]: i for i, m in enumerate(self.meta) if m.side == "L" and _on_body(m)}
        right = {m.name[:-1]: i for i, m in enumerate(self.meta) if m.side == "R" and _on_body(m)}
        return [(key, i, right[key]) for key, i in left.items() if key in right]

    def part(self, part: str, side: str) -> list[int]:
        """Positions of the points of one part and side, front first."""
        return [i for i, m in enumerate(self.meta) if m.part == part and m.side == side]


def make_car(
    rng: np.random.Generator,
    pairs: int = 7,
    build: float = 1.0,
    axle_offset: float = 0.0,
    axle_yaw_deg: float = 0.0,
    damage: Mapping[int | str, Shift] | None = None,
    faces: bool = False,
    *,
    axle: bool = True,
    toe_deg: tuple[float, float] = (0.0, 0.0),
    camber_deg: tuple[float, float] = (0.0, 0.0),
    length: float = LENGTH,
) -> Car:
    """A car with `pairs` pairs front to rear, and axle ends (part axle:rear) near the rear third.

    `damage` moves things by (dx, dy, dz): a key is a pair's index from the front, a pair's key ("tail") or
    one point ("tailL"); everything moves after the scatter. `axle_offset` + to the left; `axle_yaw_deg` +
    points left. `faces` adds five bolt holes on each axle face, with `toe_deg` (+ in, on top of the axle's
    yaw) and `camber_deg` (+ top outward) as (left, right).
    """
    stations = _stations(pairs, length)
    meta = [Member(name + side, side, part) for *_, name, part in stations for side in "LR"]
    design = np.array([(x, sign * y, z) for x, y, z, *_ in stations for sign in (1.0, -1.0)])
    points = design + build * rng.standard_normal(design.shape)
    keys = [name for *_, name, _ in stations]
    damages: dict[str, tuple[float, float, float]] = {}
    for key, shift in (damage or {}).items():
        name = keys[key] if isinstance(key, int) else key
        hit = [i for i, m in enumerate(meta) if name in (m.name, m.name[:-1])]
        if not hit:
            raise KeyError(f"no pair and no point {name!r} among {keys}")
        points[hit] += np.asarray(shift, dtype=float)
        damages[name] = (float(shift[0]), float(shift[1]), float(shift[2]))
    middle = np.array([AXLE_STATION * length / LENGTH, 0.0, AXLE_HEIGHT])
    for part in _axle_parts(axle, faces, toe_deg, camber_deg):
        meta += part.meta
        design = np.vstack([design, middle + part.design])
        yawed = part.points @ _about_z(np.radians(axle_yaw_deg)).T
        points = np.vstack([points, middle + np.array([0.0, axle_offset, 0.0]) + yawed])
    return Car(meta, points, design, damages, build)


class _Part(NamedTuple):
    meta: list[Member]
    design: Array  # from the middle of the axle
    points: Array


def _axle_parts(axle: bool, faces: bool, toe_deg: tuple[float, float], camber_deg: tuple[float, float]) -> list[_Part]:
    made = []
    if axle:
        ends = np.array([(0.0, AXLE_HALF_WIDTH, 0.0), (0.0, -AXLE_HALF_WIDTH, 0.0)])
        made.append(_Part([Member("axleL", "L", "axle:rear"), Member("axleR", "R", "axle:rear")], ends, ends))
    turn = 2.0 * np.pi * np.arange(FACE_HOLES) / FACE_HOLES
    circle = FACE_RADIUS * np.column_stack([np.cos(turn), np.zeros(FACE_HOLES), np.sin(turn)])
    for side, sign, toe, camber in zip("LR", (1.0, -1.0), toe_deg, camber_deg, strict=True) if faces else ():
        # Toe-in turns the left face to the right; a top that leans out turns the left face about -x.
        turned = _about_z(np.radians(-sign * toe)) @ _about_x(np.radians(-sign * camber))
        centre = np.array([0.0, sign * FACE_HALF_WIDTH, 0.0])
        meta = [Member(f"stud{k + 1}{side}", side, "face:rear") for k in range(FACE_HOLES)]
        made.append(_Part(meta, centre + circle, centre + circle @ turned.T))
    return made


def _stations(pairs: int, length: float) -> list[tuple[float, float, float, str, str]]:
    """The profile itself for seven pairs; for another number, the same shape cut at even distances."""
    if pairs == len(PROFILE):
        return [(x * length / LENGTH, y, z, name, part) for x, y, z, name, part in PROFILE]
    at = np.linspace(0.0, -LENGTH, pairs)
    x, y, z = np.array([row[:3] for row in reversed(PROFILE)]).T
    widths, heights = np.interp(at, x, y), np.interp(at, x, z)
    names = ["outrigger", *(f"rail{k}" for k in range(1, pairs - 1)), "tail"]
    return [
        (
            float(a * length / LENGTH),
            float(w),
            float(h),
            name,
            "rail" if name.startswith("rail") else "reference",
        )
        for a, w, h, name in zip(at, widths, heights, names[:pairs], strict=True)
    ]


def _on_body(member: Member) -> bool:
    return member.part in ("reference", "rail", "")


def _about_z(angle: float) -> Array:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _about_x(angle: float) -> Array:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])
