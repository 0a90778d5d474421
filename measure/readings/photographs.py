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
from measure.photo.find import FoundPicture, TargetImage, find_in, named, read_in_a_mirror
from measure.photo.first_poses import FirstPoses, View, first_poses
from measure.photo.picture import PictureError
from measure.photo.side_by_the_rest import side_by_the_rest
from measure.readings.cameras import cameras_of
from measure.readings.kind import Sheet
from measure.readings.photo_files import (
    complain,
    complain_of_the_turned_stage,
    complain_of_their_place,
    counted,
    name_of,
    note,
    pictures_of,
    printable_name,
)  # fmt: skip
from measure.readings.reading import Camera, Reading, Seen
from measure.tables import Row as TableRow

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
MOST_MIRRORED = 3
"""Photographs without a target that are looked at in a mirror in vain."""
UNMIRROR = "switch off what mirrors pictures in the camera (as for pictures of oneself), and take them again"


class _Printed:
    """A line of targets.csv."""

    def __init__(self, row: TableRow, number: int, point: str) -> None:
        self.row, self.number, self.point = row, number, point
        self.side = row.figure("side") or SIDE
        self.standoff = row.figure("standoff") or 0.0


def photographs(rows: Sequence[TableRow], sheet: Sheet) -> list[Reading]:
    """Target images of the stage's photographs, for the targets that the rows of targets.csv list."""
    printed = _printed(rows, sheet)
    paths = pictures_of(sheet)
    if not printed or not paths:
        _tell_what_is_missing(printed, paths, sheet)
        return []
    found = _usable(find_in(paths, frozenset(printed), progress=sheet.progress), paths, printed, sheet)
    if not found:
        return []
    complain_of_the_turned_stage(found, sheet)
    cameras = cameras_of([picture.picture for picture in found], sheet)
    pictures = [p for p in found if p.targets]
    if not pictures:
        return []
    cameras, (blocks, lonely) = _posed(pictures, printed, cameras)
    if not blocks:
        found_so, would_do = (
            ("targets in one photograph only", "take more: two must share three targets that do not lie in a line")
            if len(pictures) == 1 else
            (f"{len(pictures)} photographs that do not hang together", "two must share three targets that do not lie "
             "in a line: take more, from farther back")
        )  # fmt: skip
        complain(sheet, found_so, would_do)
        return []
    for name in lonely:
        note(sheet, name, "a photograph that shares too few targets with the others", "it is left out: three are "
             "needed, not in a line; take one more in between")  # fmt: skip
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


def _tell_what_is_missing(printed: dict[int, _Printed], paths: Sequence[Path], sheet: Sheet) -> None:
    if paths and not sheet.findings.errors:
        complain(sheet, f"{counted(len(paths))} and no target listed",
                 "write in targets.csv which printed number sits on which point: target,point,side")  # fmt: skip
    elif printed and not paths and not complain_of_their_place(sheet):
        sheet.findings.note(
            f"{sheet.stage}/{PHOTOS}", None, None, "targets listed and no photograph",
            f"put them in {sheet.stage}/{PHOTOS}",
        )  # fmt: skip


def _usable(
    found: Sequence[FoundPicture | PictureError], paths: Sequence[Path], printed: dict[int, _Printed], sheet: Sheet
) -> list[FoundPicture]:
    """Pictures that could be read, each content once, without numbers that two sheets have; what is odd is noted."""
    first: dict[str, str] = {}
    usable = []
    for path, picture in zip(paths, found, strict=True):
        name = printable_name(path)
        if isinstance(picture, PictureError):
            note(sheet, name, str(picture.found), f"left out; {picture.would_do}")
            continue
        same = first.setdefault(picture.picture.sha256, name)
        if same != name:
            note(sheet, name, f"the same picture as {same}", "used once")
            continue
        if picture.small:
            verb = "is" if len(picture.small) == 1 else "are"
            note(sheet, name, f"{named(picture.small)} that {verb} very small here", "go nearer")
        usable.append(picture)
    if not usable:
        complain(sheet, f"{counted(len(paths))}, none of which can be read",
                 "see the notes; send the pictures over again as the phone took them")  # fmt: skip
        return []
    usable = _without_repeated(usable, printed, sheet)
    _tell_of_those_without(usable, sheet)
    return usable


def _without_repeated(
    pictures: Sequence[FoundPicture], printed: dict[int, _Printed], sheet: Sheet
) -> list[FoundPicture]:
    """A number that two sheets show in any picture is used in none: nobody can tell which of them is seen elsewhere."""
    repeated = sorted({n for p in pictures for n in p.repeated})
    for number in repeated:
        names = [name_of(p) for p in pictures if number in p.repeated]
        _note_target(sheet, printed[number], f"seen more than once in {_some(names)}",
                     "two sheets have this number, or one is seen in a mirror: it is used in no picture; print another "
                     "number for one of them")  # fmt: skip
    return [replace(p, targets=tuple(t for t in p.targets if t.number not in repeated)) for p in pictures]


def _tell_of_those_without(pictures: Sequence[FoundPicture], sheet: Sheet) -> None:
    """Pictures without a target, which a camera may have mirrored."""
    without = [p for p in pictures if not p.targets]
    mirrored: dict[str, list[int]] = {}
    for tried, picture in enumerate(without):
        if tried - len(mirrored) < MOST_MIRRORED and (numbers := read_in_a_mirror(picture.picture)):
            mirrored[name_of(picture)] = numbers
    for name in map(name_of, without):
        if name in mirrored:
            note(sheet, name, f"a mirrored picture: in a mirror one reads {named(mirrored[name])}", "left out")
        else:
            note(sheet, name, "no target of targets.csv seen", "left out")
    if len(without) == len(pictures):
        complain(
            sheet, f"{counted(len(pictures))}{', mirrored,' if mirrored else ''} without a target of targets.csv",
            UNMIRROR if mirrored else
            "take them nearer, sharp and with more light; the numbers on the sheets must stand in targets.csv",
        )  # fmt: skip


def _some(names: Sequence[str]) -> str:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return ", ".join(names[:MOST_NAMED]) + more


def _posed(
    pictures: Sequence[FoundPicture], printed: dict[int, _Printed], cameras: dict[str, Camera]
) -> tuple[dict[str, Camera], tuple[list[FirstPoses], list[str]]]:
    """First poses; where no picture tells its focal length, with the one that the targets fit best."""
    tried = []
    guesses = GUESSES if any(c.known == "nothing" for c in cameras.values()) else (1.0,)
    for guess in guesses:
        scaled = {c.key: _with_focal(c, guess) for c in cameras.values()}
        guessed = {name: scaled[c.key] for name, c in cameras.items()}
        posed = first_poses([_view(p, printed, guessed[name_of(p)]) for p in pictures])
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
    return View(name_of(picture), numbers, corners, sides, camera.lens)


def _readings(
    pictures: Sequence[FoundPicture], printed: dict[int, _Printed], cameras: dict[str, Camera],
    blocks: Sequence[FirstPoses], sheet: Sheet,
) -> list[Reading]:  # fmt: skip
    block_of = {name: block for block in blocks for name in block.rotations}
    used = [p for p in pictures if name_of(p) in block_of]
    views = Counter((block_of[name_of(p)].name, t.number) for p in used for t in p.targets)
    readings = []
    unplaced: dict[int, FirstPoses] = {}
    for picture in used:
        name = name_of(picture)
        for target in picture.targets:
            line = printed[target.number]
            if views[block_of[name].name, target.number] < FEWEST_VIEWS:
                note(sheet, name, f"target {target.number} at {line.point} in this photograph only",
                     "left out; take one more of it from another side")  # fmt: skip
            elif target.number not in block_of[name].places:
                unplaced[target.number] = block_of[name]
            else:
                readings.append(_reading(name, target, line, cameras[name], block_of[name], sheet))
    for number, block in unplaced.items():
        seen_so = [_view(p, printed, cameras[name_of(p)]) for p in used]
        _note_unplaced(printed[number], side_by_the_rest(block, seen_so, number), sheet)
    seen = {r.seen.number for r in readings if r.seen}
    for number in sorted(
        set(printed) - seen - {n for p in pictures for n in (*(t.number for t in p.targets), *p.repeated)}
    ):
        line = printed[number]
        sheet.findings.note(f"{sheet.stage}/targets.csv", line.row.line, "target", str(number),
                            f"no photograph shows it: {line.point} is not held by it")  # fmt: skip
    return readings


def _note_unplaced(line: _Printed, side: float | None, sheet: Sheet) -> None:
    """A target that no photograph sees where another one does, by its side."""
    if side is None:
        _note_target(sheet, line, "that each photograph sees elsewhere",
                     "left out; two sheets have this number, or its side is wrong in targets.csv")  # fmt: skip
    else:
        _note_target(sheet, line, "whose side does not fit the others",
                     f"left out; {line.side:g} mm by targets.csv, about {side:.2g} mm by the pictures: measure it, or "
                     "see whether two sheets have this number")  # fmt: skip


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


def _note_target(sheet: Sheet, line: _Printed, found: str, would_do: str) -> None:
    where = f"{sheet.stage}/{line.row.file}"
    sheet.findings.note(where, line.row.line, None, f"target {line.number} at {line.point} {found}", would_do)
