"""A rendered picture as a phone would write it: JPEG with EXIF."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image as Pillow

from tests.synthetic.photos.camera import Shot
from tests.synthetic.photos.render import Rendered

MAKE, MODEL, ORIENTATION, TAKEN, EXIF_IFD = 0x010F, 0x0110, 0x0112, 0x0132, 0x8769
EXPOSURE, FOCAL, FOCAL_35, LENS_MODEL = 0x829A, 0x920A, 0xA405, 0xA434


def jpeg(picture: Rendered, shot: Shot, quality: int, taken: str = "2026:05:08 14:20:00") -> bytes:
    """JPEG bytes in the sensor's frame; the stored luma is the picture's grey, up to what JPEG itself loses."""
    height, width = picture.grey.shape
    planes = [Pillow.fromarray(picture.grey)]
    for k in range(2):
        plane = np.clip(np.round(picture.chroma[..., k] + 128.0), 0, 255).astype(np.uint8)
        planes.append(Pillow.fromarray(plane).resize((width, height), Pillow.Resampling.BILINEAR))
    out = io.BytesIO()
    Pillow.merge("YCbCr", planes).save(out, "JPEG", quality=quality, subsampling=2, exif=_exif(shot, taken))
    return out.getvalue()


def _exif(shot: Shot, taken: str) -> Pillow.Exif:
    camera = shot.camera
    exif = Pillow.Exif()
    exif[ORIENTATION], exif[TAKEN] = shot.orientation, taken
    inner = exif.get_ifd(EXIF_IFD)
    inner[EXPOSURE] = 1 / 60
    stated = [(exif, MAKE, camera.make), (exif, MODEL, camera.model), (inner, LENS_MODEL, camera.lens_name),
              (inner, FOCAL, camera.focal_mm), (inner, FOCAL_35, camera.focal_35mm)]  # fmt: skip
    for where, tag, value in stated:
        if value:
            where[tag] = round(float(value)) if tag == FOCAL_35 else value
    return exif
