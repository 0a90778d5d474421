"""Finding the printed targets in pictures: searched, located, remembered by content.

Two prints of one number in a picture are reported and neither is used: nobody can tell which is which.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from os import cpu_count
from pathlib import Path
from queue import SimpleQueue

import numpy as np

from measure.photo import cache
from measure.photo.beside import Beside, Look
from measure.photo.code import WRONG_BITS
from measure.photo.locate import Located, locate
from measure.photo.picture import Picture, PictureError, grey, open_picture
from measure.photo.search import candidates, wrong_cells
from measure.photo.target_image import Pixel, TargetImage

__all__ = ["FoundPicture", "TargetImage", "find_in", "named", "read_in_a_mirror"]

SMALL = 25.0
"""px, side under which a target is seen but not trusted to be found again."""
MOST_AT_ONCE = 4
"""Pictures held in memory at a time, one a core."""
FEW = 6
"""Pictures for which no other process is begun: that takes as long as three of them."""


@dataclass(frozen=True)
class FoundPicture:
    """The targets of one picture, by number; those that are too `small` among them, and numbers seen `repeated`."""

    picture: Picture
    targets: tuple[TargetImage, ...]
    small: tuple[int, ...] = ()
    repeated: tuple[int, ...] = ()

    @property
    def notes(self) -> tuple[str, ...]:
        """What is odd about the picture, in words."""
        told = [
            f"target {n} is seen more than once: two sheets, or a reflection; neither is used" for n in self.repeated
        ]
        if self.small:
            told.append(f"{named(self.small)} {'is' if len(self.small) == 1 else 'are'} very small here: go nearer")
        return tuple(told)


def named(numbers: Sequence[int]) -> str:
    """As in "target 20" and "targets 20, 22"."""
    return f"target{'' if len(numbers) == 1 else 's'} {', '.join(map(str, numbers))}"


def find_in(
    paths: Sequence[Path],
    numbers: frozenset[int] | None = None,
    *,
    progress: Callable[[int, int], None] | None = None,
) -> list[FoundPicture | PictureError]:
    """What each picture shows, in the order of the paths; `numbers` None means any number of the code.

    Uses all cores; what was found in a picture is remembered by its content. `progress` is told (done, of).
    """
    workers = min(cpu_count() or 1, MOST_AT_ONCE, 1 + len(paths) // FEW)
    others = [Beside(look) for _ in range(workers - 1)]
    free: SimpleQueue[Look] = SimpleQueue()
    for each in (look, *(other.look for other in others)):
        free.put(each)
    found: list[FoundPicture | PictureError] = []
    try:
        with ThreadPoolExecutor(workers) as pool:
            for result in pool.map(lambda path: _find(path, numbers, free), paths):
                found.append(result)
                if progress is not None:
                    progress(len(found), len(paths))
    finally:
        for other in others:
            other.close()
    return found


def _find(path: Path, numbers: frozenset[int] | None, free: SimpleQueue[Look]) -> FoundPicture | PictureError:
    try:
        picture = open_picture(path)
        targets = cache.recall(picture.sha256)
        if targets is None:
            targets = _looked(picture, free)
            cache.remember(picture.sha256, targets)
    except PictureError as error:
        return error
    except OSError as error:
        return PictureError(f"a file that cannot be read ({error.strerror or error})", "see that it may be read")
    except MemoryError:
        return PictureError("too little memory to decode it", "close other programs, or use a smaller picture")
    wanted = [t for t in targets if numbers is None or t.number in numbers]
    return _told(picture, wanted)


def _looked(picture: Picture, free: SimpleQueue[Look]) -> list[TargetImage]:
    """By whichever process is free."""
    its_look = free.get()
    try:
        return its_look(picture)
    finally:
        free.put(its_look)


def look(picture: Picture) -> list[TargetImage]:
    """Every print in a picture, repeats included. Raises PictureError, OSError."""
    import cv2  # heavy

    cv2.setNumThreads(1)  # the pictures share the cores, not the parts of one
    values = grey(picture)
    hoped = candidates(values, None)
    found = [(each.number, at) for each, at in zip(hoped, locate(values, hoped), strict=True) if at is not None]
    wrong = wrong_cells(values, [n for n, _ in found], np.array([at.corners for _, at in found]))
    return [_image(number, at, cells) for (number, at), cells in zip(found, wrong, strict=True) if cells is not None]


def _image(number: int, located: Located, wrong: int) -> TargetImage:
    corners = located.corners
    side = float(np.mean(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)))
    return TargetImage(
        number, _pixel(located.centre), tuple(map(_pixel, corners)), round(located.sd, 5), round(side, 2), wrong
    )  # fmt: skip


def _pixel(place: np.ndarray) -> Pixel:
    """To a ten-thousandth of a pixel: what is remembered is then what was found, to the last digit."""
    return round(float(place[0]), 4), round(float(place[1]), 4)


def _told(picture: Picture, targets: Sequence[TargetImage]) -> FoundPicture:
    """Repeats taken out."""
    count = Counter(t.number for t in targets)
    twice = sorted(number for number, times in count.items() if times > 1)
    kept = sorted((t for t in targets if count[t.number] == 1), key=lambda t: t.number)
    small = [t.number for t in kept if t.side_px < SMALL]
    return FoundPicture(picture, tuple(kept), tuple(small), tuple(twice))


def read_in_a_mirror(picture: Picture) -> list[int]:
    """Numbers of the prints that are seen once the picture is mirrored: of one that a camera saved so.

    None where the picture cannot be decoded.
    """
    try:
        values = np.ascontiguousarray(grey(picture)[:, ::-1])
    except (PictureError, OSError):
        return []
    return sorted({each.number for each in candidates(values, None) if each.wrong_bits <= WRONG_BITS})
