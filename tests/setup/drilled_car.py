"""A measured invented car with a crossmember to drill: the truth beside it, for tests, sample data and benchmarks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tests.synthetic import Car, Survey, make_car, survey, write_job
from tests.synthetic.car import Array, Member
from tests.synthetic.truth import car_from_design

Hole = tuple[str, float, float, float, float, float]  # name, x, y, z, diameter, bolt
CROSSMEMBER: tuple[Hole, ...] = (
    ("fl", 40.0, 410.0, 0.0, 12.5, 10.0),
    ("fr", 40.0, -410.0, 0.0, 12.5, 10.0),
    ("rl", -40.0, 410.0, 0.0, 12.5, 10.0),
    ("rr", -40.0, -410.0, 0.0, 12.5, 10.0),
)


@dataclass
class Drilled:
    """A job folder, its car and its survey."""

    folder: Path
    car: Car
    sheet: Survey

    def to_car(self, network: Array) -> Array:
        """True car axes of places (..., 3) in the network; origin at the true middle of the first pair."""
        turn = car_from_design(self.car) @ self.sheet.network_from_car.T
        _, left, right = self.car.pairs()[0]
        first = (self.car.points[left] + self.car.points[right]) / 2
        origin = self.sheet.origin + self.sheet.network_from_car @ (first * [1.0, 0.0, 1.0])
        made: Array = (network - origin) @ turn.T
        return made


def drilled_car(
    folder: Path, rng: np.random.Generator, *, holes: Sequence[Hole] = CROSSMEMBER,
    mount: Mapping[str, Any] | None = None,
    pilots: Mapping[str, tuple[float, float, float]] | None = None, car: Mapping[str, Any] | None = None,
    name: str = "crossmember", **measured: Any,
) -> Drilled:  # fmt: skip
    """Write a job. `pilots`: name of a hole -> its true place (design axes); it is measured as a point of the mount."""
    made = make_car(rng, **(car or {}))
    for hole, place in (pilots or {}).items():
        y = next(h[2] for h in holes if h[0] == hole)
        made.meta.append(Member(hole, "L" if y > 0 else "R" if y < 0 else "C", f"mount:{name}"))
        made.points, made.design = np.vstack([made.points, place]), np.vstack([made.design, place])
    sheet = survey(made, rng, **{"tapes": 60, "roll_deg": 0.6, "pitch_deg": -0.4, "round_to": 0.5, **measured})
    write_job(folder, made, sheet, "a car with a crossmember to fit")
    add_mount(folder, holes, mount, name, sheet.settings["units"])
    return Drilled(folder, made, sheet)


def add_mount(
    folder: Path, holes: Sequence[Hole] = CROSSMEMBER, mount: Mapping[str, Any] | None = None,
    name: str = "crossmember", units: str = "mm",
) -> None:  # fmt: skip
    """Append [mount.NAME] to job.toml and the holes to mounts.csv."""
    settings: dict[str, Any] = {"from": "crossbar", "ahead": 40.0, "up": -20.0, **(mount or {})}
    lines = [f"{k} = {_toml(v, units)}" for k, v in settings.items() if v is not None]
    with (folder / "job.toml").open("a", encoding="utf-8", newline="\n") as file:
        file.write("\n".join(["", f"[mount.{name}]", *lines, ""]))
    table = folder / "mounts.csv"
    head = "" if table.exists() else "mount,hole,x,y,z,diameter,bolt\n"
    unit = "" if units == "mm" else " mm"
    rows = "".join(f"{name},{h[0]},{','.join(f'{v:g}{unit}' for v in h[1:])}\n" for h in holes)
    with table.open("a", encoding="utf-8", newline="\n") as file:
        file.write(head + rows)


def _toml(value: object, units: str) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return f"{value:g}" if units == "mm" else f'"{value:g} mm"'
    return f'"{value}"' if isinstance(value, str) else str(value)
