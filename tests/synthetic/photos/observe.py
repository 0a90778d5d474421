"""Target images without pictures: exact places with a noise that has a name, as the finder would hand them on."""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path

import numpy as np

from measure.photo.find import FoundPicture, TargetImage
from measure.photo.picture import Exif, Picture
from tests.synthetic.photos.camera import Camera, Shot
from tests.synthetic.photos.scene import Scene
from tests.synthetic.photos.visible import sights

CORNER_NOISE = 3.0
"""Noise of a corner over that of the centre, on top of the centre's own."""
HIDDEN = 0.99
"""Share that must be clear for a sheet to be found."""


def observe(
    scene: Scene, shots: Sequence[Shot], noise_px: float, rng: np.random.Generator, *,
    inset_px: float = 0.0, folder: Path = Path("photos"),
) -> list[FoundPicture]:  # fmt: skip
    """What the finder hands on for each shot, with noise of sd `noise_px` an axis in the centres.

    `inset_px` moves every corner towards the centre, as a tone curve left in place does. Sheets that something
    hides are not seen.
    """
    return [_found(scene, shot, noise_px, rng, inset_px, folder) for shot in shots]


def _found(
    scene: Scene, shot: Shot, noise_px: float, rng: np.random.Generator, inset_px: float, folder: Path
) -> FoundPicture:
    targets = []
    for sight in sights(scene, shot):
        # Drawn for hidden ones too: a pipe more changes no other image.
        off, corner_off = noise_px * rng.standard_normal(2), CORNER_NOISE * noise_px * rng.standard_normal((4, 2))
        if sight.clear < HIDDEN:
            continue
        arm = sight.corners - sight.centre
        inset = inset_px * np.sqrt(2.0) * arm / np.linalg.norm(arm, axis=1)[:, None]
        centre, corners = sight.centre + off, sight.corners + off + corner_off - inset
        targets.append(TargetImage(
            number=sight.sheet.number, centre=(float(centre[0]), float(centre[1])),
            corners=tuple((float(x), float(y)) for x, y in corners),
            sd=max(noise_px, 1e-6), side_px=sight.side_px, wrong_bits=0,
        ))  # fmt: skip
    return FoundPicture(picture=as_picture(shot, folder), targets=tuple(targets))


def as_picture(shot: Shot, folder: Path) -> Picture:
    """The shot as the reader of pictures would tell of it; its content is its name."""
    return Picture(
        path=folder / shot.name, sha256=sha256(shot.name.encode()).hexdigest(), format="JPEG",
        width=shot.camera.width, height=shot.camera.height, exif=_exif(shot.camera, shot.orientation),
    )  # fmt: skip


def _exif(camera: Camera, orientation: int) -> Exif:
    return Exif(
        make=camera.make, model=camera.model, lens=camera.lens_name, focal_mm=camera.focal_mm,
        focal_35mm=camera.focal_35mm, digital_zoom=None, orientation=orientation,
    )  # fmt: skip
