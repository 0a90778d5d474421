"""An invented car with sheets stuck on it, scale bars beneath it, stands, and pipes that hide now this, now that."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tests.synthetic.car import Car, Member, Shift, make_car
from tests.synthetic.photos.scene import FLOOR, Bar, Pipe, Plate, Scene, Sheet, facing

Array = NDArray[np.float64]
FACE_HOLE_RADIUS = 70.0
"""mm from the middle of an axle face to the three holes with a sheet each; nearer, the sheets would overlap."""
FACE_SIDE, SIDE = 50.0, 80.0
RAIL_RADIUS, TUBE_RADIUS = 38.0, 42.0
FLAT = 0.5
"""mm between a sheet and the rail it is glued to."""
DISC_RADIUS = 135.0
BARS = (  # ends (x, y), mm: along the left, along the right, across the rear, across the front
    ((-150.0, 560.0), (-2090.0, 600.0)), ((-2240.0, -590.0), (-330.0, -560.0)),
    ((-2660.0, 380.0), (-2590.0, -470.0)), ((260.0, 500.0), (300.0, -480.0)),
)  # fmt: skip
BAR_HEIGHT = 150.0
"""mm above the floor: they lie on blocks."""
STANDS = ((-700.0, 330.0), (-700.0, -330.0), (-1900.0, 290.0), (-1900.0, -290.0))


def photo_car(
    rng: np.random.Generator, *, axle: bool = False, damage: Mapping[int | str, Shift] | None = None,
    axle_offset: float = 0.0, axle_yaw_deg: float = 0.0, build: float = 1.0,
    toe_deg: tuple[float, float] = (0.0, 0.0), camber_deg: tuple[float, float] = (0.0, 0.0),
) -> Car:  # fmt: skip
    """`make_car` with three points on each axle face, far enough apart for a sheet each, and no axle ends."""
    car = make_car(
        rng, build=build, axle_offset=axle_offset, axle_yaw_deg=axle_yaw_deg, damage=damage, faces=True,
        axle=axle, toe_deg=toe_deg, camber_deg=camber_deg,
    )  # fmt: skip
    keep = [i for i, member in enumerate(car.meta) if not member.part.startswith("face:")]
    meta, points, design = [car.meta[i] for i in keep], car.points[keep], car.design[keep]
    for side in "LR":
        for name, made, meant in zip(
            ("face1", "face2", "face3"), _three(car, side, car.points), _three(car, side, car.design), strict=True
        ):
            meta.append(Member(name + side, side, "face:rear"))
            points, design = np.vstack([points, made]), np.vstack([design, meant])
    return Car(meta, points, design, car.damages, car.build)


def _three(car: Car, side: str, points: Array) -> Array:
    """(3, 3) on the circle of radius FACE_HOLE_RADIUS in the plane of the face's holes: top, and low on both sides."""
    holes = points[car.part("face:rear", side)]
    middle = holes.mean(axis=0)
    ahead = (holes[0] - middle) / np.linalg.norm(holes[0] - middle)  # the first hole lies ahead
    above = holes[1] - middle - ((holes[1] - middle) @ ahead) * ahead
    above /= np.linalg.norm(above)
    turn = np.radians([90.0, 210.0, 330.0])
    circle: Array = middle + FACE_HOLE_RADIUS * (np.outer(np.cos(turn), ahead) + np.outer(np.sin(turn), above))
    return circle


def make_scene(
    car: Car, rng: np.random.Generator, *, bars: int = 3, bar_sd: float = 0.05, ties: int = 4, tilt_deg: float = 7.0,
    standoff: Mapping[str, float] | None = None, first_number: int = 0, printed_scale: float = 1.0,
    cluttered: bool = True, floor: float = FLOOR,
) -> Scene:  # fmt: skip
    """Sheets on all points of the car, two on each of `bars` (0 to 4) bars, and `ties` (0 to 8) on the stands.

    Sheets on the body face down, every other pair down and outward, each tilted by some `tilt_deg`; those on the
    axle faces lie flat on them. `standoff` by point: how far the point lies before (+) or behind (-) the paper.
    `bar_sd` mm is the error of the lengths written on the bars; `printed_scale` what the printer made of all sides.
    `cluttered` hangs pipes before the sheets.
    """
    streams = dict(zip(("tilt", "bars", "ties", "pipes"), rng.spawn(4), strict=True))
    points = {name: car.points[i].copy() for i, name in enumerate(car.names)}
    wanted = [(m.name, *_on_car(car, i, streams["tilt"], tilt_deg)) for i, m in enumerate(car.meta)]
    laid, on_bars = _bars(bars, bar_sd, streams["bars"], floor)
    on_stands = _ties(ties, streams["ties"])
    for name, place, turn in on_bars + on_stands:
        points[name] = place
        wanted.append((name, turn, SIDE))
    sheets = []
    for k, (name, turn, side) in enumerate(wanted):
        off = (standoff or {}).get(name, 0.0)
        centre = points[name] - off * turn[:, 2]
        sheets.append(Sheet(first_number + k, name, centre, turn, side * printed_scale, off, side))
    pipes = _stands(floor) + (_pipes(streams["pipes"]) if cluttered else [])
    rails, plates = _rails(sheets, car, laid, points), _plates(sheets)
    return Scene(tuple(sheets), points, tuple(laid), tuple(rails), tuple(plates), tuple(pipes), car, floor)


def _on_car(car: Car, i: int, rng: np.random.Generator, tilt_deg: float) -> tuple[Array, float]:
    """(car_from_sheet, side) for the car's point i."""
    member = car.meta[i]
    tilt, spin = np.tan(np.radians(tilt_deg)) * rng.standard_normal(3) * [1.0, 1.0, 0.0], rng.uniform(-180.0, 180.0)
    outward = 1.0 if member.side == "L" else -1.0
    if member.part.startswith("face:"):
        holes = car.points[car.part(member.part, member.side)]
        normal = np.linalg.svd(holes - holes.mean(axis=0))[2][2]
        return facing(normal * np.sign(normal[1]) * outward, spin), FACE_SIDE
    keys = [key for key, *_ in car.pairs()]
    sideways = member.name[:-1] in keys[1::3]
    normal = np.array([0.0, 0.6 * outward, -0.8]) if sideways else np.array([0.0, 0.12 * outward, -1.0])
    return facing(normal + tilt, spin), SIDE


Placed = list[tuple[str, Array, Array]]
"""Points of their own: name, place (3,), car_from_sheet."""


def _bars(count: int, sd: float, rng: np.random.Generator, floor: float) -> tuple[list[Bar], Placed]:
    bars, placed = [], []
    for k, ends in enumerate(BARS[:count]):
        names = (f"bar{k + 1}a", f"bar{k + 1}b")
        places = [np.array([*end, floor + BAR_HEIGHT]) + rng.uniform(-60.0, 60.0, 3) * [1.0, 1.0, 0.4] for end in ends]
        middle = np.array([-1250.0, 0.0, 0.0])
        for name, place in zip(names, places, strict=True):
            out = (place - middle) * [1.0, 1.0, 0.0]
            out /= np.linalg.norm(out)
            lean = 0.45 * out + rng.normal(0.0, 0.06, 3)
            placed.append((name, place, facing(np.array([0.0, 0.0, 1.0]) + lean, rng.uniform(-180.0, 180.0))))
        length = float(np.linalg.norm(places[1] - places[0]))
        bars.append(Bar(*names, length, round(length + rng.normal(0.0, sd), 3)))
    return bars, placed


def _ties(count: int, rng: np.random.Generator) -> Placed:
    """Outside of the stands first, then their ends: sheets that high and low pictures both see."""
    placed = []
    for k in range(count):
        x, y = STANDS[k % 4]
        out = np.array([0.0, np.sign(y), 0.0]) if k < 4 else np.array([1.0 if x > -1000.0 else -1.0, 0.0, 0.0])
        out = out + rng.normal(0.0, 0.1, 3)
        place = np.array([x, y, -330.0 + rng.uniform(-70.0, 70.0)]) + 42.0 * out / np.linalg.norm(out)
        placed.append((f"stand{k + 1}", place, facing(out, rng.uniform(-180.0, 180.0))))
    return placed


def _stands(floor: float) -> list[Pipe]:
    return [Pipe("stand", np.array([x, y, floor]), np.array([x, y, -60.0]), 40.0, 0.10) for x, y in STANDS]


def _pipes(rng: np.random.Generator) -> list[Pipe]:
    """An exhaust pipe, a brake line, a lamp's lead and a prop."""
    jitter = rng.uniform(-40.0, 40.0, (4, 3))
    return [
        Pipe("exhaust", np.array([-350.0, -190.0, -70.0]) + jitter[0], np.array([-2750.0, -260.0, 60.0]), 27.0, 0.07),
        Pipe("brake line", np.array([-250.0, 380.0, -25.0]) + jitter[1], np.array([-1650.0, 520.0, -60.0]), 5.0, 0.16),
        Pipe("lead", np.array([-100.0, -900.0, -849.0]), np.array([-1300.0, -420.0, -30.0]) + jitter[2], 5.0, 0.02),
        Pipe("prop", np.array([-2350.0, 700.0, -849.0]), np.array([-2150.0, 330.0, 150.0]) + jitter[3], 14.0, 0.12),
    ]


def _rails(sheets: Sequence[Sheet], car: Car, bars: Sequence[Bar], points: Mapping[str, Array]) -> list[Pipe]:
    """What the sheets are glued to, behind each of them."""
    behind = {s.point: s.centre - (RAIL_RADIUS + FLAT) * s.normal for s in sheets}
    made = []
    for side in "LR":
        keys = [key for key, *_ in car.pairs()]
        line = [behind[key + side] for key in keys if key + side in behind]
        made += [Pipe("rail", a, b, RAIL_RADIUS, 0.055) for a, b in pairwise(line)]
    for key, *_ in car.pairs():
        if f"{key}L" in behind and f"{key}R" in behind:
            made.append(Pipe("crossmember", behind[f"{key}L"], behind[f"{key}R"], 30.0, 0.045))
    hubs = [car.points[car.part("face:rear", side)].mean(axis=0) for side in "LR" if car.part("face:rear", side)]
    if len(hubs) == 2:
        inward = (hubs[1] - hubs[0]) / np.linalg.norm(hubs[1] - hubs[0])
        made.append(Pipe("axle", hubs[0] + 45.0 * inward, hubs[1] - 45.0 * inward, TUBE_RADIUS, 0.05))
    down = np.array([0.0, 0.0, 22.0])
    made += [Pipe("scale bar", points[bar.a] - down, points[bar.b] - down, 18.0, 0.35) for bar in bars]
    return made


def _plates(sheets: Sequence[Sheet]) -> list[Plate]:
    """A disc behind the sheets of each axle face."""
    made = []
    for side in "LR":
        on_face = [s for s in sheets if s.point.startswith("face") and s.point.endswith(side)]
        if on_face:
            middle = np.mean([s.centre for s in on_face], axis=0)
            made.append(Plate(middle - 2.0 * on_face[0].normal, on_face[0].normal, DISC_RADIUS))
            made.append(Plate(middle - 14.0 * on_face[0].normal, -on_face[0].normal, DISC_RADIUS, 0.05))
    return made
