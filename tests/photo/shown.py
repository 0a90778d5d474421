"""Small plain pictures of a few sheets, and where their centres and corners truly lie."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from measure.photo.code import code_cells
from measure.photo.find import FoundPicture, TargetImage, find_in
from measure.photo.locate import Located, locate
from measure.photo.search import Candidate, wrong_cells
from tests.synthetic.photos import (
    Camera,
    Look,
    Rendered,
    Scene,
    Sheet,
    Shot,
    Sight,
    aimed,
    facing,
    jpeg,
    phone_lens,
    sights,
)
from tests.synthetic.photos import render as rendered

Array = NDArray[np.float64]
Grey = NDArray[np.uint8]
SMALL = Camera(phone_lens(1200, 900), 1200, 900)
LARGE = Camera(phone_lens(2400, 1800), 2400, 1800)
"""As a phone's: searched at half its size."""
GROUND = 0.2
"""Light of the plain background."""


@dataclass(frozen=True)
class Shown:
    """A picture (h, w), its truth, and how it was taken."""

    grey: Grey
    sights: list[Sight]
    scene: Scene
    shot: Shot
    look: Look

    def centre(self, number: int) -> Array:
        return next(s.centre for s in self.sights if s.sheet.number == number)

    def save(self, path: Path) -> Path:
        """As a phone's JPEG, or whatever else the ending says, without EXIF."""
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.suffix == ".jpg":
            chroma = np.zeros((-(-self.grey.shape[0] // 4), -(-self.grey.shape[1] // 4), 2), dtype=np.float32)
            path.write_bytes(jpeg(Rendered(self.grey, chroma), self.shot, self.look.quality))
        else:
            Image.fromarray(self.grey).save(path)
        return path


def sheets(
    numbers: Sequence[int], rng: np.random.Generator, *, tilt_deg: float = 35.0, apart: float = 170.0
) -> tuple[Sheet, ...]:
    """Sheets in rows of four before a camera that looks along x, each tilted and spun at random."""
    made = []
    for k, number in enumerate(numbers):
        row, column = divmod(k, 4)
        centre = np.array([0.0, apart * (1.5 - column), apart * (1.0 - row)])
        tilt, way = np.radians(rng.uniform(0, tilt_deg)), rng.uniform(0, 2 * np.pi)
        normal = np.array([-np.cos(tilt), np.sin(tilt) * np.cos(way), np.sin(tilt) * np.sin(way)])
        made.append(Sheet(number, f"p{number}", centre, facing(normal, rng.uniform(-180, 180))))
    return tuple(made)


def show(
    sheets: Sequence[Sheet], *, distance: float = 800.0, look: Look | None = None, seed: int = 1,
    camera: Camera = SMALL, orientation: int = 1, off: tuple[float, float] = (0.0, 0.0), name: str = "a.jpg",
    **scene: object,
) -> Shown:  # fmt: skip
    """The sheets from `distance` mm; `off` moves the camera left and up, mm, still looking at their middle."""
    made = Scene(tuple(sheets), **scene)  # type: ignore[arg-type]
    place, at = np.array([-distance, *off]), np.array([0.0, 0.0, 0.0])
    shot = aimed(name, camera, place, at, 0.0, orientation)
    look = look or Look()
    return Shown(rendered(made, shot, look, seed, plain=GROUND).grey, sights(made, shot), made, shot, look)


def located(shown: Shown, ending: str = "png") -> dict[int, TargetImage]:
    """By number, what is found in the picture; by PNG nothing is lost on the way, by "jpg" it is a phone's."""
    with tempfile.TemporaryDirectory() as folder:
        (found,) = find_in([shown.save(Path(folder) / f"a.{ending}")])
    assert isinstance(found, FoundPicture)
    return {t.number: t for t in found.targets}


def off_by(shown: Shown, found: dict[int, TargetImage]) -> tuple[Array, Array]:
    """Errors of the centres (m, 2) and their sd (m,), in the order of the sights that were found."""
    pairs = [(found[s.sheet.number], s) for s in shown.sights if s.sheet.number in found]
    return np.array([np.array(f.centre) - s.centre for f, s in pairs]), np.array([f.sd for f, _ in pairs])


def fitted(grey: Grey, candidate: Candidate) -> Located | None:
    """One candidate alone."""
    return locate(grey, [candidate])[0]


def wrong(grey: Grey, number: int, corners: Array) -> int | None:
    """Cells of one located print that read wrong."""
    return wrong_cells(grey, [number], corners[None])[0]


def printed(
    number: int, *, cell: int = 12, turns: int = 0, margin: int = 60, flip: Sequence[tuple[int, int]] = ()
) -> Grey:
    """A sheet scanned square on, each cell so many pixels, turned anticlockwise; `flip` names cells misprinted."""
    cells = code_cells(number).copy()
    for row, column in flip:
        cells[row, column] ^= True
    sheet = np.where(np.kron(cells, np.ones((cell, cell), dtype=bool)), 20, 230).astype(np.uint8)
    return np.ascontiguousarray(np.rot90(np.pad(sheet, margin, constant_values=230), turns))


def mirrored(sheet: Sheet) -> Sheet:
    return replace(sheet, turn=sheet.turn * [-1.0, 1.0, 1.0])
