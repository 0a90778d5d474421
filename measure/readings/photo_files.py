"""The files of a stage's photographs: those in their place, those that lie elsewhere, those that two stages share."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from hashlib import sha256
from pathlib import Path

from measure.findings import LONGEST_WORDS, visible
from measure.job import PHOTOS
from measure.photo.find import FoundPicture
from measure.readings.kind import Sheet

ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif")


def pictures_of(sheet: Sheet) -> list[Path]:
    """The stage's pictures, by name; what else lies there is noted, and so are pictures that lie a folder too deep."""
    folder = sheet.job.folder / sheet.stage / PHOTOS
    inside = [p for p in _listed(folder) if not p.name.startswith(".")]
    for path in inside:
        if path.suffix.lower() not in ENDINGS:
            if path.is_file():
                note(
                    sheet,
                    printable_name(path),
                    "no photograph by its name",
                    "left out; JPEG, PNG, TIFF and HEIC are read",
                )
        elif not path.is_file():
            note(
                sheet,
                printable_name(path),
                "a folder, a pipe or a link that leads nowhere, and no photograph",
                "left out",
            )
    paths = [p for p in inside if p.suffix.lower() in ENDINGS and p.is_file()]
    if paths:
        for too_deep, count in _holding_pictures(p for p in inside if p.is_dir()):
            note(sheet, too_deep.name, f"{counted(count)} in a folder within {PHOTOS}",
                 f"left out; move them into {sheet.stage}/{PHOTOS}")  # fmt: skip
    return paths


def complain_of_their_place(sheet: Sheet) -> bool:
    """Where the stage's folder of photographs holds none: say where some lie instead; whether there are any."""
    job, stage = sheet.job.folder, sheet.job.folder / sheet.stage
    beside = [p for p in _listed(job) if p.name.casefold() == PHOTOS]
    found = _holding_pictures([*_listed(stage / PHOTOS), *_listed(stage), stage, *beside, job])
    if found:
        told = ", ".join(f"{counted(count)} in {_within(job, folder)}" for folder, count in found)
        complain(sheet, told, f"move them into {sheet.stage}/{PHOTOS}: nowhere else are they looked for")
    return bool(found)


def complain_of_the_turned_stage(found: Sequence[FoundPicture], sheet: Sheet) -> None:
    """Half a turn of the wheels apart no two photographs are the same: an error where all are, a note where some."""
    info = sheet.job.stage_info.get(sheet.stage)
    if info is None or info.turned is None or not found:
        return
    sizes = {p.picture.path.stat().st_size for p in found}
    theirs = [p for p in _listed(sheet.job.folder / info.turned / PHOTOS) if p.is_file() and p.stat().st_size in sizes]
    known = {sha256(p.read_bytes()).hexdigest() for p in theirs}
    same = [p for p in found if p.picture.sha256 in known]
    tell = sheet.findings.error if len(same) == len(found) else sheet.findings.note
    if same:
        tell(
            f"{sheet.stage}/{PHOTOS}", None, None, f"{counted(len(same))} of {len(found)} that {info.turned} holds too",
            f"job.toml says that the wheels stood half a turn on in {info.turned}: turn them, and photograph the faces "
            "again",
        )  # fmt: skip


def complain(sheet: Sheet, found: str, would_do: str) -> None:
    """Nothing can be had from the photographs: an error, but a note where the stage has other readings to go by."""
    if sheet.others:
        sheet.findings.note(f"{sheet.stage}/{PHOTOS}", None, None, found, f"left out; {would_do}")
    else:
        sheet.findings.error(f"{sheet.stage}/{PHOTOS}", None, None, found, would_do)


def note(sheet: Sheet, picture: str, found: str, would_do: str) -> None:
    """Something to know of one picture."""
    sheet.findings.note(f"{sheet.stage}/{PHOTOS}/{picture}", None, None, found, would_do)


def name_of(found: FoundPicture) -> str:
    """A picture's file name, as it can be printed."""
    return printable_name(found.picture.path)


def printable_name(path: Path) -> str:
    """The name of a file, whole, with what cannot be printed spelled out."""
    return visible(path.name, LONGEST_WORDS)


def counted(count: int) -> str:
    """As in "one photograph" and "12 photographs"."""
    return "one photograph" if count == 1 else f"{count} photographs"


def _listed(folder: Path) -> list[Path]:
    return sorted(folder.iterdir()) if folder.is_dir() else []


def _holding_pictures(folders: Iterable[Path]) -> list[tuple[Path, int]]:
    """Those of the folders that hold pictures, and how many."""
    counts = [
        (folder, sum(p.suffix.lower() in ENDINGS and not p.name.startswith(".") and p.is_file() for p in inside))
        for folder in folders if folder.is_dir() and (inside := _listed(folder))
    ]  # fmt: skip
    return [(folder, count) for folder, count in counts if count]


def _within(job: Path, folder: Path) -> str:
    return "the job's own folder" if folder == job else folder.relative_to(job).as_posix()
