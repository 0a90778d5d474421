"""Where a reading stands, for a person: the line of its table, or the target and the photograph that shows it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import PurePosixPath

from measure.result import Document

_DROP = "the drop of the bob at "
_PICTURES = "photos"
_OF_ONE_POINT = ("heights", "marks", "xyz")
"""Kinds of reading that are about one point; what follows it in their names is an axis."""


def place(source: str) -> str:
    """What a person calls it: "tape.csv line 12" for tape.csv:12, "target 40 in IMG_0001" for a photograph's."""
    file, number = _split(source)
    if number is None:
        return source
    return f"target {number} in {_picture(file)}" if _is_picture(file) else f"{file} line {number}"


def unchecked(doc: Document) -> list[str]:
    """The readings that nothing checks, few words a table: its lines, and the points that they are about."""
    between = {reading.source: " to ".join(reading.names) for reading in doc.readings}
    between |= {r.source: r.names[0] for r in doc.readings if r.kind in _OF_ONE_POINT}
    return by_file(doc.unchecked, between)


def by_file(sources: Sequence[str], between: dict[str, str] | None = None) -> list[str]:
    """Readings in few words: "tape.csv lines 4, 9 to 12 (sillL to tailR, ...)"; what has no line stands as it is.

    `between`: by source, the points that a reading is about, where they are to be named.
    """
    tables: dict[str, dict[int, str]] = {}
    other: dict[str, None] = {}
    for source in sources:
        file, number = _split(source)
        if number is None:
            other[source] = None
        else:
            tables.setdefault(file, {})[number] = (between or {}).get(source, "")
    told = [_table(file, lines) for file, lines in tables.items()]
    marks = [source.removeprefix(_DROP) for source in other if source.startswith(_DROP)]
    if marks:
        told.append(f"the drop{'s' if len(marks) > 1 else ''} of the bob at {', '.join(marks)}")
    return told + [source for source in other if not source.startswith(_DROP)]


def _table(file: str, lines: dict[int, str]) -> str:
    several = "s" if len(lines) > 1 else ""
    if _is_picture(file):
        return f"target{several} {', '.join(map(str, sorted(lines)))} in {_picture(file)}"
    names = list(dict.fromkeys(name for _, name in sorted(lines.items()) if name))
    named = f" ({', '.join(names)})" if names else ""
    return f"{file} line{several} {', '.join(_runs(lines))}{named}"


def _runs(numbers: Iterable[int]) -> list[str]:
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return [str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs]


def _split(source: str) -> tuple[str, int | None]:
    file, _, line = source.rpartition(":")
    return (file, int(line)) if file and line.isascii() and line.isdigit() else (source, None)


def _is_picture(file: str) -> bool:
    return _PICTURES in PurePosixPath(file).parts[:-1]


def _picture(file: str) -> str:
    """The photograph as people call it, without folder and ending."""
    return PurePosixPath(file).stem
