"""The cameras of a stage's photographs, told apart by what the pictures say of themselves; what is known of each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from calib.camera_file import CameraFile, read_camera_file
from measure.job import CAMERAS
from measure.photo.lens import LENS
from measure.photo.picture import Picture
from measure.readings.kind import Sheet
from measure.readings.photo_files import printable_name
from measure.readings.reading import Camera
from measure.readings.unknowns import Array

FULL_FRAME = 36.0
"""mm, width of the picture that the 35 mm equivalent refers to."""
BELIEVED = (8.0, 400.0)
"""mm, 35 mm equivalents that a lens may have (our judgement); programs that edit pictures write 0, 1 or 65535."""
EXIF_SD = 0.1
"""Relative sd of a focal length from EXIF: rounded, and by width or by diagonal, nobody says which."""
UNSTATED_SD = 0.4
"""The same where EXIF says nothing; first focal length then: 0.8 of the longer side (common practice, no source)."""
UNSTATED = 0.8
LOOSE = {"aspect": 2e-3, "k1": 0.3, "k2": 0.6, "p1": 5e-3, "p2": 5e-3, "k3": 0.6}
"""Prior sd of what is nearly nought in a phone's camera (our judgement)."""
CENTRE_SD = 0.02
"""Prior sd of the principal point over the longer side (our judgement)."""
REFOCUS_SD = 0.002
"""Relative sd by which focusing anew changes a calibrated focal length (our judgement),"""
RESETTLE_SD = 4.0
"""and px by which a stabilised lens shifts its principal point."""


def cameras_of(pictures: Sequence[Picture], sheet: Sheet) -> dict[str, Camera]:
    """The camera of each picture, by file name as it can be printed. Pictures of one key share one camera object."""
    paths = sorted(sheet.job.folder.glob(CAMERAS))
    read = [(path.name, read_camera_file(path, sheet.findings)) for path in paths]
    files = {name: file for name, file in read if file is not None}
    by_key: dict[str, Camera] = {}
    for picture in pictures:
        if picture.camera_key not in by_key:
            by_key[picture.camera_key] = camera_of(picture, files)
    return {printable_name(p.path): by_key[p.camera_key] for p in pictures}


def camera_of(picture: Picture, files: Mapping[str, CameraFile]) -> Camera:
    """What is known of a picture's camera: its camera.toml, else its EXIF focal length, else hardly anything."""
    for name, file in files.items():
        if file.key == picture.camera_key:
            lens, covariance = file.values, file.covariance.copy()
            covariance[0, 0] += (REFOCUS_SD * lens[0]) ** 2
            covariance[2, 2] += RESETTLE_SD**2
            covariance[3, 3] += RESETTLE_SD**2
            return Camera(picture.camera_key, picture.width, picture.height, lens, covariance, name)
    longer = float(max(picture.width, picture.height))
    stated = picture.exif.focal_35mm
    if stated is not None and not BELIEVED[0] <= stated <= BELIEVED[1]:
        stated = None
    focal, sd, known = (
        (stated / FULL_FRAME * longer, EXIF_SD, "EXIF") if stated else (UNSTATED * longer, UNSTATED_SD, "nothing")
    )
    lens = np.zeros(9)
    lens[0], lens[2], lens[3] = focal, (picture.width - 1) / 2, (picture.height - 1) / 2
    sds = dict(LOOSE, focal=sd * focal, cx=CENTRE_SD * longer, cy=CENTRE_SD * longer)
    return Camera(picture.camera_key, picture.width, picture.height, lens, _diagonal(sds), known)


def _diagonal(sds: dict[str, float]) -> Array:
    return np.diag([sds[name] ** 2 for name in LENS])
