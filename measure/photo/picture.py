"""One picture: what its header says, and its grey values in the sensor's own frame (before any EXIF rotation).

Pixels are counted as the sensor lies: turning a picture upright would swap the axes of the lens.
"""

from __future__ import annotations

import hashlib
import io
import warnings
from dataclasses import dataclass
from pathlib import Path
from stat import S_ISREG
from typing import Any, Literal, cast

import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

Grey = NDArray[np.uint8]
Format = Literal["JPEG", "PNG", "TIFF", "HEIF"]

MOST_PIXELS = 220_000_000
"""Larger pictures are refused by their header, before anything is decoded."""
MOST_BYTES = 400_000_000
FORMATS: dict[str, Format] = {"JPEG": "JPEG", "MPO": "JPEG", "PNG": "PNG", "TIFF": "TIFF", "HEIF": "HEIF"}
TURNS = {1: 0, 3: 2, 6: 3, 8: 1}
"""Quarter turns anticlockwise that bring the sensor's frame upright, by EXIF orientation."""
EXIF_IFD = 0x8769

Image.MAX_IMAGE_PIXELS = MOST_PIXELS  # Pillow's own alarm; ours speaks first


class PictureError(Exception):
    """A picture that cannot be used: `found` says what is wrong, `would_do` what would help."""

    def __init__(self, found: str, would_do: str) -> None:
        super().__init__(f"{found}: {would_do}")
        self.found, self.would_do = found, would_do


@dataclass(frozen=True)
class Exif:
    """What the camera wrote of itself; empty or None where it wrote nothing. Lengths mm."""

    make: str = ""
    model: str = ""
    lens: str = ""
    focal_mm: float | None = None
    focal_35mm: float | None = None
    digital_zoom: float | None = None
    orientation: int = 1


@dataclass(frozen=True)
class Picture:
    """A picture's file and header; `width` and `height` in the sensor's frame."""

    path: Path
    sha256: str
    format: Format
    width: int
    height: int
    exif: Exif

    @property
    def camera_key(self) -> str:
        """One text for each camera, lens, picture size and zoom: pictures that share it share a lens."""
        e = self.exif
        of_lens = "" if e.focal_mm is None else f"{e.focal_mm:g} mm"
        of_frame = "" if e.focal_35mm is None else f"{e.focal_35mm:g} mm in 35 mm"
        zoom = "" if e.digital_zoom in (None, 0.0, 1.0) else f"zoom {e.digital_zoom:g}"
        parts = (e.make, e.model, e.lens, of_lens, of_frame, f"{self.width} x {self.height}", zoom)
        return ", ".join(part for part in parts if part)


def open_picture(path: Path) -> Picture:
    """Read a picture's header. Raises PictureError, in words, for what is no usable picture; OSError if unreadable."""
    of_file = path.stat()
    if not S_ISREG(of_file.st_mode):  # a pipe would be waited for
        raise PictureError("a folder, a pipe or the like, and no file", "name a picture")
    size = of_file.st_size
    if size == 0:
        raise PictureError("an empty file", "copy the picture over again")
    if size > MOST_BYTES:
        raise PictureError(f"a file of {size / 1e6:.0f} MB", "send the picture as the phone took it")
    data = path.read_bytes()
    image = _opened(data)
    kind = FORMATS.get(str(image.format))
    if kind is None:
        raise PictureError(f"a {image.format} picture", "use JPEG, PNG, TIFF or HEIC")
    if image.width * image.height > MOST_PIXELS:
        raise PictureError(
            f"{image.width} x {image.height} pixels", f"at most {MOST_PIXELS // 1_000_000} million are read"
        )
    if image.format != "MPO" and getattr(image, "n_frames", 1) > 1:
        raise PictureError(f"{image.n_frames} pictures in one file", "save them one by one")  # type: ignore[attr-defined]
    if image.mode == "CMYK":
        raise PictureError("a four-colour picture, as made for print", "use the picture as the camera took it")
    exif, turned = _exif(image)
    if kind == "TIFF" and exif.orientation != 1:
        # its readers turn it upright or not as they please, so nobody can tell how the sensor lay
        raise PictureError("a TIFF that says it wants turning", "use the JPEG that the camera took")
    width, height = (image.height, image.width) if turned else image.size
    return Picture(path, hashlib.sha256(data).hexdigest(), kind, width, height, exif)


def grey(picture: Picture) -> Grey:
    """Grey values (h, w) in the sensor's frame, as encoded (not linear). Raises PictureError where there are none."""
    data = picture.path.read_bytes()
    if picture.format == "HEIF":
        return _grey_heif(data, picture)
    if picture.format == "JPEG" and not _is_whole(data):
        raise PictureError("a picture cut off before its end", "copy it over again")
    import cv2  # heavy

    how = cv2.IMREAD_IGNORE_ORIENTATION | cv2.IMREAD_GRAYSCALE
    if picture.format != "JPEG":
        how |= cv2.IMREAD_ANYDEPTH
    try:
        values = cv2.imdecode(np.frombuffer(data, np.uint8), how)
    except cv2.error:
        values = None
    if values is None:
        raise PictureError("a picture that cannot be decoded", "copy it over again, or save it anew as JPEG")
    if values.dtype == np.uint16:  # 16 bits carry the same tone curve as 8
        values = np.round(values / 257.0)
    elif values.dtype != np.uint8:
        raise PictureError(f"grey values of type {values.dtype}", "save it with 8 or 16 bits a channel")
    return cast(Grey, np.ascontiguousarray(values, dtype=np.uint8))


def upright(values: NDArray[Any], exif: Exif) -> NDArray[Any]:
    """The picture (h, w, ...) turned as a person sees it, for showing only; mirrored orientations stay as they are."""
    return np.rot90(values, TURNS.get(exif.orientation, 0))


def _opened(data: bytes) -> Image.Image:
    if data[4:8] == b"ftyp":
        try:
            from pi_heif import register_heif_opener
        except ImportError:
            raise PictureError(
                "a HEIC picture, and no reader for it", "set the camera to JPEG, or install pi-heif"
            ) from None
        register_heif_opener()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            known = ("JPEG", "PNG", "TIFF", "GIF", "WEBP", "BMP")
            return Image.open(io.BytesIO(data), formats=("HEIF",) if data[4:8] == b"ftyp" else known)
    except Image.DecompressionBombError:
        raise PictureError("far too many pixels", f"at most {MOST_PIXELS // 1_000_000} million are read") from None
    except UnidentifiedImageError:
        text = data[:200].decode("utf-8", "replace")
        looks = "text" if all(c.isprintable() or c.isspace() for c in text) and "\ufffd" not in text else "no picture"
        raise PictureError(f"{looks}, whatever its name says", "send the picture as the phone took it") from None
    except (OSError, SyntaxError, ValueError, EOFError):
        raise PictureError("a damaged picture", "copy it over again") from None


def _exif(image: Image.Image) -> tuple[Exif, bool]:
    """What EXIF says, and whether the size read is of the upright picture and must be turned back."""
    try:
        tags = image.getexif()
        more = tags.get_ifd(EXIF_IFD)
    except (OSError, SyntaxError, ValueError, KeyError, EOFError):
        return Exif(), False
    orientation = _whole(tags.get(274), 1)
    turned = False
    if image.format == "HEIF":  # already upright; the tag was rewritten
        orientation = _whole(image.info.get("original_orientation"), 1)
        turned = orientation in (5, 6, 7, 8)
    return Exif(
        _text(tags.get(271)), _text(tags.get(272)), _text(more.get(42036)), _figure(more.get(37386)),
        _figure(more.get(41989)), _figure(more.get(41988)), orientation,
    ), turned  # fmt: skip


def _text(value: object) -> str:
    text = value.decode("latin-1") if isinstance(value, bytes) else str(value or "")
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())[:80]


def _figure(value: object) -> float | None:
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if np.isfinite(number) and number > 0 else None


def _whole(value: object, default: int) -> int:
    return value if isinstance(value, int) and 1 <= value <= 8 else default


def _is_whole(data: bytes) -> bool:
    """Whether a JPEG's own end is there: past its header, for a preview in the header has an end as well."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker, length = data[at + 1], int.from_bytes(data[at + 2 : at + 4], "big")
        if marker == 0xDA:
            return data.rfind(b"\xff\xd9", at) >= 0  # from the end, where it should be
        at += 1 if marker == 0xFF else 2 + length
    return False


def _grey_heif(data: bytes, picture: Picture) -> Grey:
    """Decoded upright, turned back into the sensor's frame."""
    try:
        values = np.asarray(_opened(data).convert("L"))
    except (OSError, ValueError, RuntimeError):
        raise PictureError("a damaged HEIC picture", "copy it over again") from None
    return np.ascontiguousarray(np.rot90(values, -TURNS.get(picture.exif.orientation, 0)))
