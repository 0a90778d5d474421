"""points.csv: the points of a car, their sides, pairs and parts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, cast

from measure.findings import Findings, did_you_mean
from measure.tables import Column, Row, cells, read_table

Side = Literal["L", "R", "C"]
BODY_PARTS = ("reference", "rail")
PLAIN_PARTS = (*BODY_PARTS, "crank")
NAMED_PARTS = ("axle", "face", "mount", "arm", "link", "shock", "shaft", "pinion")
SIDED_PARTS = ("face", "arm", "shock")
"""Parts of which each side has its own."""
FEWEST_ON_A_FACE = 3

COLUMNS = (
    Column("name", "name", required=True),
    Column("side", "choice", choices=("L", "R", "C")),
    Column("pair", "name"),
    Column("part", "text"),
    Column("trusted", "yes"),
    Column("x", "length"),
    Column("y", "length"),
    Column("z", "length"),
    Column("hole", "length", positive=True),
    Column("note", "text"),
)


@dataclass(frozen=True)
class Point:
    """A point of the car. `x`, `y`, `z` its factory position and `hole` its diameter, mm, where known.

    `pair` is the key it shares with its twin; only points whose part is reference, rail or blank have one.
    """

    name: str
    side: Side = "C"
    pair: str | None = None
    part: str = ""
    trusted: bool = False
    x: float | None = None
    y: float | None = None
    z: float | None = None
    hole: float | None = None
    note: str = ""
    line: int = 0

    @property
    def kind(self) -> str:
        """The part without its name: axle, face, rail, reference, crank and so on, or nothing."""
        return self.part.partition(":")[0]

    @property
    def group(self) -> str:
        """The name in the part: `rear` of `axle:rear`; empty for a part without one."""
        return self.part.partition(":")[2]


def read_points(folder: Path, unit: str, findings: Findings) -> list[Point] | None:
    """The points in the order of points.csv, front to rear; None where there is no such table.

    A row with a bad cell still gives its point, so that readings of it are not called unknown as well.
    """
    rows = read_table(folder, "points", COLUMNS, unit, findings, keep_bad=True)
    if rows is None:
        would_do = "list the points in it, one a line: a job needs one"
        findings.error("points.csv", None, None, "no such file", would_do)
        return None
    points: dict[str, Point] = {}
    spoilt = set()  # parts with a bad cell, of which a count would only repeat the complaint
    for row in rows:
        point = _point(row, findings)
        if row.bad:
            spoilt.add(point.part if point is not None else row.raw["part"])
        if point is None:
            continue
        if point.name in points:
            would_do = f"this name is taken in line {points[point.name].line}: give each point a name of its own"
            findings.error(row.file, row.line, "name", point.name, would_do)
            continue
        points[point.name] = point
    in_order = list(points.values())
    file = rows[0].file if rows else "points.csv"
    _check_pairs(in_order, file, findings)
    _check_names(in_order, file, findings)
    _check_parts([point for point in in_order if point.part not in spoilt], file, findings)
    return in_order


def _point(row: Row, findings: Findings) -> Point | None:
    name = row.text("name")
    if not name:
        return None
    if "#" in name:
        would_do = f'"#2" marks a second drop of the bob in a stage\'s tables; here write {name.partition("#")[0]}'
        findings.error(row.file, row.line, "name", name, would_do)
        return None
    side = cast(Side, row.text("side") or "C")
    part = _part(row, side, findings)
    return Point(
        name, side, _pair(row, name, side, part, findings), part, row.values["trusted"] is True,
        row.figure("x"), row.figure("y"), row.figure("z"), row.figure("hole"), row.text("note"), row.line,
    )  # fmt: skip


def _part(row: Row, side: Side, findings: Findings) -> str:
    """The part as kept: a plain word, or word:NAME; blank after an error."""
    typed = row.text("part")
    word, colon, group = (piece.strip() for piece in typed.partition(":"))
    word = word.casefold()
    if not typed or (word in PLAIN_PARTS and not colon):
        return word
    problem = None
    if word not in NAMED_PARTS:
        near = did_you_mean(word, PLAIN_PARTS + NAMED_PARTS)
        named = ", ".join(f"{part}:NAME" for part in NAMED_PARTS)
        problem = f"write {', '.join(PLAIN_PARTS)}, {named} or nothing{near}"
    elif not group:
        problem = f"say which {word}, such as {word}:rear"
    elif word in SIDED_PARTS and side == "C" and "side" not in row.bad:
        problem = f"fill in its side: {'an' if word == 'arm' else 'a'} {word} is L or R"
    else:
        try:
            return f"{word}:{cells.name(group)}"
        except cells.CellError as wrong:
            problem = str(wrong)
    findings.error(row.file, row.line, "part", typed, problem)
    return ""


def _pair(row: Row, name: str, side: Side, part: str, findings: Findings) -> str | None:
    typed = row.text("pair") or None
    if part not in (*BODY_PARTS, ""):
        if typed:
            would_do = "it was ignored: points of an axle, what hangs on it, or a mount form no pair of the body"
            findings.note(row.file, row.line, "pair", typed, would_do)
        return None
    if row.bad & {"side", "pair", "part"} or (row.text("part") and not part):
        return None
    if side == "C":
        if typed:
            findings.error(row.file, row.line, "pair", typed, "a pair joins two sides: write L or R as its side")
        return None
    if typed:
        return typed
    stem = name[:-1].rstrip() if name[-1] in "LR" else ""
    return stem or None


def _check_pairs(points: list[Point], file: str, findings: Findings) -> None:
    members: dict[str, dict[str, Point]] = {}
    for point in points:
        if point.pair is None:
            if point.side != "C" and point.part in (*BODY_PARTS, ""):
                would_do = "it belongs to no pair: fill in the column pair, or end the names in L and R"
                findings.note(file, point.line, "name", point.name, would_do)
            continue
        sides = members.setdefault(point.pair, {})
        twin = sides.setdefault(point.side, point)
        if twin is not point:
            would_do = (
                f'the pair "{point.pair}" has the {point.side} point {twin.name} already (line {twin.line}): '
                "a pair is one L and one R"
            )
            findings.error(file, point.line, "side", point.side, would_do)
    for key, sides in members.items():
        if len(sides) == 1:
            (alone,) = sides.values()
            known = [other for other in members if len(members[other]) == 1 and other != key]
            would_do = f'its pair "{key}" has no other side, so it carries no centreline'
            findings.note(file, alone.line, "name", alone.name, would_do + did_you_mean(key, known))


def _check_names(points: list[Point], file: str, findings: Findings) -> None:
    """Names that say one thing and the side another."""
    for point in points:
        if point.side in "LR" and point.name[-1] in "LR" and point.name[-1] != point.side:
            would_do = f"its side is {point.side} though its name ends in {point.name[-1]}: is that meant?"
            findings.note(file, point.line, "name", point.name, would_do)
    middle = {point.name: point for point in points if point.side == "C" and point.part in (*BODY_PARTS, "")}
    for name, point in middle.items():
        if name.endswith("L") and f"{name[:-1]}R" in middle:
            would_do = f"it has no side, nor has {name[:-1]}R: write L and R, or they form no pair"
            findings.note(file, point.line, "name", name, would_do)


def _check_parts(points: list[Point], file: str, findings: Findings) -> None:
    for group in _groups(points, "axle"):
        ends = [point for point in points if point.part == f"axle:{group}"]
        if sorted(point.side for point in ends) != ["L", "R"]:
            names = ", ".join(f"{point.name} ({point.side})" for point in ends)
            would_do = f'the axle "{group}" has {names}: it needs one L and one R'
            findings.error(file, ends[-1].line, "part", ends[-1].part, would_do)
    for group in _groups(points, "face"):
        for side in "LR":
            on_face = [point for point in points if point.part == f"face:{group}" and point.side == side]
            if 0 < len(on_face) < FEWEST_ON_A_FACE:
                would_do = f"a face needs {FEWEST_ON_A_FACE} points on a side, here {side} has {len(on_face)}"
                findings.note(file, on_face[-1].line, "part", on_face[-1].part, would_do)


def _groups(points: Iterable[Point], kind: str) -> list[str]:
    return list(dict.fromkeys(point.group for point in points if point.kind == kind))
