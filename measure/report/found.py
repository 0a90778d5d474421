"""What `plumbsquare find` says: which pictures can be used and what they show; then where, and how well."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from rich.console import Console

from measure.photo.find import FoundPicture
from measure.photo.picture import PictureError
from measure.photo.target_image import Pixel
from measure.report.lines import Lines

NOTHING = "no target seen: go nearer, hold still, more light; the white border must show all round"


@dataclass(frozen=True)
class TargetSeen:
    """`centre` and `corners` px, in the sensor's own frame; `sd` px of one coordinate of the centre."""

    id: int
    centre: Pixel
    corners: tuple[Pixel, ...]
    sd: float


@dataclass(frozen=True)
class PictureSeen:
    """One picture of the document; `width` and `height` None: it cannot be used, and the note says why."""

    photo: str
    width: int | None
    height: int | None
    targets: tuple[TargetSeen, ...]
    notes: tuple[str, ...]


def document(paths: Sequence[Path], found: Sequence[FoundPicture | PictureError]) -> list[PictureSeen]:
    """What `--json` writes, a picture each, named as it was asked for."""
    return [_seen(path, each) for path, each in zip(paths, found, strict=True)]


def _seen(path: Path, found: FoundPicture | PictureError) -> PictureSeen:
    if isinstance(found, PictureError):
        return PictureSeen(path.as_posix(), None, None, (), (str(found),))
    targets = tuple(TargetSeen(t.number, t.centre, t.corners, t.sd) for t in found.targets)
    return PictureSeen(path.as_posix(), found.picture.width, found.picture.height, targets, found.notes)


def unusable(paths: Sequence[Path], found: Sequence[FoundPicture | PictureError]) -> list[str]:
    """A line for each picture that cannot be used: what was found, and what would do."""
    pairs = zip(paths, found, strict=True)
    return [f"{path}: {error.found}; {error.would_do}" for path, error in pairs if isinstance(error, PictureError)]


def found_lines(paths: Sequence[Path], found: Sequence[FoundPicture | PictureError], console: Console) -> None:
    """The shop's words first, then a table, then what was odd."""
    lines = Lines(console)
    pictures = [each for each in found if isinstance(each, FoundPicture)]
    showing = [each for each in pictures if each.targets]
    numbers = {t.number for each in showing for t in each.targets}
    lines.line(f"{_many(len(numbers), 'target')} seen in {len(showing)} of {_many(len(paths), 'picture')}.")
    if showing:
        lines.blank()
        heads = ("picture", ">targets", ">smallest px", ">sd px", "numbers")
        lines.table(heads, [_row(each) for each in showing], wrap=("picture", "numbers"))
        lines.blank()
        lines.line("px: side of the smallest black square; sd: of one coordinate of a centre, the middle of all.")
    odd = [f"{each.picture.path}: {note}" for each in pictures for note in each.notes]
    odd += [f"{each.picture.path}: {NOTHING}" for each in pictures if not each.targets]
    if odd:
        lines.heading("To look at")
    for words in odd:
        lines.item(words)
    left_out = unusable(paths, found)
    if left_out:
        lines.heading("Cannot be used")
    for words in left_out:
        lines.item(words)


def _row(found: FoundPicture) -> tuple[str, ...]:
    targets = found.targets
    numbers = " ".join(str(t.number) for t in targets)
    smallest, sd = min(t.side_px for t in targets), median(t.sd for t in targets)
    return found.picture.path.name, str(len(targets)), f"{smallest:.0f}", f"{sd:.3f}", numbers


def _many(count: int, thing: str) -> str:
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"
