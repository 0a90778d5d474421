"""Makes sample_data/ anew: `python -m tests.make_sample_data [FOLDER]`. The same bytes every time.

Every folder holds a truth.toml: what was built in. No command reads it.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from tests.synthetic import Car, Survey, make_car, plant, survey, tilt, truth, write_job
from tests.synthetic.survey import SIXTEENTH

SAMPLE_DATA = Path(__file__).resolve().parents[1] / "sample_data"
HALF_MM = 0.5


def straight_saloon(folder: Path) -> None:
    """A straight body, measured with care: second drops at every point, heights."""
    car = make_car(np.random.default_rng(301), build=0.4, axle_offset=0.4, axle_yaw_deg=0.02)
    sheet = survey(car, np.random.default_rng(302), tapes=60, drops=2, roll_deg=0.3, pitch_deg=-0.4, round_to=HALF_MM)
    _factory_scatter_is_not_known(sheet)
    write_job(
        folder, car, sheet, "straight saloon, after the welding course",
        stage_info={"date": "2026-03-14", "supported": "stands: four, under the sills", "by": "K. and M."},
    )  # fmt: skip
    faults = [
        "None: the body stands as it left the factory, its points within half a millimetre or so.",
        "Every point was plumbed twice, and the heights were read off a water level.",
    ]
    _write_truth(folder, car, sheet, faults)


def pulled_rail(folder: Path) -> None:
    """The rear section pulled 11 mm to the left, the axle 5 mm to the left and skewed by 0.45 degrees."""
    car = make_car(
        np.random.default_rng(311), axle_offset=5.0, axle_yaw_deg=0.45,
        damage={"rail4": (0.0, 11.0, 0.0), "tail": (0.0, 11.0, 0.0)},
    )  # fmt: skip
    sheet = survey(
        car,
        np.random.default_rng(318),
        tapes=60,
        drops={"axleL": 2, "axleR": 2},
        roll_deg=-0.4,
        pitch_deg=0.6,
        round_to=HALF_MM,
    )
    write_job(
        folder, car, sheet, "wagon, hit at the right rear", decimal_comma=True, delimiter=";",
        stage_info={"date": "2026-04-02", "supported": "stands: two at the front, two under rail3"},
    )  # fmt: skip
    faults = [
        "The rear section, rail4 and the tail, stands 11 mm to the left.",
        "The rear axle sits 5 mm to the left.",
        "The rear axle is skewed by 0.45 degrees and points to the left: its left end lies back by 10 mm.",
        "Every point was plumbed once, the axle ends twice.",
    ]
    _write_truth(folder, car, sheet, faults)


def rushed_job(folder: Path) -> None:
    """Measured badly, in inches: one misread tape, a car that leans, a point that one tape alone holds."""
    car = make_car(np.random.default_rng(321), axle_offset=1.0, axle_yaw_deg=-0.05)
    rng = np.random.default_rng(322)
    sheet = survey(car, rng, tapes=52, roll_deg=0.8, heights=False, round_to=SIXTEENTH, units="in")
    # A sixteenth of an inch rounds by 0.46 mm (sd); with the reading itself that makes 0.7 mm.
    sheet.settings["sd"]["tape"] = 0.7
    _leave_one_tape(sheet, "crossbarR")
    row = _leg(sheet, "rail4L", "tailR")
    wrong = plant(sheet, "swapped digits", row, rng)
    write_job(folder, car, wrong.survey, "coupe, an hour before closing", delimiter=";")
    faults = [
        f"tape.csv line {row + 2}: two digits are swapped. The tape read {wrong.right / 25.4:.4f} in, "
        f"the table says {wrong.wrong / 25.4:.4f} in.",
        "The car leans by 0.8 degrees, its left side high, and nobody levelled it.",
        "One tape alone runs to crossbarR, so nothing says where on a circle it lies.",
        "The body itself is straight.",
    ]
    _write_truth(folder, car, wrong.survey, faults)


def _factory_scatter_is_not_known(sheet: Survey) -> None:
    """Nobody at the car knows how well this one was built: the job keeps the default."""
    sheet.settings["sd"].pop("build", None)


def _leg(sheet: Survey, start: str, end: str) -> int:
    return next(i for i, row in enumerate(sheet.tape) if (row["from"], row["to"]) == (start, end))


def _leave_one_tape(sheet: Survey, name: str) -> None:
    held = [row for row in sheet.tape if name in (row["from"], row["to"])]
    sheet.tape = [row for row in sheet.tape if row not in held[1:]]


def _write_truth(folder: Path, car: Car, sheet: Survey, faults: Sequence[str]) -> None:
    roll, pitch = tilt(car, sheet)
    with_limits = {
        name: value
        for name, value in truth(car).items()
        if name.endswith((".offset", ".square", ".thrust")) or name.startswith("rails.")
    }
    lines = [
        "# What was built into this invented car. No command reads this file: it is here to compare with.",
        "faults = [",
        *(f"    {json.dumps(fault)}," for fault in faults),
        "]",
        "",
        "[tilt] # of the body's own axes, degrees: roll + left side high, pitch + nose low",
        f"roll = {_figure(roll)}",
        f"pitch = {_figure(pitch)}",
        "",
        "[checks] # true values, mm and degrees",
        *(f"{json.dumps(name)} = {_figure(value)}" for name, value in with_limits.items()),
    ]
    (folder / "truth.toml").write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def _figure(value: float) -> str:
    return f"{round(value, 2) + 0.0:.2f}"


def main(target: Path = SAMPLE_DATA) -> None:
    """Write the three cars; files of the same names are replaced, others left alone."""
    for make in (straight_saloon, pulled_rail, rushed_job):
        make(target / make.__name__)


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:2]))
