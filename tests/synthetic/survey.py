"""A car measured: every reading made from the true points with a noise that has a name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, pairwise
from typing import Any

import numpy as np

from calib.tape_class import LIMITS
from tests.synthetic.car import Array, Car
from tests.synthetic.tape_plan import tape_plan

Table = list[dict[str, Any]]
CLEARANCE = 450.0
"""How high the car's origin stands above the level datum, mm."""
SIXTEENTH = 25.4 / 16.0


@dataclass
class Survey:
    """Tables as lists of dicts, lengths as floats in mm, a missing cell as a missing key; and what is hidden.

    `settings` goes into job.toml: units, sd (mm, only what differs from the defaults), stage, tapes.
    Hidden from the program: `network_from_car` (3, 3) and `origin` (3,), `positions` name -> (3,) in the
    network's axes, `floor` mark -> (2,), `tape_scales`, and the sd of one reading `reading_sd`.
    """

    points: Table
    tape: Table
    marks: Table
    heights: Table
    levels: Table
    xyz: Table
    settings: dict[str, Any]
    network_from_car: Array
    origin: Array
    positions: dict[str, Array]
    floor: dict[str, Array]
    tape_scales: dict[str, float] = field(default_factory=dict)
    reading_sd: float = 0.0
    round_to: float | None = None

    @property
    def tables(self) -> dict[str, Table]:
        """The stage's tables by file name, empty ones left out."""
        all_ = {name: getattr(self, name) for name in ("tape", "marks", "heights", "levels", "xyz")}
        return {name: rows for name, rows in all_.items() if rows}

    def read_tape(self, start: str, end: str, where: str, tape: str, rng: np.random.Generator) -> float:
        """One reading of a tape: its scale error, its noise, rounded as a person does."""
        if where == "floor":
            length = float(np.linalg.norm(self.floor[end] - self.floor[start]))
        else:
            length = float(np.linalg.norm(self.positions[end] - self.positions[start]))
        noise = self.reading_sd * float(rng.standard_normal())
        return rounded((1.0 + self.tape_scales[tape]) * length + noise, self.round_to)


def survey(
    car: Car,
    rng: np.random.Generator,
    tapes: int = 60,
    drops: int | Mapping[str, int] = 1,
    *,
    roll_deg: float = 0.0,
    pitch_deg: float = 0.0,
    yaw_deg: float | None = None,
    plumb: float = 1.0,
    tape_sd: float = 0.5,
    tape_class: str = "II",
    tape_names: Sequence[str] = ("",),
    heights: bool = True,
    heights_sd: float = 1.0,
    levels: bool = False,
    levels_sd: float = 1.0,
    marks: bool | Iterable[str] = False,
    marks_sd: float = 1.0,
    xyz: Mapping[str, Sequence[str]] | None = None,
    xyz_sd: float = 0.5,
    car_tapes: int = 0,
    bars: Sequence[tuple[str, str]] = (),
    bar_sd: float = 0.1,
    chart: bool = False,
    round_to: float | None = None,
    units: str = "mm",
    stage: str = "before",
) -> Survey:
    """Measure a car that stands rolled (+ left side high), pitched (+ nose low) and yawed (None: anyhow).

    Each kind of noise has a stream of its own, so that leaving a kind out changes no other reading:
    - plumb bob: every drop, x and y, sd `plumb`; `drops` 2 drops it again at every point, a mapping at some;
    - tape: one scale per tape, sd b/root 3, and per reading root(tape_sd^2 + a^2/3), a and b of the class;
      `tapes` legs on the floor (0: none), `car_tapes` straight from point to point, `tape_names` in turn;
    - `heights` z above a level datum; `levels` across each pair and along the left side; `marks` off a base
      line (all, or those named): the network's own axes; `xyz` setup -> points, each in axes of its own;
      `bars` known lengths between points.
    Points on the axle faces are measured by `xyz` only. `round_to` mm (`SIXTEENTH` for a tape in inches)
    rounds taped lengths, heights, rises and marks; `chart` writes the design into points.csv.
    """
    noise = dict(
        zip(
            ("place", "plumb", "tape", "plan", "height", "level", "mark", "xyz", "bar"),
            rng.spawn(9),
            strict=True,
        )
    )
    r, origin = _stand(noise["place"], roll_deg, pitch_deg, yaw_deg)
    placed = car.points @ r.T + origin
    positions = dict(zip(car.names, placed, strict=True))
    plain = [m.name for m in car.meta if not m.part.startswith("face:")]
    floor = _drop(noise["plumb"], plumb, plain, positions, drops)
    a, b = LIMITS[tape_class]
    scales = {name: float(noise["tape"].normal(0.0, b / 1000.0 / np.sqrt(3.0))) for name in tape_names}
    made = Survey(
        points=_points(car, chart), tape=[], marks=[], heights=[], levels=[], xyz=[],
        settings={"units": units, "stage": stage, "sd": {}},
        network_from_car=r, origin=origin, positions=positions, floor=floor, tape_scales=scales,
        reading_sd=float(np.hypot(tape_sd, a / np.sqrt(3.0))), round_to=round_to,
    )  # fmt: skip
    legs = [(*leg, "floor") for leg in tape_plan(car, noise["plan"], tapes, list(floor))] if tapes else []
    straight = list(combinations(plain, 2))
    picked = sorted(noise["plan"].choice(len(straight), size=car_tapes, replace=False)) if car_tapes else []
    legs += [(*straight[i], "car") for i in picked]
    for k, (start, end, where) in enumerate(legs):
        tape = tape_names[k % len(tape_names)]
        length = made.read_tape(start, end, where, tape, noise["tape"])
        row = {"from": start, "to": end, "length": length, "where": where}
        made.tape.append(row | ({"tape": tape} if tape else {}))
    for start, end in bars:
        length = float(np.linalg.norm(positions[end] - positions[start])) + noise["bar"].normal(0.0, bar_sd)
        made.tape.append({"from": start, "to": end, "length": length, "where": "bar"})
    if heights:
        z = {name: positions[name][2] + noise["height"].normal(0.0, heights_sd) for name in plain}
        made.heights = [{"point": name, "height": rounded(z[name], round_to)} for name in plain]
    if levels:
        made.levels = _levels(noise["level"], levels_sd, car, positions, round_to)
    wanted = [n for n in plain if marks is True or (not isinstance(marks, bool) and n in set(marks))]
    for name in wanted if marks else []:
        along, across = floor[name] + noise["mark"].normal(0.0, marks_sd, 2)
        made.marks.append({"point": name, "along": rounded(along, round_to), "across": rounded(across, round_to)})
    for setup, names in (xyz or {}).items():
        made.xyz += _setup(noise["xyz"], xyz_sd, setup, names, positions)
    stated = {
        "plumb": (plumb, 1.0), "tape": (tape_sd, 0.5), "heights": (heights_sd, 1.0),
        "levels": (levels_sd, 1.0), "marks": (marks_sd, 1.0), "xyz": (xyz_sd, 0.5),
        "bar": (bar_sd, 0.1), "build": (car.build, 1.0),
    }  # fmt: skip
    made.settings["sd"] = {key: sd for key, (sd, default) in stated.items() if sd != default}
    if tape_class != "II":
        made.settings["sd"]["tape_class"] = tape_class
    return made


def rounded(value: float, step: float | None) -> float:
    """As a person writes it down: to the nearest step."""
    return float(value) if step is None else float(np.round(value / step) * step)


def _stand(rng: np.random.Generator, roll_deg: float, pitch_deg: float, yaw_deg: float | None) -> tuple[Array, Array]:
    """network_from_car = Rz(yaw) Ry(pitch) Rx(roll), and where the car's origin stands."""
    yaw, x, y = rng.uniform(-180.0, 180.0), *rng.uniform(-3000.0, 3000.0, 2)
    angles = np.radians([roll_deg, pitch_deg, yaw if yaw_deg is None else yaw_deg])
    return rotation(*angles), np.array([x, y, CLEARANCE])


def rotation(roll: float, pitch: float, yaw: float) -> Array:
    """Rz(yaw) Ry(pitch) Rx(roll), radians."""
    (cr, cp, cy), (sr, sp, sy) = np.cos([roll, pitch, yaw]), np.sin([roll, pitch, yaw])
    return np.array(
        [
            [cy * cp, cy * sp * sr - sy * cr, cy * sp * cr + sy * sr],
            [sy * cp, sy * sp * sr + cy * cr, sy * sp * cr - cy * sr],
            [-sp, cp * sr, cp * cr],
        ]
    )


def _drop(
    rng: np.random.Generator,
    sd: float,
    names: list[str],
    positions: dict[str, Array],
    drops: int | Mapping[str, int],
) -> dict[str, Array]:
    """Marks on the floor: first drops in the order of the points, then second drops."""
    count = {name: drops if isinstance(drops, int) else drops.get(name, 1) for name in names}
    floor: dict[str, Array] = {}
    for drop in range(1, max(count.values(), default=1) + 1):
        for name in (n for n in names if count[n] >= drop):
            mark = name if drop == 1 else f"{name}#{drop}"
            floor[mark] = positions[name][:2] + sd * rng.standard_normal(2)
    return floor


def _points(car: Car, chart: bool) -> Table:
    rows: Table = [{"name": m.name, "side": m.side, "part": m.part} for m in car.meta]
    for row, design in zip(rows, car.design, strict=True) if chart else ():
        row |= dict(zip("xyz", map(float, design), strict=True))
    return rows


def _levels(
    rng: np.random.Generator, sd: float, car: Car, positions: dict[str, Array], round_to: float | None
) -> Table:
    pairs = [(car.names[i], car.names[j]) for _, i, j in car.pairs()]
    ends = [car.names[i] for side in "LR" for i in car.part("axle:rear", side)]
    legs = pairs + [(a[0], b[0]) for a, b in pairwise(pairs)]
    legs += [(pairs[-1][0], end) for end in ends]
    rises = [positions[b][2] - positions[a][2] + rng.normal(0.0, sd) for a, b in legs]
    return [{"from": a, "to": b, "rise": rounded(rise, round_to)} for (a, b), rise in zip(legs, rises, strict=True)]


def _setup(rng: np.random.Generator, sd: float, setup: str, names: Sequence[str], positions: dict[str, Array]) -> Table:
    """Points in the axes of one instrument, which leans by a few degrees and stands anywhere."""
    lean, yaw = np.radians(rng.uniform(-5.0, 5.0, 2)), rng.uniform(-np.pi, np.pi)
    network_from_setup = rotation(lean[0], lean[1], yaw)
    origin = rng.uniform(-2000.0, 2000.0, 3)
    seen = {n: (positions[n] - origin) @ network_from_setup + rng.normal(0.0, sd, 3) for n in names}
    return [{"setup": setup, "point": n, "x": float(x), "y": float(y), "z": float(z)} for n, (x, y, z) in seen.items()]
