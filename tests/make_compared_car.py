"""Makes sample_data/repaired_sill anew: `python -m tests.make_compared_car [FOLDER]`. The same bytes every time.

One car surveyed twice, before and after a rust repair. truth.toml says what was built in; no command reads it.
"""

from __future__ import annotations

import json
import sys
from copy import deepcopy
from pathlib import Path

import numpy as np

from tests.synthetic import Car, Survey, make_car, survey
from tests.synthetic.job_files import job_toml, table_text

SAMPLE_DATA = Path(__file__).resolve().parents[1] / "sample_data"
MOVED = {"rail4L": (0.5, 7.0, 2.0), "tailL": (1.0, 9.0, 3.0)}
"""mm; what the repair did to the rear of the left rail, in car axes."""


def repaired_car() -> tuple[Car, Car]:
    """The car before and after: the same factory scatter, the rear of the left rail moved."""
    before = make_car(np.random.default_rng(331), build=1.0, axle_offset=0.8)
    after = deepcopy(before)
    for name, shift in MOVED.items():
        after.points[after.idx(name)] += shift
    return before, after


def surveys(before: Car, after: Car) -> tuple[Survey, Survey]:
    """Both measured with care: a steady bob, three drops, heights off a laser; same stands, but not alike in lean."""
    with_care = {"tapes": 75, "drops": 3, "plumb": 0.6, "heights_sd": 0.4, "round_to": 0.5}
    return (
        survey(before, np.random.default_rng(332), roll_deg=0.3, pitch_deg=-0.4, **with_care),
        survey(after, np.random.default_rng(333), roll_deg=-0.5, pitch_deg=0.2, stage="after", **with_care),
    )


def write(folder: Path, first: Survey, second: Survey, stage_info: dict[str, dict[str, str]], title: str) -> Path:
    """One job with both stages."""
    settings = first.settings | {"stage": ""}
    text = job_toml(title, settings, stage_info).replace('stages = [""]', 'stages = ["before", "after"]')
    folder.mkdir(parents=True, exist_ok=True)
    _write(folder / "job.toml", text)
    _write(folder / "points.csv", table_text(first.points, "mm"))
    for stage, sheet in (("before", first), ("after", second)):
        (folder / stage).mkdir(exist_ok=True)
        for name, rows in sheet.tables.items():
            _write(folder / stage / f"{name}.csv", table_text(rows, "mm"))
    return folder


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


def main(target: Path = SAMPLE_DATA) -> None:
    """Write the car; files of the same names are replaced, others left alone."""
    stands = "stands: four, two under the front rails, two under rail3"
    info = {
        "before": {"date": "2026-05-08", "by": "K.", "supported": stands},
        "after": {"date": "2026-06-19", "by": "K. and M.", "supported": stands},
    }
    folder = write(target / "repaired_sill", *surveys(*repaired_car()), info, "saloon, left sill and rail end renewed")
    lines = [
        "# What was built into this invented car. No command reads this file: it is here to compare with.",
        "faults = [",
        f"    {json.dumps('The repair moved the rear of the left rail: rail4L and tailL. Nothing else moved.')},",
        "]",
        "",
        "[movements] # mm, car axes: forward, to the left, up",
        *(f"{name} = {json.dumps(list(shift))}" for name, shift in MOVED.items()),
    ]
    _write(folder / "truth.toml", "\n".join(lines) + "\n")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:2]))
