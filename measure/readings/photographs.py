"""A stage's photographs read: targets found, cameras told apart, first poses; one reading for each target image.

What cannot be used is named and left out; the rest is still solved.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from math import hypot
from pathlib import Path

import numpy as np

from measure.job import PHOTOS
from measure.photo.code import NUMBERS
from measure.photo.find import FoundPicture, TargetImage, find_in
from measure.photo.first_poses import FirstPoses, View, first_poses
from measure.photo.picture import PictureError
from measure.readings.cameras import cameras_of
from measure.readings.kind import Sheet
from measure.readings.reading import Camera, Reading, Seen
from measure.tables import Row as TableRow

ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif")
SIDE = 80.0
"""mm, of a printed target whose side is not stated."""
GUESSES = (1.0, 0.6, 1.5, 2.4)
"""Factors on the guessed focal length, tried where no picture tells it."""
GOOD_GUESS = 10.0
"""px, misfit of the first poses under which no other guess is tried: a focal length a fifth off comes to that."""
FEWEST_VIEWS = 2
"""Photographs that must see a target before it has a place in space."""
MOST_NAMED = 3
"""Photographs of a group that are named."""


class _Printed:
    """A line of targets.csv."""

    def __init__(self, row: TableRow, number: int, point: str) -> None:
        self.row, self.number, self.point = row, number, point
        self.side = row.figure("side") or SIDE
        self.standoff = row.figure("standoff") or 0.0


def photographs(rows: Sequence[TableRow], sheet: Sheet) -> list[Reading]:
    """Target images of the stage's photographs, for the targets that the rows of targets.csv list."""
    printed = _printed(rows, sheet)
    paths = _pictures(sheet)
    if not printed or not paths:
        if paths or printed:
            _tell_what_is_missing(printed, paths, sheet)
        return []
    found = _usable(find_in(paths, frozenset(printed), progress=sheet.progress), paths, sheet)
    if not found:
        return []
    cameras = cameras_of([picture.picture for picture in found], sheet)
    pictures = [p for p in found if p.targets]
    if not pictures:
        sheet.findings.error(
            f"{sheet.stage}/{PHOTOS}", None, None, f"{len(paths)} photographs without a target of targets.csv",
            "take them nearer, sharp and with more light; the numbers on the sheets must stand in targets.csv",
        )  # fmt: skip
        return []
    cameras, (blocks, lonely) = _posed(pictures, printed, cameras)
    for name in lonely:
        _note(sheet, name, "a photograph that shares too few targets with the others", "it is left out: three are "
              "needed, not in a line; take one more in between")  # fmt: skip
    if not blocks:
        sheet.findings.error(
            f"{sheet.stage}/{PHOTOS}", None, None, f"{len(pictures)} photographs that do not hang together",
            "two must share three targets that do not lie in a line: take more, from farther back",
        )  # fmt: skip
        return []
    if len(blocks) > 1:
        groups = " | ".join(f"{', '.join(list(b.rotations)[:MOST_NAMED])} ({len(b.rotations)} in all)" for b in blocks)
        sheet.findings.note(
            f"{sheet.stage}/{PHOTOS}", None, None, f"photographs in {len(blocks)} groups: {groups}",
            "no two of different groups share three targets: take more that show some of both, or tape between them",
        )  # fmt: skip
    return _readings(pictures, printed, cameras, blocks, sheet)


def _printed(rows: Sequence[TableRow], sheet: Sheet) -> dict[int, _Printed]:
    """Lines by target number; repeats and numbers that no sheet has are errors."""
    by_number: dict[int, _Printed] = {}
    by_point: dict[str, _Printed] = {}
    for row in rows:
        point = sheet.point(row, "point")
        typed = row.figure("target")
        if point is None or typed is None:
            continue
        number = int(typed)
        if number != typed or number >= NUMBERS:
            sheet.complain(row, "target", row.raw.get("target", ""), f"targets are numbered 0 to {NUMBERS - 1}")
            continue
        line = _Printed(row, number, point)
        first = by_number.setdefault(number, line)
        if first is not line:
            sheet.complain(row, "target", str(number), f"it stands in line {first.row.line} already: two sheets must "
                           "not have one number")  # fmt: skip
            continue
        first = by_point.setdefault(point, line)
        if first is not line:
            sheet.complain(row, "point", point, f"it has target {first.number} already (line {first.row.line}): give "
                           "each target a point of its own in points.csv")  # fmt: skip
    return by_number


def _pictures(sheet: Sheet) -> list[Path]:
    folder = sheet.job.folder / sheet.stage / PHOTOS
    if not folder.is_dir():
        return []
    paths = sorted(p for p in folder.iterdir() if p.is_file() and not p.name.startswith("."))
    for path in paths:
        if path.suffix.lower() not in ENDINGS:
            _note(sheet, path.name, "no photograph by its name", "left out; JPEG, PNG, TIFF and HEIC are read")
    return [p for p in paths if p.suffix.lower() in ENDINGS]


def _tell_what_is_missing(printed: dict[int, _Printed], paths: Sequence[Path], sheet: Sheet) -> None:
    if paths and not sheet.findings.errors:
        sheet.findings.error(
            f"{sheet.stage}/targets.csv", None, None, f"{len(paths)} photographs and no target listed",
            "write which printed number sits on which point: target,point,side",
        )  # fmt: skip
    elif printed:
        sheet.findings.note(
            f"{sheet.stage}/{PHOTOS}",
            None,
            None,
            "targets listed and no photograph",
            f"put them in {sheet.stage}/{PHOTOS}",
        )


def _usable(found: Sequence[FoundPicture | PictureError], paths: Sequence[Path], sheet: Sheet) -> list[FoundPicture]:
    """Pictures that could be read, each content once; what was odd about them is noted."""
    first: dict[str, str] = {}
    usable = []
    for path, picture in zip(paths, found, strict=True):
        if isinstance(picture, PictureError):
            _note(sheet, path.name, str(picture.found), f"left out; {picture.would_do}")
            continue
        same = first.setdefault(picture.picture.sha256, path.name)
        if same != path.name:
            _note(sheet, path.name, f"the same picture as {same}", "used once")
            continue
        for note in picture.notes:
            _note(sheet, path.name, note, "the rest of the picture is used")
        if not picture.targets:
            _note(sheet, path.name, "no target of targets.csv seen", "left out")
        usable.append(picture)
    if not usable:
        sheet.findings.error(
            f"{sheet.stage}/{PHOTOS}", None, None, f"{len(paths)} photographs, none of which can be read",
            "see the notes; send the pictures over again as the phone took them",
        )  # fmt: skip
    return usable


def _posed(
    pictures: Sequence[FoundPicture], printed: dict[int, _Printed], cameras: dict[str, Camera]
) -> tuple[dict[str, Camera], tuple[list[FirstPoses], list[str]]]:
    """First poses; where no picture tells its focal length, with the one that the targets fit best."""
    tried = []
    guesses = GUESSES if any(c.known == "nothing" for c in cameras.values()) else (1.0,)
    for guess in guesses:
        scaled = {c.key: _with_focal(c, guess) for c in cameras.values()}
        guessed = {name: scaled[c.key] for name, c in cameras.items()}
        posed = first_poses([_view(p, printed, guessed[p.picture.path.name]) for p in pictures])
        misfit = posed[0][0].misfit * next(iter(scaled.values())).lens[0] if posed[0] else float("inf")
        tried.append((len(posed[1]), misfit, guess, guessed, posed))
        if posed[0] and not posed[1] and misfit < GOOD_GUESS:
            break
    best = min(tried, key=lambda each: each[:3])
    return best[3], best[4]


def _with_focal(camera: Camera, factor: float) -> Camera:
    """A camera of unknown focal length with another guess of it; one that is known stays the same object."""
    if camera.known != "nothing" or factor == 1.0:
        return camera
    lens, covariance = camera.lens.copy(), camera.covariance.copy()
    lens[0] *= factor
    covariance[0, 0] *= factor**2
    return replace(camera, lens=lens, covariance=covariance)


def _view(picture: FoundPicture, printed: dict[int, _Printed], camera: Camera) -> View:
    numbers = [t.number for t in picture.targets]
    corners = np.array([t.corners for t in picture.targets]).reshape(-1, 4, 2)
    sides = np.array([printed[n].side for n in numbers])
    return View(picture.picture.path.name, numbers, corners, sides, camera.lens)


def _readings(
    pictures: Sequence[FoundPicture], printed: dict[int, _Printed], cameras: dict[str, Camera],
    blocks: Sequence[FirstPoses], sheet: Sheet,
) -> list[Reading]:  # fmt: skip
    block_of = {name: block for block in blocks for name in block.rotations}
    used = [p for p in pictures if p.picture.path.name in block_of]
    views = Counter((block_of[p.picture.path.name].name, t.number) for p in used for t in p.targets)
    readings = []
    for picture in used:
        name = picture.picture.path.name
        for target in picture.targets:
            line = printed[target.number]
            if views[block_of[name].name, target.number] < FEWEST_VIEWS:
                _note(sheet, name, f"target {target.number} at {line.point} in this photograph only",
                      "left out; take one more of it from another side")  # fmt: skip
                continue
            readings.append(_reading(name, target, line, cameras[name], block_of[name], sheet))
    seen = {r.seen.number for r in readings if r.seen}
    for number in sorted(set(printed) - seen - {t.number for p in pictures for t in p.targets}):
        line = printed[number]
        sheet.findings.note(f"{sheet.stage}/targets.csv", line.row.line, "target", str(number),
                            f"no photograph shows it: {line.point} is not held by it")  # fmt: skip
    return readings


def _reading(
    name: str, target: TargetImage, line: _Printed, camera: Camera, block: FirstPoses, sheet: Sheet
) -> Reading:
    """One image; what the finder cannot see (paper not flat, a lens not quite as its model) joins its sd."""
    seen = Seen(target.number, np.array(target.corners), line.side, line.standoff, camera, block)
    sd = hypot(target.sd, sheet.job.sd.target)
    u, v = target.centre
    return Reading(
        "target", f"{PHOTOS}/{name}:{target.number}", (line.point,), (float(u), float(v)), sd, name, "", seen
    )


def _note(sheet: Sheet, picture: str, found: str, would_do: str) -> None:
    sheet.findings.note(f"{sheet.stage}/{PHOTOS}/{picture}", None, None, found, would_do)
