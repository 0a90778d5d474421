"""What a person most likely did, for a reading that does not fit: slips tried in order, the first that fits is told."""

from __future__ import annotations

import re
from collections.abc import Iterator
from fractions import Fraction

import numpy as np

from measure.adjust.explain_image import explain_image
from measure.adjust.mistakes import Suspect
from measure.adjust.solver import Adjustment
from measure.job import Job
from measure.readings.kind import point_of
from measure.readings.reading import Reading, Row
from measure.units import MM_PER_INCH, LengthError, format_length, parse_length

FITS = 2.0
"""A slip fits when what should have been written is within two sd of what the other readings say (95 %),"""
MOST_LEFT = 0.5
"""and when it takes away more than half of the misfit: else it explains nothing."""
ALL_ALIKE = 3.0
"""Sd within which a tape's common offset is that of one burnt length."""
BURNT = ((100.0, "100 mm"), (10 * MM_PER_INCH, "10 in"), (12 * MM_PER_INCH, "1 ft"))
"""Starting at a mark of the tape instead of its worn end: the reading is long by exactly that."""


WHOLE_MM = ((10.0, "10 mm"), (100.0, "100 mm"), (1000.0, "1000 mm"))
WHOLE_INCHES = ((MM_PER_INCH, "1 in"), (10 * MM_PER_INCH, "10 in"), (12 * MM_PER_INCH, "1 ft"))
"""Figures of a tape that are easily read one too far, by how its lengths are divided."""


def explain(adjustment: Adjustment, suspect: Suspect, job: Job) -> str:
    """The hint for one suspect, as a person would say it; figures in the job's unit."""
    if suspect.tape is not None:
        return _tape_hint(suspect, job)
    if adjustment.network.rows[suspect.rows[0]].reading.seen is not None:
        return explain_image(adjustment, suspect) + _cannot_tell(adjustment, suspect)
    row = adjustment.network.rows[suspect.rows[0]]
    reading = row.reading
    said = _said(row, job)
    should = row.shown - suspect.size
    tolerance = min(FITS * suspect.sd, MOST_LEFT * abs(suspect.size))
    if reading.kind == "plumb":
        hint = f"the drop of the bob at {reading.names[0]} lies {_length(abs(suspect.size), job)} off: drop it again"
    else:
        slips = [slip for slip in _slips(row, job, should, adjustment, tolerance) if abs(slip[0] - should) <= tolerance]
        if slips:
            value, why = slips[0]
            hint = f"{said} {why}; that would fit to {_length(abs(value - should), job, fine=True)}"
        else:
            way = "long" if suspect.size > 0 else "short"
            hint = f"{said} reads {_length(abs(suspect.size), job)} {way}; no common slip explains it: measure it again"
    return hint + _cannot_tell(adjustment, suspect)


def _cannot_tell(adjustment: Adjustment, suspect: Suspect) -> str:
    if not suspect.cannot_tell_from:
        return ""
    rows = adjustment.network.rows
    others = dict.fromkeys(_name(rows[i].reading) for i in suspect.cannot_tell_from)
    return f" (cannot tell which: {_name(rows[suspect.rows[0]].reading)} or {' or '.join(others)})"


def _name(reading: Reading) -> str:
    """A reading named for a person: its line, or the drop of the bob."""
    if reading.kind == "plumb":
        return f"the drop at {reading.names[0]}"
    if reading.seen is not None:
        return f"target {reading.seen.number} in {reading.via}"
    return reading.source.replace(":", " line ")


def _said(row: Row, job: Job) -> str:
    typed = row.reading.typed
    if "\t" in typed:
        axes = ("along", "across") if row.axis in ("along", "across") else ("x", "y", "z")
        typed = typed.split("\t")[axes.index(row.axis)]
    return typed.strip() or _length(row.shown, job)


def _length(mm: float, job: Job, *, fine: bool = False) -> str:
    if fine or job.units == "mm":
        return f"{mm:.1f} mm"
    return f"{format_length(mm, job.units)} ({mm:.1f} mm)"


def _tape_hint(suspect: Suspect, job: Job) -> str:
    name = f'tape "{suspect.tape}"' if suspect.tape else "the tape"
    for burnt, words in BURNT:
        if abs(suspect.size - burnt) <= ALL_ALIKE * suspect.sd + 0.5:
            size = _length(suspect.size, job)
            return f"every reading of {name} is {size} long: all burnt at {words}, and not taken off?"
    way = "long" if suspect.size > 0 else "short"
    return f"every reading of {name} is {_length(abs(suspect.size), job)} {way}: look at its hook and its end"


def _slips(row: Row, job: Job, should: float, adjustment: Adjustment, tolerance: float) -> Iterator[tuple[float, str]]:
    """(what should have been written in mm, in words), in the order of how people slip."""
    said = _said(row, job)
    swapped = sorted(_swapped(said, job), key=lambda s: abs(s[0] - should))
    yield from ((mm, f"reads like {text} with two digits swapped") for mm, text in swapped[:1])
    for burnt, words in BURNT:
        yield row.shown - burnt, f"was burnt at {words} and {words} not taken off"
    for step, words in WHOLE_INCHES if _in_inches(said, job) else WHOLE_MM:
        for sign in (1.0, -1.0):
            yield row.shown - sign * step, f"is {words} too {'much' if sign > 0 else 'little'}"
    yield from _inch_slips(said, row.shown, job)
    yield from _other_ends(row, adjustment)
    yield from _typed_twice(row, adjustment, should, tolerance)


def _swapped(said: str, job: Job) -> Iterator[tuple[float, str]]:
    for match in re.finditer(r"(?=(\d)([.,]?)(\d))", said):
        i = match.start()
        first, point, second = match.groups()
        if first == second:
            continue
        text = said[:i] + second + point + first + said[i + 2 + len(point) :]
        try:
            yield parse_length(text, job.units, decimal_comma="," in text), text
        except LengthError:
            continue


def _inch_slips(said: str, shown: float, job: Job) -> Iterator[tuple[float, str]]:
    fraction = re.search(r"(\d+)\s*/\s*(\d+)", said)
    if fraction and int(fraction[2]) > 0:
        for part in sorted({int(fraction[2]), 16, 32, 8}, key=lambda p: (p != int(fraction[2]), p)):
            step = float(Fraction(1, part)) * MM_PER_INCH
            for sign in (1.0, -1.0):
                yield shown - sign * step, f"is one 1/{part} in too {'much' if sign > 0 else 'little'}"
    if not _in_inches(said, job):
        in_centimetres = "cm" in said
        yield (
            shown * (MM_PER_INCH / 10 if in_centimetres else MM_PER_INCH),
            "looks like inches written down as " + ("centimetres" if in_centimetres else "millimetres"),
        )
        if not in_centimetres:
            yield shown * MM_PER_INCH / 10, "looks like inches taken for centimetres"
            yield shown * 10, "looks like centimetres written down as millimetres"
    else:
        yield shown / MM_PER_INCH, "looks like millimetres written down as inches"
        yield shown / MM_PER_INCH * 10, "looks like centimetres written down as inches"


def _in_inches(said: str, job: Job) -> bool:
    """Whether a figure was read off an inch tape: it says so, or it says nothing and the job is in inches."""
    if re.search(r"(?:mm|cm|m)\s*$", said):
        return False
    return job.units == "in" or bool(re.search(r"in|['\"]|ft", said))


def _other_ends(row: Row, adjustment: Adjustment) -> Iterator[tuple[float, str]]:
    """The same figure against the other side's twin, or a neighbour in points.csv."""
    reading = row.reading
    if reading.kind not in ("floor", "car"):
        return
    state, u = adjustment.state, adjustment.network.unknowns
    places = dict(zip(u.marks, state.marks, strict=True)) if reading.kind == "floor" else dict(
        zip(u.points, state.positions, strict=True)
    )  # fmt: skip
    start, end = reading.names
    now = float(np.linalg.norm(places[start] - places[end]))
    options = []
    for a, b in [(s, end) for s in _mistakable(start, u.points)] + [(start, e) for e in _mistakable(end, u.points)]:
        if a in places and b in places and a != b:
            options.append((abs(float(np.linalg.norm(places[a] - places[b])) - row.shown), f"{a}-{b}"))
    if options:
        miss, ends = min(options)
        # put as what should have been written: off from the truth here by what the figure misses there
        yield now + miss, f"fits {ends}: written against the wrong point?"


def _mistakable(mark: str, points: tuple[str, ...]) -> list[str]:
    point = point_of(mark)
    others = []
    if point[-1:] in ("L", "R"):
        others.append(point[:-1] + ("R" if point[-1] == "L" else "L"))
    i = points.index(point)
    others += [points[k] for k in (i - 2, i - 1, i + 1, i + 2) if 0 <= k < len(points) and points[k] != point]
    return [name for name in dict.fromkeys(others) if name in points]


def _typed_twice(row: Row, adjustment: Adjustment, should: float, tolerance: float) -> Iterator[tuple[float, str]]:
    """The very figure stands in the line before or after: nothing is known of what it should have been."""
    table = row.reading.source.partition(":")[0]
    rows = [r for r in adjustment.network.rows if r.reading.source.partition(":")[0] == table]
    i = next(k for k, r in enumerate(rows) if r is row)
    for k in (i - 1, i + 1):
        if 0 <= k < len(rows) and rows[k].shown == row.shown and rows[k].reading is not row.reading:
            line = rows[k].reading.source.rpartition(":")[2]
            yield should, f"stands in line {line} as well: the same reading typed twice"
