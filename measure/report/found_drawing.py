"""Pictures with their targets outlined and numbered, upright as a person sees them."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from measure.atomic import write_atomically
from measure.photo.find import FoundPicture
from measure.photo.picture import TURNS, PictureError, grey, upright

if TYPE_CHECKING:
    from PIL import ImageDraw, ImageFont

Array = NDArray[np.float64]
Box = tuple[float, float, float, float]
"""Left, top, right, bottom, px of the drawing."""

LONGEST = 2000
"""px, longer side of a drawing: enough to see every outline, a tenth of the picture's own bytes."""
OUTLINE, FIRST, PLATE = (255, 0, 200), (0, 220, 255), (20, 20, 20)
"""Outline; dot at the printed top left; ground of the number. Seen on black and on white."""
LETTER = 22
"""px, height of a number."""


def draw_found(folder: Path, found: Sequence[FoundPicture]) -> list[Path]:
    """Write FOLDER/NAME.png for each picture and return the paths; a second picture of one name is NAME_2.png.

    A picture that can no longer be decoded is left out. Each file is written only when its drawing is complete.
    """
    written: list[Path] = []
    for each in found:
        try:
            drawing = _drawn(each)
        except PictureError:
            continue
        path, k = folder / f"{each.picture.path.stem}.png", 1
        while path in written:
            k += 1
            path = folder / f"{each.picture.path.stem}_{k}.png"
        write_atomically(path, drawing)
        written.append(path)
    return written


def _drawn(found: FoundPicture) -> bytes:
    from PIL import Image, ImageDraw, ImageFont

    exif = found.picture.exif
    image = Image.fromarray(np.ascontiguousarray(upright(grey(found.picture), exif)))
    share = min(1.0, LONGEST / max(image.size))
    size = max(1, round(image.width * share)), max(1, round(image.height * share))
    image = image.resize(size, Image.Resampling.BOX).convert("RGB")
    draw, font = ImageDraw.Draw(image), ImageFont.load_default(LETTER)
    taken: list[Box] = []
    for target in found.targets:
        at = (turned(np.array([target.centre, *target.corners]), found) + 0.5) * share - 0.5
        _outline(draw, at)
        taken.append((*at.min(axis=0).tolist(), *at.max(axis=0).tolist()))
    for target, square in zip(found.targets, list(taken), strict=True):
        taken.append(_number(draw, font, str(target.number), square, taken, size))
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


def turned(pixels: Array, found: FoundPicture) -> Array:
    """Pixels (m, 2) of the sensor's frame where `upright` puts them."""
    x, y = pixels[:, 0], pixels[:, 1]
    right, bottom = found.picture.width - 1, found.picture.height - 1
    quarter = TURNS.get(found.picture.exif.orientation, 0)
    at = {0: (x, y), 1: (y, right - x), 2: (right - x, bottom - y), 3: (bottom - y, x)}[quarter]
    return np.column_stack(at)


def _outline(draw: ImageDraw.ImageDraw, at: Array) -> None:
    """Centre and corners `at` (5, 2) px of the drawing."""
    centre, corners = at[0], at[1:]
    ring = [(float(x), float(y)) for x, y in np.vstack([corners, corners[:1]])]
    draw.line(ring, fill=OUTLINE, width=3, joint="curve")
    x, y = map(float, centre)
    draw.line([(x - 5, y), (x + 5, y)], fill=OUTLINE, width=1)
    draw.line([(x, y - 5), (x, y + 5)], fill=OUTLINE, width=1)
    x, y = ring[0]
    draw.ellipse([x - 5, y - 5, x + 5, y + 5], fill=FIRST)


def _number(
    draw: ImageDraw.ImageDraw, font: ImageFont.ImageFont | ImageFont.FreeTypeFont, text: str, square: Box,
    taken: Sequence[Box], size: tuple[int, int],
) -> Box:  # fmt: skip
    """The number on a plate beside the square, where it covers least of what is drawn, inside the picture of `size`."""
    left, top, right, bottom = draw.textbbox((0, 0), text, font=font)
    wide, high = right - left + 8, bottom - top + 8
    x0, y0, x1, y1 = square
    middle = ((x0 + x1 - wide) / 2, (y0 + y1 - high) / 2)
    places = ((x1 + 6, middle[1]), (x0 - 6 - wide, middle[1]), (middle[0], y0 - 6 - high), (middle[0], y1 + 6))
    plates = []
    for x, y in places:
        x, y = min(max(x, 0.0), size[0] - wide), min(max(y, 0.0), size[1] - high)
        plates.append((x, y, x + wide, y + high))
    plate = min(plates, key=lambda p: sum(_covered(p, other) for other in taken))  # the first of equals
    draw.rectangle(plate, fill=PLATE)
    draw.text((plate[0] + 4 - left, plate[1] + 4 - top), text, font=font, fill=OUTLINE)
    return plate


def _covered(a: Box, b: Box) -> float:
    """Area that two boxes share, px^2."""
    return max(0.0, min(a[2], b[2]) - max(a[0], b[0])) * max(0.0, min(a[3], b[3]) - max(a[1], b[1]))
