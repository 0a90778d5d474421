"""Makes sample_data/photo_car anew: `python -m tests.make_photo_car [FOLDER]`. Half a minute.

The tables are the same bytes every time; the pictures too, as long as the libraries that blur and compress them are.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.synthetic import truth
from tests.synthetic.photos import Camera, Look, Scene, Shot, make_scene, photo_car, walk_round, write_photo_job
from tests.synthetic.photos.photo_job import true_lines, write_text

PHOTO_CAR = Path(__file__).resolve().parents[1] / "sample_data" / "photo_car"
PICTURES = 16
SEED = 361
LOOK = Look(blur_px=0.75, quality=80)
SHAKEN = 8
"""Which picture the hand shook in."""
FAULTS = [
    "The rear section, rail4 and the tail, stands 9 mm to the right.",
    "The rear axle sits 5 mm to the right.",
    "The rear axle is skewed by 0.40 degrees and points to the left: its left end lies back by 10 mm.",
    "Both rear faces toe in by 0.1 degrees against the axle and lean in at the top by half a degree.",
    "The sheets at crossbarL and crossbarR sit on magnets: the point lies 6 mm behind the paper.",
    "The lengths written on the bars are wrong by some hundredths of a millimetre.",
    f"The hand shook in IMG_{SHAKEN:04d}.jpg.",
]


def photo_scene() -> tuple[Scene, list[Shot]]:
    """The car, its sheets, and the walk round it."""
    car = photo_car(
        np.random.default_rng(SEED), build=0.6, axle_offset=-5.0, axle_yaw_deg=0.4, toe_deg=(0.1, 0.1),
        camber_deg=(-0.5, -0.5), damage={"rail4": (0.0, -9.0, 0.0), "tail": (0.0, -9.0, 0.0)},
    )  # fmt: skip
    rng = np.random.default_rng(SEED + 1)
    scene = make_scene(car, rng, bars=3, standoff={"crossbarL": -6.0, "crossbarR": -6.0}, first_number=20)
    return scene, walk_round(scene, Camera(), PICTURES, np.random.default_rng(SEED + 2), first=1)


def looks() -> list[Look]:
    """How each picture is taken: the light differs, and in one the hand shook."""
    rng = np.random.default_rng(SEED + 3)
    made = [
        replace(LOOK, blur_px=float(blur), exposure=float(light), electrons=float(9000.0 * light))
        for blur, light in zip(rng.uniform(0.6, 1.1, PICTURES), rng.uniform(0.8, 1.3, PICTURES), strict=True)
    ]
    made[SHAKEN - 1] = replace(made[SHAKEN - 1], motion_px=3.5, motion_deg=25.0)
    return made


def main(folder: Path = PHOTO_CAR, pictures: bool = True) -> None:
    """Write the job and its truth; without `pictures` the tables alone."""
    scene, shots = photo_scene()
    write_photo_job(
        folder, scene, shots if pictures else [], looks() if pictures else [], seed=SEED + 10,
        title="van, photographed on stands",
        stage_info={"date": "2026-05-08", "supported": "stands: four, under the rails", "by": "R."},
    )  # fmt: skip
    _write_truth(folder, scene, shots)


def _write_truth(folder: Path, scene: Scene, shots: Sequence[Shot]) -> None:
    if scene.car is None:
        raise ValueError("the scene has no car")
    wanted = (".offset", ".square", ".thrust", ".toe", ".camber")
    checks = {k: v for k, v in truth(scene.car).items() if k.endswith(wanted) or k.startswith("rails.")}
    lines = [
        "# What was built into this invented car. No command reads this file: it is here to compare with.",
        "faults = [",
        *(f"    {json.dumps(fault)}," for fault in FAULTS),
        "]",
        "",
        "[checks] # true values, mm and degrees",
        *(f"{json.dumps(name)} = {round(value, 3) + 0.0:.3f}" for name, value in checks.items()),
        "",
        *true_lines(scene, shots),
    ]
    write_text(folder / "truth.toml", "\n".join(lines) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else PHOTO_CAR)
