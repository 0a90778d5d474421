"""What every printed sheet shares: true scale, a 100 mm rule in both directions, and the words about printers.

All is drawn as vector rectangles, lines and embedded type, so that an edge is where the number says it is: a picture
of a code scaled to the page has cells of unequal width.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap
from typing import TYPE_CHECKING

from measure.paper import MM, SIZES, Paper, blank_pdf
from measure.typeface import BOLD, PLAIN

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from reportlab.pdfgen.canvas import Canvas

EDGE = 4.5
"""mm along each edge of the paper where common printers leave no ink (common practice, no source)."""
RULE = 100.0
SIDE_STRIP, FOOT = 5.0, 23.0
"""mm kept for the upright rule at the right edge, and for the level rule with its words at the bottom."""
LEAST_TYPE = 4.0
"""Points of the smallest type that a person reads."""

SCALE_WORDS = (
    'Printers shrink pages unless told not to: print at 100 %, "actual size".',
    "Before use lay a steel rule on BOTH 100 mm rules (one way may be stretched). Off by 0.5 mm or more: print again.",
    "No toner saving: grey is not black. Plain matt paper: a shine hides the pattern.",
)


@dataclass(frozen=True)
class Page:
    """Draws in millimetres from the upper left corner of the paper, x right and y down."""

    canvas: Canvas
    width: float
    height: float

    def text(self, x: float, y: float, words: str, size: float, font: str = PLAIN, align: str = "left") -> None:
        """One line on the base line y, `size` in points; align "left", "middle" or "right"."""
        self.canvas.setFont(font, size)
        draw = {"left": "drawString", "right": "drawRightString", "middle": "drawCentredString"}[align]
        getattr(self.canvas, draw)(x * MM, (self.height - y) * MM, words)

    def fitted(self, x: float, y: float, words: str, largest: float, room: float) -> None:
        """One line no wider than `room` mm and no larger than `largest` points; left out where it would be a speck."""
        size = min(largest, room * MM / self.canvas.stringWidth(words, PLAIN, 1.0))
        if size >= LEAST_TYPE:
            self.text(x, y, words, size)

    def text_upwards(self, x: float, y: float, words: str, size: float) -> None:
        """One line that starts at (x, y) and runs up the paper."""
        self.canvas.saveState()
        self.canvas.translate(x * MM, (self.height - y) * MM)
        self.canvas.rotate(90)
        self.canvas.setFont(PLAIN, size)
        self.canvas.drawString(0, 0, words)
        self.canvas.restoreState()

    def paragraph(self, x: float, y: float, sentences: Sequence[str], letters: int, size: float = 7.0) -> float:
        """Sentences one below the other, broken after about so many letters; gives the y below them."""
        for sentence in sentences:
            for line in wrap(sentence, letters):
                self.text(x, y, line, size)
                y += size * 0.45
            y += size * 0.1
        return y

    def line(
        self, x1: float, y1: float, x2: float, y2: float, weight: float = 0.15, dash: tuple[float, float] | None = None
    ) -> None:
        """A black line, `weight` mm thick; `dash` gives stroke and gap in mm."""
        self.canvas.setLineWidth(weight * MM)
        self.canvas.setDash([d * MM for d in dash] if dash else [])
        self.canvas.line(x1 * MM, (self.height - y1) * MM, x2 * MM, (self.height - y2) * MM)
        self.canvas.setDash([])

    def block(self, x: float, y: float, width: float, height: float) -> None:
        """A rectangle, black unless said, whose upper left corner is (x, y)."""
        self.canvas.rect(x * MM, (self.height - y - height) * MM, width * MM, height * MM, stroke=0, fill=1)

    def triangle(self, corners: Sequence[tuple[float, float]]) -> None:
        """A black triangle."""
        path = self.canvas.beginPath()
        (x, y), *others = corners
        path.moveTo(x * MM, (self.height - y) * MM)
        for x, y in others:
            path.lineTo(x * MM, (self.height - y) * MM)
        path.close()
        self.canvas.drawPath(path, stroke=0, fill=1)

    def cells(self, x: float, y: float, side: float, black: NDArray[np.bool_]) -> None:
        """A code of n x n cells (True: black, row 0 at the top), `side` mm wide, upper left corner at (x, y).

        One black square with white shapes on it: the outer edge, which gives the size, is one straight edge even where
        a printer or viewer rounds every rectangle for itself. White cells that touch are the union of the runs of
        their rows and columns, which overlap: abutting ones would leave hairlines.
        """
        cell = side / len(black)
        self.block(x, y, side, side)
        self.canvas.setFillGray(1)
        for row, values in enumerate(~black):
            for first, last in _runs(values):
                self.block(x + first * cell, y + row * cell, (last - first) * cell, cell)
        for column, values in enumerate(~black.T):
            for first, last in _runs(values):
                self.block(x + column * cell, y + first * cell, cell, (last - first) * cell)
        self.canvas.setFillGray(0)


def _runs(values: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and one past last of each run of True."""
    padded = [False, *map(bool, values), False]
    edges = [i for i in range(len(padded) - 1) if padded[i] != padded[i + 1]]
    return list(zip(edges[::2], edges[1::2], strict=True))


class Sheets:
    """A PDF in the making. The same calls give the same bytes."""

    def __init__(self, title: str, paper: Paper) -> None:
        self.width, self.height = SIZES[paper]
        self._canvas = blank_pdf(title, paper)
        self._begun = False

    def page(self, foot: str, words: Sequence[str] = ()) -> Page:
        """A new page with its rules and the words about printers; `foot` names the sheet, `words` say how to use it."""
        if self._begun:
            self._canvas.showPage()
        self._begun = True
        page = Page(self._canvas, self.width, self.height)
        _rules(page)
        page.paragraph(EDGE + RULE + 7.0, self.height - FOOT + 1.8, SCALE_WORDS, 66, 6.4)
        page.paragraph(EDGE + 2.0, self.height - FOOT + 9.0, words, 92, 5.6)
        page.text(EDGE + 2.0, self.height - EDGE - 0.5, foot, 7.0, BOLD)
        return page

    def finished(self) -> bytes:
        """The file."""
        self._canvas.showPage()
        data: bytes = self._canvas.getpdfdata()
        return data


def _rules(page: Page) -> None:
    """Two rules, 100 mm between the middles of their end strokes, with a stroke every 10 mm."""
    x, y = EDGE + 2.0, page.height - FOOT
    page.line(x, y, x + RULE, y, 0.2)
    for step in range(11):
        page.line(x + 10.0 * step, y, x + 10.0 * step, y + (3.0 if step % 5 == 0 else 1.8), 0.2)
    page.text(x + RULE / 2, y + 5.6, "100 mm from end line to end line: check before use", 6.5, align="middle")
    x, y = page.width - EDGE - 0.3, page.height - FOOT - 10.0
    page.line(x, y, x, y - RULE, 0.2)
    for step in range(11):
        page.line(x, y - 10.0 * step, x - (3.2 if step % 5 == 0 else 2.0), y - 10.0 * step, 0.2)
    page.text_upwards(x, y - RULE - 3.0, "100 mm: check before use", 7.0)


def printable_area(paper: Paper) -> tuple[float, float, float, float]:
    """Left, top, right, bottom in mm of what is free for the thing printed."""
    width, height = SIZES[paper]
    return EDGE, EDGE, width - EDGE - SIDE_STRIP, height - FOOT - 2.0
