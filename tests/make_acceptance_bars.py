"""Makes sample_data/acceptance_bars anew: `python -m tests.make_acceptance_bars [FOLDER]`. Ten seconds.

Two bars of known length carried round a photographed car, to four places each: along, across, upright and slanted. The
plates on a bar's ends are changed from place to place, so that each place has numbers of its own. The tables are the
same bytes every time; the pictures too, as long as the libraries that blur and compress them are.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.synthetic.photos import (
    Bar,
    Camera,
    Look,
    Pipe,
    Scene,
    Sheet,
    Shot,
    aimed,
    facing,
    jpeg,
    make_scene,
    phone_lens,
    photo_car,
    render,
    sights,
    write_photo_job,
)
from tests.synthetic.photos.photo_job import true_lines, write_text

Array = NDArray[np.float64]
Triple = tuple[float, float, float]

ACCEPTANCE_BARS = Path(__file__).resolve().parents[1] / "sample_data" / "acceptance_bars"
SEED = 503
SIZE = (2592, 1944)
LOOK = Look(blur_px=0.75, quality=75)
LENGTHS = {"A": 1200.042, "B": 900.017}
WRITTEN = {"A": 1200.06, "B": 900.03}
"""mm, what was measured once with a rule and written on the bars."""
FIRST_ON_BARS = 100
A_ROUND = 4
"""Pictures while the bars lie where they lie."""
TRIES = 50
CLEAR = 0.99


@dataclass(frozen=True)
class Place:
    """Where a bar is held: its middle, mm, its direction, and where its plates look."""

    bar: str
    middle: Triple
    along: Triple
    normal: Triple


ROUNDS = (
    (Place("A", (-1050.0, 1000.0, -560.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.35)),
     Place("B", (-2150.0, 1020.0, -330.0), (0.0, 0.0, 1.0), (-0.1, 1.0, 0.1))),
    (Place("A", (-3000.0, 0.0, -600.0), (0.0, 1.0, 0.0), (-1.0, 0.0, 0.35)),
     Place("B", (-3050.0, 650.0, -300.0), (0.0, 1.0, 1.0), (-1.0, 0.1, 0.1))),
    (Place("A", (-800.0, -1000.0, -380.0), (1.0, 0.0, 1.0), (0.1, -1.0, 0.15)),
     Place("B", (-1950.0, -1020.0, -450.0), (1.0, 0.0, -1.0), (-0.1, -1.0, 0.15))),
    (Place("A", (350.0, 540.0, -420.0), (0.7, 1.1, 0.9), (1.0, -0.1, 0.2)),
     Place("B", (350.0, -540.0, -430.0), (0.7, -1.1, 0.9), (1.0, 0.1, 0.2))),
)  # fmt: skip


@cache
def carried() -> tuple[Scene, list[tuple[Scene, Shot]]]:
    """All places in one scene, for the tables, and what stood there when each picture was taken."""
    car = photo_car(np.random.default_rng(SEED), build=0.6)
    bare = make_scene(car, np.random.default_rng(SEED + 1), bars=0, ties=8, cluttered=False)
    rng = np.random.default_rng(SEED + 2)
    camera = Camera(phone_lens(*SIZE), *SIZE)
    every, pictures, count = bare, list[tuple[Scene, Shot]](), 0
    for places in ROUNDS:
        now = bare
        for place in places:
            count += 1
            sheets, bar, tube = _held(place, count, rng)
            points = {s.point: s.centre for s in sheets}
            now = replace(now, sheets=now.sheets + sheets, bars=(*now.bars, bar), pipes=(*now.pipes, tube))
            every = replace(every, sheets=every.sheets + sheets, bars=(*every.bars, bar), points=every.points | points)
        pictures += [(now, shot) for shot in _round(now, camera, len(pictures), rng)]
    return every, pictures


def _held(place: Place, count: int, rng: np.random.Generator) -> tuple[tuple[Sheet, Sheet], Bar, Pipe]:
    """The two plates, the bar, and the tube that they sit on."""
    along = np.array(place.along) / np.linalg.norm(place.along)
    names = [f"{place.bar}{count}{end}" for end in "ab"]
    ends = [np.array(place.middle) + side * LENGTHS[place.bar] / 2 * along for side in (-1.0, 1.0)]
    square = np.array(place.normal) - (along @ place.normal) * along  # the plates sit square on the bar
    turns = [facing(square + rng.normal(0.0, 0.04, 3), rng.uniform(-180.0, 180.0)) for _ in ends]
    number = FIRST_ON_BARS + 2 * count
    plates = [Sheet(number + k, name, end, turn)
              for k, (name, end, turn) in enumerate(zip(names, ends, turns, strict=True))]  # fmt: skip
    behind = [plate.centre - 22.0 * plate.normal for plate in plates]
    return (
        (plates[0], plates[1]),
        Bar(names[0], names[1], LENGTHS[place.bar], WRITTEN[place.bar]),
        Pipe("scale bar", behind[0], behind[1], 18.0, 0.35),
    )


def _round(scene: Scene, camera: Camera, done: int, rng: np.random.Generator) -> list[Shot]:
    """Pictures that show both bars, low and high in turn, each from where most of the car's sheets are seen besides."""
    on_bars = {s.number for s in scene.sheets if s.number >= FIRST_ON_BARS}
    middle = np.mean([s.centre for s in scene.sheets if s.number in on_bars], axis=0)
    outward = np.arctan2(middle[1], middle[0] + 1250.0)
    shots = []
    for k in range(A_ROUND):
        tried = []
        for _ in range(TRIES):
            around = outward + np.radians(-54.0 + 36.0 * k + rng.normal(0.0, 8.0))
            out = np.array([np.cos(around), np.sin(around), 0.0])
            eye = middle * [1.0, 1.0, 0.0] + rng.uniform(1000.0, 2600.0) * out
            eye[2] = scene.floor + (rng.uniform(150.0, 450.0) if k % 2 == 0 else rng.uniform(500.0, 950.0))
            at = middle - rng.uniform(0.0, 900.0) * out + [0.0, 0.0, rng.uniform(100.0, 350.0)]
            shot = aimed(f"IMG_{done + k + 1:04d}.jpg", camera, eye, at, float(rng.normal(0.0, 6.0)), (1, 6, 1, 8)[k])
            seen = {sight.sheet.number for sight in sights(scene, shot) if sight.clear > CLEAR}
            tried.append((6 * len(seen & on_bars) + len(seen), shot))
        shots.append(max(tried, key=lambda each: each[0])[1])
    return shots


def main(folder: Path = ACCEPTANCE_BARS, pictures: bool = True) -> None:
    """Write the job and its truth; without `pictures` the tables alone."""
    every, taken = carried()
    write_photo_job(
        folder, every, [], [], title="two bars carried round a car",
        stage_info={"date": "2026-05-15", "supported": "stands: four, under the rails", "by": "R."},
    )  # fmt: skip
    for k, (scene, shot) in enumerate(taken if pictures else []):
        picture = jpeg(render(scene, shot, LOOK, SEED + 10 + k), shot, LOOK.quality)
        (folder / "before" / "photos" / shot.name).write_bytes(picture)
    _write_truth(folder, every, [shot for _, shot in taken])


def _write_truth(folder: Path, scene: Scene, shots: Sequence[Shot]) -> None:
    lines = [
        "# What was built into this invented car and its bars. No command reads this file: it is here to compare with.",
        *true_lines(scene, shots),
    ]
    write_text(folder / "truth.toml", "\n".join(lines) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else ACCEPTANCE_BARS)
