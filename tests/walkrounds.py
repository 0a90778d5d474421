"""Simulated walk-rounds as jobs: exact target images with noise in place of pictures, for tests and benchmarks."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

import measure.readings.photographs as photographs
from measure.photo.find import FoundPicture, TargetImage
from tests.synthetic.car import Car
from tests.synthetic.photos import Camera, Scene, Shot, make_scene, observe, phone_lens, photo_car, walk_round
from tests.synthetic.photos.photo_job import write_photo_job

NOISE = 0.04
CAR: dict[str, Any] = {
    "axle_offset": -5.0, "axle_yaw_deg": 0.4, "toe_deg": (0.1, 0.1), "camber_deg": (-0.5, -0.5),
    "damage": {"rail4": (0.0, -9.0, 0.0)},
}  # fmt: skip


@dataclass
class WalkRound:
    """A car, its sheets, the shots, and what a perfect finder but for noise would hand on; `found` may be spoilt."""

    car: Car
    scene: Scene
    shots: Sequence[Shot]
    found: list[FoundPicture] = field(default_factory=list)

    def write(self, folder: Path, **settings: Any) -> Path:
        """The job, with empty files in place of pictures; [sd] target 0: the finder's own sd is right here."""
        sd = {"target": 0.0, "build": 0.6} | settings.pop("sd", {})
        return write_photo_job(folder, self.scene, self.shots, None, sd=sd, **settings)

    def spoil(self, change: Callable[[str, TargetImage], TargetImage | None]) -> None:
        """Change or drop target images: called with the picture's name and the image."""
        for i, picture in enumerate(self.found):
            kept = [change(picture.picture.path.name, target) for target in picture.targets]
            self.found[i] = replace(picture, targets=tuple(t for t in kept if t is not None))

    @contextmanager
    def seen(self) -> Iterator[None]:
        """The finder finds this, in whatever pictures it is asked about."""
        by_name = {p.picture.path.name: p for p in self.found}
        before = photographs.find_in
        photographs.find_in = lambda paths, numbers=None, *, progress=None: [by_name[p.name] for p in paths]  # type: ignore[assignment]
        try:
            yield
        finally:
            photographs.find_in = before


def walked(
    seed: int, *, pictures: int = 16, noise: float = NOISE, focal: float = 1.0, exif: bool = True, car: Any = None,
    build: float = 0.6, **scene: Any,
) -> WalkRound:  # fmt: skip
    """A car walked round. `focal`: factor on the focal length; `exif` False: the camera says nothing of itself."""
    made = photo_car(np.random.default_rng(seed), build=build, **(CAR if car is None else car))
    sheets = make_scene(made, np.random.default_rng(seed + 1), **{"bars": 3} | scene)
    lens = phone_lens()
    lens[0] *= focal
    camera = Camera(lens, **({} if exif else {"make": "", "model": "", "lens_name": "", "focal_mm": None,
                                               "focal_35mm": None}))  # fmt: skip
    shots = walk_round(sheets, camera, pictures, np.random.default_rng(seed + 2))
    return WalkRound(made, sheets, shots, observe(sheets, shots, noise, np.random.default_rng(seed + 3)))
