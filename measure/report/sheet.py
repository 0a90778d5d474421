"""The recording sheet: paper to take under the car, in the same order as the tables.

One PDF for A4 or Letter: a sketch of the points, then a row for every tape, height, level and plumb mark. The
type is embedded and the same job gives the same bytes.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from textwrap import wrap
from typing import TYPE_CHECKING

from measure.job.points import Point
from measure.paper import MM, SIZES, Paper, blank_pdf
from measure.report.sketch import sketch_places
from measure.report.words import SAFETY, printable
from measure.tape_plan import groups, levels_to_read, tapes_to_run
from measure.typeface import BOLD, PLAIN

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

EDGE, ROW, HEAD, FOOT = 15.0, 6.9, 27.0, 14.0
IN_FULL = {"mm": "mm", "in": "inches"}
SPARE_ROWS = 6

HOW = (
    "1. Car on stands, steady, as level as you get it. Write down where it stands.",
    "2. Drop the plumb bob from each point, let it hang still, mark the floor with a fine cross, write the "
    "name beside it.",
    "3. Drop it a second time from the axle ends and from any section you doubt; mark that NAME#2. A bob "
    "dropped wrong looks exactly like a bent section.",
    "4. Run the tape between the marks, pulled the same each time, one reader, one writer.",
    "5. Leave a row blank where you cannot reach. Spare rows are for second drops and tapes you repeat.",
    "6. Read a level across every pair: without it the lean of the car is only a guess.",
)


@dataclass(frozen=True)
class Section:
    """A table of the sheet: heads with their widths in mm, and rows; blank cells are to be written in."""

    title: str
    hint: str
    heads: Sequence[tuple[str, float]]
    rows: Sequence[Sequence[str]]


def sections(points: Sequence[Point], units: str, tapes: Sequence[tuple[str, str]] | None = None) -> list[Section]:
    """The tables of the sheet, in the order and with the columns of the job's own tables."""
    listed = [point.name for station in groups(points) for point in station]
    runs = tapes_to_run(points) if tapes is None else list(tapes)
    numbered = [(str(i), a, b, "", "") for i, (a, b) in enumerate(runs, start=1)]
    spare = [(str(i), "", "", "", "") for i in range(len(runs) + 1, len(runs) + 1 + SPARE_ROWS)]
    length = f"length, {units}"
    return [
        Section(
            "Tapes on the floor, mark to mark (tape.csv)",
            "Straight from cross to cross. A second drop of the bob is NAME#2.",
            (("no.", 12), ("from", 42), ("to", 42), (length, 44), ("note", 40)),
            [*numbered, *spare],
        ),
        Section(
            "Levels (levels.csv)",
            "Rise: how much higher the second point is than the first; minus where it is lower.",
            (("from", 42), ("to", 42), (f"rise, {units}", 44), ("note", 52)),
            [(a, b, "", "") for a, b in levels_to_read(points)],
        ),
        Section(
            "Heights (heights.csv)",
            "Above one level datum: a laser line, a water level, a floor you know to be flat.",
            (("point", 54), (f"height, {units}", 54), ("note", 72)),
            [(name, "", "") for name in listed],
        ),
        Section(
            "Plumb marks off a base line (marks.csv), only where you chalk one",
            "Along: forward along the line. Across: square to it, plus to the left of the line's direction.",
            (("point", 42), (f"along, {units}", 44), (f"across, {units}", 44), ("note", 50)),
            [(name, "", "", "") for name in listed],
        ),
    ]


def sheet_bytes(
    title: str,
    stage: str,
    points: Sequence[Point],
    units: str = "mm",
    paper: Paper = "A4",
    tapes: Sequence[tuple[str, str]] | None = None,
) -> bytes:
    """The recording sheet as PDF bytes. `tapes` (from, to) replaces the list that the points call for."""
    width, height = SIZES[paper]
    name = printable(f"{title}, stage {stage}")
    canvas = blank_pdf(f"Recording sheet: {name}", paper)
    pen = Pen(canvas, width, height)
    pages = [lambda: _first_page(pen, points, units), *_table_pages(pen, sections(points, units, tapes))]
    for number, page in enumerate(pages, start=1):
        pen.text(EDGE, 15.0, name, 11, BOLD, room=width - 2 * EDGE - 42)
        pen.text(width - EDGE, 15.0, "recording sheet", 9, align="right")
        pen.line(EDGE, 17.5, width - EDGE, 17.5, 0.6)
        page()
        pen.text(width - EDGE, height - 8, f"page {number} of {len(pages)}", 8, align="right")
        pen.text(EDGE, height - 8, "Read, say it aloud, write it. Minus signs and inch marks as you see them.", 8)
        canvas.showPage()
    data: bytes = canvas.getpdfdata()
    return data


@dataclass(frozen=True)
class Pen:
    """Draws in millimetres from the upper left corner of the sheet, x right and y down."""

    canvas: "Canvas"
    width: float
    height: float

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size: float,
        font: str = PLAIN,
        align: str = "left",
        room: float | None = None,
    ) -> None:
        """One line on the base line y; made smaller, then cut, where it is wider than `room` mm."""
        words = printable(words)
        if room is not None:
            full = self.canvas.stringWidth(words, font, size) / MM
            size = max(size * min(1.0, room / max(full, 1e-6)), 5.0)
            while len(words) > 2 and self.canvas.stringWidth(words, font, size) / MM > room:
                words = words[:-2] + "…"
        self.canvas.setFont(font, size)
        draw = {"left": "drawString", "right": "drawRightString", "middle": "drawCentredString"}[align]
        getattr(self.canvas, draw)(x * MM, (self.height - y) * MM, words)

    def line(self, x1: float, y1: float, x2: float, y2: float, weight: float = 0.4, grey: float = 0.0) -> None:
        """A straight line, `weight` in points, `grey` 0 black to 1 white."""
        self.canvas.setStrokeGray(grey)
        self.canvas.setLineWidth(weight)
        self.canvas.line(x1 * MM, (self.height - y1) * MM, x2 * MM, (self.height - y2) * MM)

    def dot(self, x: float, y: float, radius: float = 1.1) -> None:
        """A white disc with a black rim."""
        self.canvas.setStrokeGray(0)
        self.canvas.setFillGray(1)
        self.canvas.setLineWidth(0.8)
        self.canvas.circle(x * MM, (self.height - y) * MM, radius * MM, stroke=1, fill=1)
        self.canvas.setFillGray(0)

    def shade(self, x: float, y: float, width: float, height: float) -> None:
        """A pale band whose upper left corner is (x, y)."""
        self.canvas.setFillGray(0.92)
        self.canvas.rect(x * MM, (self.height - y - height) * MM, width * MM, height * MM, stroke=0, fill=1)
        self.canvas.setFillGray(0)


def _first_page(pen: Pen, points: Sequence[Point], units: str) -> None:
    y = 25.0
    half = (pen.width - 2 * EDGE) / 2
    blanks = (
        "date",
        "measured by",
        "supported on",
        "ride height",
        "temperature of body",
        "of tape",
        "tape used",
    )
    for i, words in enumerate((*blanks, f"lengths in {IN_FULL[units]} unless a row says otherwise")):
        x, line_y = EDGE + (i % 2) * half, y + (i // 2) * 8.5
        pen.text(x, line_y, words, 8.5)
        if i < len(blanks):
            start = x + pen.canvas.stringWidth(words, PLAIN, 8.5) / MM + 2
            pen.line(start, line_y + 0.8, x + half - 4, line_y + 0.8, 0.4, 0.3)
    _sketch(pen, points, (EDGE, y + 38.0, 110.0, pen.height - FOOT - 4))
    y += 38.0
    for head, sentences in (("How", HOW), ("Before you start", SAFETY)):
        pen.text(130.0, y, head, 9.5, BOLD)
        y += 5.5
        for sentence in sentences:
            for line in wrap(sentence, 40):
                pen.text(130.0, y, line, 8, room=pen.width - EDGE - 130.0)
                y += 4.1
            y += 1.8
        y += 4.0


def _sketch(pen: Pen, points: Sequence[Point], box: tuple[float, float, float, float]) -> None:
    """The points in `box` (left, top, right, bottom; mm): front up, the car's left on the left."""
    left, top, right, bottom = box
    middle, reach = (left + right) / 2, 26.0
    places, to_scale = sketch_places(points)
    low, high = bottom - 8.0, top + 12.0
    on_paper = {n: (middle + x * reach, low - y * (low - high)) for n, (x, y) in places.items()}
    pen.text(middle, top, "FRONT", 8.5, BOLD, align="middle")
    for x in (-1.6, 1.6):
        pen.line(middle, top + 2.0, middle + x, top + 5.0, 1.0)
    pen.line(middle, top + 2.0, middle, top + 8.0, 1.0)
    stations = groups(points)
    neighbours = [(a, b) for near, far in pairwise(stations) for a in near for b in far]
    for a, b in neighbours:
        pen.line(*on_paper[a.name], *on_paper[b.name], 0.3, 0.65)
    for station in stations:
        if len(station) == 2:
            ends = [on_paper[point.name] for point in station]
            pen.line(*ends[0], *ends[1], 2.4 if station[0].kind == "axle" else 0.6)
    step = (low - high) / max(len(stations) - 1, 1)
    size = max(min(7.5, step * 2.2), 3.0)
    for station in stations:
        for point in station:
            x, y = on_paper[point.name]
            pen.dot(x, y, min(1.1, step / 3))
            align, shift = ("right", -2.2) if point.side == "L" else ("left", 2.2)
            room = x - 2.2 - left if point.side == "L" else right + 14.0 - x - 2.2
            pen.text(x + shift, y + size / 8, point.name, size, align=align, room=room)
    note = "Sketch: along the car to scale." if to_scale else "Sketch, not to scale; front to back as in points.csv."
    pen.text(left, bottom - 1.0, f"{note} Grey: tapes to the next station.", 7, room=right - left)


def _table_pages(pen: Pen, tables: Sequence[Section]) -> list[Callable[[], None]]:
    """The sections on pages: a section starts on the page where at least a third of it still fits."""
    pages: list[list[tuple[Section, int, int, float]]] = []
    y = pen.height
    end = pen.height - FOOT
    for section in tables:
        start, total = 0, len(section.rows)
        least = min(total, 8)
        while start < total:
            room = int((end - y - 17.0) / ROW)
            if room < (least if start == 0 else 1):
                pages.append([])
                y = HEAD
                room = int((end - y - 17.0) / ROW)
            stop = min(start + room, total)
            pages[-1].append((section, start, stop, y))
            y += 17.0 + (stop - start) * ROW + 6.0
            start = stop
    return [lambda parts=parts: _parts(pen, parts) for parts in pages]  # type: ignore[misc]


def _parts(pen: Pen, parts: Sequence[tuple[Section, int, int, float]]) -> None:
    for section, start, stop, y in parts:
        _rows(pen, section, start, stop, y)


def _rows(pen: Pen, section: Section, start: int, stop: int, y: float) -> None:
    """Rows `start` to `stop` of a section under its title, from y down."""
    pen.text(EDGE, y, section.title + ("" if start == 0 else ", continued"), 10, BOLD)
    pen.text(EDGE, y + 4.8, section.hint, 7.5, room=pen.width - 2 * EDGE)
    full = sum(width for _, width in section.heads)
    stretch = (pen.width - 2 * EDGE) / full
    top = y + 7.5
    pen.shade(EDGE, top, full * stretch, 6.0)
    edges, x = [], EDGE
    for head, width in section.heads:
        pen.text(x + 1.5, top + 4.2, head, 8, BOLD, room=width * stretch - 3)
        edges.append(x)
        x += width * stretch
    top += 6.0
    for i, row in enumerate(section.rows[start:stop]):
        base = top + i * ROW + ROW * 0.66
        for cell, edge, (_, width) in zip(row, edges, section.heads, strict=True):
            pen.text(edge + 1.5, base, cell, 9, room=width * stretch - 3)
        pen.line(EDGE, top + (i + 1) * ROW, x, top + (i + 1) * ROW, 0.3, 0.4)
    for edge in [*edges, x]:
        pen.line(edge, top - 6.0, edge, top + (stop - start) * ROW, 0.3, 0.4)
