"""Makes sample_data/charted_saloon anew: `python -m tests.make_charted_car [FOLDER]`. The same bytes every time.

A car with a factory chart: coordinates in points.csv and lengths in chart.csv, some of them in inches and between the
edges of holes. A truth.toml says what was built in; no command reads it.
"""

from __future__ import annotations

import json
import sys
from fractions import Fraction
from pathlib import Path

import numpy as np

from tests.make_sample_data import SAMPLE_DATA
from tests.synthetic import Car, make_car, survey, truth, write_job
from tests.synthetic.job_files import table_text

NAME = "charted_saloon"
HOLES = {"rail1": 16.0, "rail2": 16.0, "rail3": 22.0, "rail4": 22.0}
LENGTHS = (  # from, to, tolerance, taken, in inches
    ("outriggerL", "rail3R", 3.0, "centre", False),
    ("outriggerR", "rail3L", 3.0, "centre", False),
    ("rail1L", "rail3R", None, "near", True),
    ("rail1R", "rail3L", None, "near", True),
    ("rail2L", "rail4R", None, "far", False),
    ("rail2R", "rail4L", None, "far", False),
    ("rail4L", "rail4R", 2.0, "centre", True),
)
IN = 12.0
"""mm: how far the right rear rail was pushed in."""


def charted_saloon(folder: Path) -> None:
    """The right rail pushed in by 12 mm from rail4 back; every point plumbed twice."""
    push = (0.0, IN, 0.0)
    car = make_car(np.random.default_rng(331), build=0.6, damage={"rail4R": push, "tailR": push})
    sheet = survey(
        car, np.random.default_rng(332), tapes=62, drops=2, roll_deg=0.4, pitch_deg=-0.3, chart=True, round_to=0.5
    )
    sheet.settings["sd"].pop("build", None)
    for row in sheet.points:
        if row["name"][:-1] in HOLES:
            row["hole"] = HOLES[row["name"][:-1]]
    info = {"date": "2026-05-09", "supported": "stands: two under rail1, two under rail3"}
    write_job(folder, car, sheet, "saloon, hit at the right rear wheel", stage_info=info)
    (folder / "chart.csv").write_text(table_text(_chart(car), "mm"), encoding="utf-8", newline="\n")
    _write_truth(folder, car)


def _chart(car: Car) -> list[dict[str, object]]:
    rows: list[dict[str, object]] = []
    for start, end, tolerance, taken, inches in LENGTHS:
        length = float(np.linalg.norm(car.design[car.idx(start)] - car.design[car.idx(end)]))
        holes = HOLES.get(start[:-1], 0.0) / 2 + HOLES.get(end[:-1], 0.0) / 2
        length += {"centre": 0.0, "near": -holes, "far": holes}[taken]
        written: object = round(length, 1)
        if inches:
            whole, rest = divmod(Fraction(round(length / 25.4 * 16), 16), 1)
            written = f'{whole} {rest}"' if rest else f'{whole}"'
        tolerated: object = "" if tolerance is None else tolerance
        rows.append({"from": start, "to": end, "length": written, "tolerance": tolerated, "taken": taken})
    return rows


def _write_truth(folder: Path, car: Car) -> None:
    faults = [f"The right rail is pushed in by {IN:g} mm from rail4 back: rail4R and tailR. All else is straight."]
    figures = {k: v for k, v in truth(car, chart=True).items() if k.startswith("chart.") or k.endswith(".offset")}
    lines = [
        "# What was built into this invented car. No command reads this file: it is here to compare with.",
        "faults = [",
        *(f"    {json.dumps(fault)}," for fault in faults),
        "]",
        "",
        "[checks] # true values, mm",
        *(f"{json.dumps(name)} = {round(value, 2) + 0.0:.2f}" for name, value in figures.items()),
    ]
    (folder / "truth.toml").write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def main(target: Path = SAMPLE_DATA) -> None:
    """Write the car; files of the same names are replaced."""
    charted_saloon(target / NAME)


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:2]))
