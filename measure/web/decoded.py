"""What is done with a picture in the process that decodes it: looking through it, and making it small enough to show.

Nothing else of the page is imported here, so that the process is soon ready.
"""

from __future__ import annotations

import io
from pathlib import Path

from measure.photo.find import FoundPicture, find_in
from measure.photo.picture import TURNS, PictureError, open_picture

WIDE = 1000
"""px, the longer side of a reduced picture."""
MOST_PIXELS_SHOWN = 80_000_000
"""A larger picture that cannot be read reduced is not shown; it is still measured."""


def looked(path: Path) -> FoundPicture:
    """What a picture shows. Raises PictureError."""
    (found,) = find_in([path])
    if isinstance(found, PictureError):
        raise found
    return found


def drawn(path: Path, found: FoundPicture | None) -> bytes:
    """A JPEG of at most 1000 px, upright, the targets drawn over it. Raises PictureError, OSError."""
    picture = open_picture(path)  # refuses bombs by their header, before anything is decoded
    from PIL import Image, ImageDraw

    with Image.open(path) as image:
        image.draft("RGB", (WIDE, WIDE))
        if image.width * image.height > MOST_PIXELS_SHOWN:
            raise PictureError("a picture too large to show", "it is measured all the same")
        small = image.convert("RGB")
    small.thumbnail((WIDE, WIDE))
    scale = max(small.size) / max(picture.width, picture.height)
    turns = TURNS.get(picture.exif.orientation, 0)
    if picture.format == "HEIF":  # its reader hands the picture out upright
        turns, found = 0, None if turns else found
    pen = ImageDraw.Draw(small)
    for target in found.targets if found else ():
        ring = [(x * scale, y * scale) for x, y in target.corners]
        pen.line([*ring, ring[0]], fill=(0, 0, 0), width=6)
        pen.line([*ring, ring[0]], fill=(255, 221, 64), width=3)
        x, y = target.centre[0] * scale, target.centre[1] * scale
        pen.line([(x - 6, y), (x + 6, y)], fill=(255, 221, 64), width=2)
        pen.line([(x, y - 6), (x, y + 6)], fill=(255, 221, 64), width=2)
    if turns:
        small = small.rotate(90 * turns, expand=True)
    out = io.BytesIO()
    small.save(out, "JPEG", quality=80)
    return out.getvalue()
