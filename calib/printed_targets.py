"""Printed targets in true scale: to glue over holes, on rails and axle faces, and on the two ends of a scale bar.

A target is the 36h11 code as a black square of `side` mm on a white border of a quarter side. `side` always means the
outer edge of the black square. Next to the code the border stays clean for 1.4 cells (a cell is an eighth of the
side; a finder wants at least one); number, up mark, ticks and dimension stand outside that, the cut line outside the
border.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from calib.printed_page import Page, Sheets, printable_area
from measure.findings import BadInput, Findings
from measure.paper import MM, Paper
from measure.photo.code import NUMBERS, code_cells
from measure.typeface import BOLD

LEAST_SIDE, MOST_SIDE = 30.0, 130.0
CUT = 0.5
"""mm between the white border and the cut line."""
LABEL_WIDTH, LABEL_HEIGHT = 62.0, 46.0

GLUE_WORDS = (
    "Cut on the dashed line, never inside it: the white border belongs to the target. "
    "Glue it flat: a curled or creased sheet moves its centre. "
    "Over a hole: scribe two lines through its centre and lay the four ticks on them.",
)
BAR_WORDS = (
    "Cut on the dashed line, not inside it; one target glued flat on each end of a stiff bar. Then measure from centre "
    "to centre (the ticks point at them) with the best rule you have, and write it down: the printed size never gives "
    "the scale.",
)


def numbers_from(text: str) -> list[int]:
    """Target numbers as a person lists them: "0-27", "3, 5, 8-11". Raises BadInput with what would do."""
    findings = Findings()
    numbers: list[int] = []
    for piece in filter(None, (each.strip() for each in text.split(","))):
        match = re.fullmatch(r"(\d{1,6})(?:\s*(?:-|–|to)\s*(\d{1,6}))?", piece)
        if match is None:
            findings.error("--numbers", None, None, f'"{piece}"', "write numbers and ranges such as 0-27 or 3,5,8-11")
            continue
        first, last = int(match[1]), int(match[2] or match[1])
        if last < first:
            findings.error("--numbers", None, None, f'"{piece}"', f"write the smaller first: {last}-{first}")
        elif last >= NUMBERS:
            findings.error("--numbers", None, None, f'"{piece}"', f"the code has the numbers 0 to {NUMBERS - 1}")
        else:
            numbers.extend(range(first, last + 1))
    if not numbers and not findings.errors:
        findings.error("--numbers", None, None, "no number", "write numbers and ranges such as 0-27 or 3,5,8-11")
    twice = sorted({n for n in numbers if numbers.count(n) > 1})
    if twice:
        found = f"{', '.join(map(str, twice[:10]))} listed twice"
        findings.error("--numbers", None, None, found, "each number once: two sheets with one number spoil both")
    findings.raise_if_errors()
    return numbers


def check_side(side: float) -> None:
    """Raise BadInput where the side is none that can be printed on one sheet and seen from across a car."""
    if not LEAST_SIDE <= side <= MOST_SIDE:
        findings = Findings()
        would_do = "from 30 mm (smaller is not seen well) to 130 mm (the white border must fit the paper); 80 is usual"
        findings.error("--side", None, None, f"{side:g} mm", would_do)
        raise BadInput(findings)


def targets_pdf(numbers: Sequence[int], side: float, paper: Paper) -> bytes:
    """Sheets with as many targets on each as fit, in the order of `numbers`, as PDF bytes."""
    check_side(side)
    tile = 1.5 * side + 2 * CUT
    left, top, right, bottom = printable_area(paper)
    columns, rows = int((right - left) // tile), int((bottom - top) // tile)
    per_page = columns * rows
    sheets = Sheets(f"Targets {_listed(numbers)}, side {side:g} mm", paper)
    x0 = left + (right - left - columns * tile) / 2
    y0 = top + (bottom - top - rows * tile) / 2
    for first in range(0, len(numbers), per_page):
        on_page = numbers[first : first + per_page]
        page = sheets.page(f"targets {_listed(on_page)}, side {side:g} mm (outer edge of the black square)", GLUE_WORDS)
        for i, number in enumerate(on_page):
            draw_target(page, x0 + (i % columns) * tile, y0 + (i // columns) * tile, number, side)
    return sheets.finished()


def bar_pdf(numbers: Sequence[int], side: float, paper: Paper) -> bytes:
    """Two targets for each scale bar, with a label for its measured length, as PDF bytes.

    Numbers are taken in pairs; raises BadInput where one is left over.
    """
    check_side(side)
    if len(numbers) % 2:
        findings = Findings()
        findings.error("--numbers", None, None, f"{len(numbers)} numbers", "a bar takes two: name an even number")
        raise BadInput(findings)
    tile = 1.5 * side + 2 * CUT
    left, top, right, bottom = printable_area(paper)
    together = 2 * tile <= bottom - top and tile + LABEL_WIDTH <= right - left
    sheets = Sheets(f"Scale bars {_listed(numbers)}, side {side:g} mm", paper)
    for a, b in zip(numbers[::2], numbers[1::2], strict=True):
        for group in [(a, b)] if together else [(a,), (b,)]:
            page = sheets.page(f"scale bar {a} to {b}, side {side:g} mm (outer edge of the black square)", BAR_WORDS)
            for i, number in enumerate(group):
                draw_target(page, left, top + i * tile, number, side)
            if together:
                _label(page, left + tile + 3.0, top + tile - LABEL_HEIGHT / 2, (a, b))
            elif group == (a,):
                _label(page, left, top + tile + 3.0, (a, b))
    return sheets.finished()


def draw_target(page: Page, x: float, y: float, number: int, side: float) -> None:
    """One target; (x, y) is the upper left corner of its cut line, 1.5 `side` + 1 mm wide and high."""
    tile, cell = 1.5 * side + 2 * CUT, side / 8
    code = side / 4 + CUT  # from the cut line to the black square
    page.cells(x + code, y + code, side, code_cells(number))
    for x1, y1, x2, y2 in ((0, 0, 1, 0), (1, 0, 1, 1), (0, 1, 1, 1), (0, 0, 0, 1)):
        page.line(x + x1 * tile, y + y1 * tile, x + x2 * tile, y + y2 * tile, 0.12, (1.5, 1.0))
    outside = 0.6 * cell + CUT  # as deep as anything but the code may reach in from the cut line
    middle = tile / 2
    for a, b in ((0.0, outside), (tile - outside, tile)):
        page.line(x + middle, y + a, x + middle, y + b, 0.2)
        page.line(x + a, y + middle, x + b, y + middle, 0.2)
    size = 0.48 * cell * MM / 0.73  # points: capitals are 0.73 of the size high
    base = y + CUT + 0.55 * cell
    page.text(x + code, base, f"{number}", size, BOLD)
    up, half = x + middle + 0.9 * cell, 0.26 * cell
    page.triangle([(up - half, base), (up + half, base), (up, base - 0.48 * cell)])
    page.text(up + 0.6 * cell, base, "up", 0.8 * size)
    _dimension(page, x + code, y + tile - CUT - 0.38 * cell, side, cell)


def _dimension(page: Page, x: float, y: float, side: float, cell: float) -> None:
    """The side, between strokes that stand under the outer edges of the black square."""
    page.line(x, y, x + side, y, 0.1)
    for end in (x, x + side):
        page.line(end, y - 0.2 * cell, end, y + 0.2 * cell, 0.1)
    largest, room = min(7.0, 0.28 * cell * MM / 0.73), side / 2 - 0.8 * cell
    page.fitted(x + 0.3 * cell, y + 0.34 * cell, f"side {side:g} mm", largest, room)
    page.fitted(x + side / 2 + 0.3 * cell, y + 0.34 * cell, "outer edge of the black square", largest, room)


def _label(page: Page, x: float, y: float, ends: tuple[int, int]) -> None:
    """The place to write what the bar measures."""
    w, h = LABEL_WIDTH - 4.0, LABEL_HEIGHT
    for x1, y1, x2, y2 in ((0, 0, w, 0), (w, 0, w, h), (0, h, w, h), (0, 0, 0, h)):
        page.line(x + x1, y + y1, x + x2, y + y2, 0.2)
    page.text(x + 3.0, y + 7.0, f"scale bar {ends[0]} to {ends[1]}", 10.0, BOLD)
    for i, words in enumerate(("centre to centre, mm", "at temperature", "measured with", "by, on")):
        row = y + 16.0 + 8.5 * i
        page.text(x + 3.0, row, words, 7.0)
        page.line(x + 31.0, row + 0.6, x + w - 3.0, row + 0.6, 0.15)


def _listed(numbers: Sequence[int]) -> str:
    """Numbers as a person lists them: "0-27", "3, 5, 8-11"."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]}" if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)
