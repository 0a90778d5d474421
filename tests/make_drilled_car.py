"""Makes sample_data/crossmember_job: `python -m tests.make_drilled_car [FOLDER]`. The same bytes every time.

A straight car before its crossmember is fitted, and the same car again with the first pilot hole drilled.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np

from tests.make_sample_data import SAMPLE_DATA
from tests.setup.drilled_car import CROSSMEMBER, add_mount
from tests.synthetic import make_car, survey, write_job
from tests.synthetic.car import Member
from tests.synthetic.job_files import table_text

NAME = "crossmember_job"
PILOT = (-1098.5, 410.9, -20.0)
"""Where the left front hole came out, in the design's axes: 1.5 mm forward and 0.9 mm to the left of its place."""
MOUNT = {"from": "crossbar", "ahead": 40.0, "up": -20.0, "width": 850.0, "clearance": 10.0, "symmetric": True,
         "drops": 2, "template": True}  # fmt: skip


def crossmember_job(folder: Path) -> None:
    """Stage `before`: no hole yet. Stage `pilot`: the left front hole is there, everything measured again."""
    car = make_car(np.random.default_rng(401), axle_offset=0.6, axle_yaw_deg=0.03)
    lean = {"roll_deg": 0.4, "pitch_deg": -0.3, "round_to": 0.5, "drops": 2}
    before = survey(car, np.random.default_rng(412), **lean, stage="before")  # type: ignore[arg-type]
    car.meta.append(Member("fl", "L", "mount:crossmember"))
    car.points, car.design = np.vstack([car.points, PILOT]), np.vstack([car.design, PILOT])
    pilot = survey(car, np.random.default_rng(403), **lean, stage="pilot")  # type: ignore[arg-type]
    write_job(
        folder, car, pilot, "estate, crossmember to fit", stage_info={"supported": "stands: four, under the sills"}
    )
    (folder / "before").mkdir(exist_ok=True)
    for name, rows in before.tables.items():
        (folder / "before" / f"{name}.csv").write_text(table_text(rows, "mm"), encoding="utf-8", newline="\n")
    toml = folder / "job.toml"
    text = toml.read_text(encoding="utf-8").replace('stages = ["pilot"]', 'stages = ["before", "pilot"]')
    text += '\n[stage.before]\nsupported = "stands: four, under the sills"\n'
    toml.write_text(text, encoding="utf-8", newline="\n")
    (folder / "mounts.csv").unlink(missing_ok=True)
    add_mount(folder, CROSSMEMBER, MOUNT)
    faults = [
        "The body is straight.",
        "The left front hole of the crossmember came out 1.5 mm too far forward and 0.9 mm too far to the left.",
    ]
    lines = [
        "# What was built into this invented car. No command reads this file: it is here to compare with.",
        "faults = [", *(f"    {json.dumps(fault)}," for fault in faults), "]", "",
        "[pilot] # of the hole fl from where it belongs, mm: + forward, + left",
        f"ahead = {PILOT[0] + 1100.0:.1f}", f"aside = {PILOT[1] - 410.0:.1f}",
    ]  # fmt: skip
    (folder / "truth.toml").write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def main(target: Path = SAMPLE_DATA) -> None:
    """Write the car; files of the same names are replaced."""
    crossmember_job(target / NAME)


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:2]))
