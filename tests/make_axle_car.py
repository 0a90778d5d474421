"""Makes sample_data/axle_setting anew: `python -m tests.make_axle_car [FOLDER]`. The same bytes every time.

A car whose rear axle hangs on two trailing arms and a lateral linkage, with its driveline. truth.toml says what was
built in; no command reads it.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.synthetic import Car, Member, Survey, make_car, survey
from tests.synthetic.job_files import job_toml, table_text
from tests.synthetic.survey import rotation

Array = NDArray[np.float64]
SAMPLE_DATA = Path(__file__).resolve().parents[1] / "sample_data"
MIDDLE = np.array([-1750.0, 0.0, 110.0])
ENGINE_DROP = np.tan(np.radians(3.0))
PINION_DROP = np.tan(np.radians(3.4))

ON_BODY: dict[str, tuple[str, str, tuple[float, float, float]]] = {
    "armbodyL": ("L", "arm:rear", (-1150.0, 330.0, 90.0)),
    "armbodyR": ("R", "arm:rear", (-1150.0, -330.0, 90.0)),
    "rodbodyL": ("L", "link:rear", (-1850.0, 420.0, 145.0)),
    "rodbodyR": ("R", "link:rear", (-1850.0, -420.0, 25.0)),
    "shocktopL": ("L", "shock:rear", (-1800.0, 350.0, 420.0)),
    "shocktopR": ("R", "shock:rear", (-1800.0, -350.0, 420.0)),
    "pulley": ("C", "crank", (150.0, 8.0, 190.0)),
    "flange": ("C", "crank", (-750.0, 8.0, 190.0 - 900.0 * ENGINE_DROP)),
    "shaftfront": ("C", "shaft:rear", (-780.0, 8.0, 140.0)),
}
ON_AXLE: dict[str, tuple[str, str, tuple[float, float, float]]] = {
    "armaxleL": ("L", "arm:rear", (-1730.0, 450.0, 60.0)),
    "armaxleR": ("R", "arm:rear", (-1730.0, -450.0, 60.0)),
    "pivot": ("C", "link:rear", (-1850.0, 0.0, 85.0)),
    "pintop": ("L", "link:rear", (-1850.0, 0.0, 145.0)),
    "pinlow": ("R", "link:rear", (-1850.0, 0.0, 25.0)),
    "shocklowL": ("L", "shock:rear", (-1790.0, 480.0, 50.0)),
    "shocklowR": ("R", "shock:rear", (-1790.0, -480.0, 50.0)),
    "shaftrear": ("C", "shaft:rear", (-1560.0, 0.0, 118.0)),
    "pinionnose": ("C", "pinion:rear", (-1580.0, 0.0, 117.0)),
    "pinionback": ("C", "pinion:rear", (-1980.0, 0.0, 117.0 - 400.0 * PINION_DROP)),
}
SETTINGS = """
[axle.rear]
arm = { pitch = 1.5, ends = "left and right" }
link = { threads_per_inch = 18, ends = "left and right" }
phase = 0
"""


def axle_car(
    rng: np.random.Generator, *, offset: float = 0.0, yaw_deg: float = 0.0, forward: float = 0.0, build: float = 1.0,
    faces: bool = False, toe_deg: tuple[float, float] = (0.0, 0.0), camber_deg: tuple[float, float] = (0.0, 0.0),
) -> Car:  # fmt: skip
    """A car whose axle, with all that sits on it, stands off by offset (left), forward and yaw."""
    car = make_car(
        rng, build=build, axle_offset=offset, axle_yaw_deg=yaw_deg, faces=faces, toe_deg=toe_deg, camber_deg=camber_deg
    )
    for i, member in enumerate(car.meta):
        if member.part in ("axle:rear", "face:rear"):
            car.points[i, 0] += forward
    c, s = np.cos(np.radians(yaw_deg)), np.sin(np.radians(yaw_deg))
    turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    for table, carried in ((ON_BODY, False), (ON_AXLE, True)):
        for name, (side, part, place) in table.items():
            at = np.array(place)
            car.meta.append(Member(name, side, part))
            car.design = np.vstack([car.design, at])
            moved = MIDDLE + turn @ (at - MIDDLE) + np.array([forward, offset, 0.0]) if carried else at
            car.points = np.vstack([car.points, moved])
    return car


def measured(car: Car, rng: np.random.Generator, *, tapes: int = 60, xyz_sd: float = 0.5, **how: Any) -> Survey:
    """The body and the axle's ends taped off the floor; what sits beneath by an instrument, with some of the body."""
    beneath = {*ON_BODY, *ON_AXLE}
    above = [i for i, name in enumerate(car.names) if name not in beneath]
    body = Car([car.meta[i] for i in above], car.points[above], car.design[above], car.damages, car.build)
    sheet = survey(body, rng, tapes=tapes, **how)
    placed = car.points @ sheet.network_from_car.T + sheet.origin
    sheet.positions.update(zip(car.names, placed, strict=True))
    shared = ["rail2L", "rail2R", "crossbarL", "crossbarR", "rail4L", "rail4R", "axleL", "axleR"]
    seen = [name for name in car.names if name in {*shared, *beneath} or name.startswith("stud")]
    lean, yaw = np.radians(rng.uniform(-5.0, 5.0, 2)), rng.uniform(-np.pi, np.pi)
    turn, origin = rotation(lean[0], lean[1], yaw), rng.uniform(-2000.0, 2000.0, 3)
    for name in seen:
        x, y, z = (sheet.positions[name] - origin) @ turn + rng.normal(0.0, xyz_sd, 3)
        sheet.xyz.append({"setup": "A", "point": name, "x": float(x), "y": float(y), "z": float(z)})
    if xyz_sd != 0.5:
        sheet.settings["sd"]["xyz"] = xyz_sd
    sheet.points = [{"name": m.name, "side": m.side, "part": m.part} for m in car.meta]
    return sheet


def write(folder: Path, sheet: Survey, title: str, axle: str = SETTINGS, info: Mapping[str, str] | None = None) -> Path:
    """The job folder with its [axle.rear]."""
    stage = folder / sheet.settings["stage"]
    stage.mkdir(parents=True, exist_ok=True)
    toml = job_toml(title, sheet.settings, {sheet.settings["stage"]: dict(info)} if info else {})
    _write(folder / "job.toml", toml + axle)
    _write(folder / "points.csv", table_text(sheet.points, "mm"))
    for name, rows in sheet.tables.items():
        _write(stage / f"{name}.csv", table_text(rows, "mm"))
    return folder


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


def main(target: Path = SAMPLE_DATA) -> None:
    """Write the car; files of the same names are replaced, others left alone."""
    car = axle_car(np.random.default_rng(341), offset=8.0, yaw_deg=-0.55, build=0.8)
    rng = np.random.default_rng(342)
    with_care = {"plumb": 0.6, "drops": 2, "heights_sd": 0.5, "xyz_sd": 0.4, "round_to": 0.5}
    sheet = measured(car, rng, roll_deg=0.2, pitch_deg=-0.3, **with_care)
    folder = write(
        target / "axle_setting", sheet, "estate, after new rear bushes",
        info={"date": "2026-07-11", "by": "K.", "supported": "stands: under the axle and the front rails"},
    )  # fmt: skip
    faults = [
        "The rear axle sits 8 mm to the left and is skewed by 0.55 degrees: it points to the right.",
        "The engine points 3 degrees down to the rear, the pinion 3.4.",
        "Nothing else is wrong.",
    ]
    lines = [
        "# What was built into this invented car. No command reads this file: it is here to compare with.",
        "faults = [", *(f"    {json.dumps(fault)}," for fault in faults), "]", "",
        "[axle.rear] # mm and degrees; + to the left, + points left",
        "offset = 8.00", "thrust = -0.55",
    ]  # fmt: skip
    _write(folder / "truth.toml", "\n".join(lines) + "\n")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:2]))
