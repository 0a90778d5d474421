"""The hole patterns in full size on paper: tiled on A4 or Letter, with register marks, rules, centreline and front.

Up the paper is forward and left is the car's left, as seen from above; a sheet's lines run along the car's axes, so the
centreline is drawn where it is, wherever the mount stands.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from pathlib import Path

from calib.printed_page import Page, Sheets, printable_area
from measure.atomic import write_atomically
from measure.paper import MM, Paper
from measure.report.words import printable
from measure.setup.drill_result import DrillPlan, HoleResult, MountResult
from measure.setup.drill_words import VERDICTS

OVERLAP = 8.0
"""mm that neighbouring sheets both show."""
MARGIN = 22.0
"""mm drawn around the outermost holes."""
MOST_SHEETS = 120
REGISTER = 4.0
"""mm, half the length of a register cross."""
NEAR = 150.0
"""mm beside the holes within which the centreline is still drawn in."""
HOW_TO = (
    "Cut along the dotted frame on two sides of each sheet, lay the corner crosses on those of the next sheet, tape.",
    "Check the joined paper with a steel rule from hole to hole:",
)
ON_THE_CAR = (
    "Lay the holes best over ALL marks on the panel, centreline on centreline, front to the front.",
    "From below: the printed side against the panel. A mark that stands off by more than the rest was mismarked.",
    "Pilot first, 3 to 4 mm, and measure it. Look behind the panel: fuel and brake lines, wiring.",
)
ON_EVERY_SHEET = ("Join by the corner crosses; see sheet A1. Not for drilling while the plan says not yet.",)


@dataclass(frozen=True)
class Tile:
    """One sheet: column from the left, row from the top, and the pattern's place at its upper left corner cross."""

    column: int
    row: int
    left: float  # mm to the right of the mount's middle
    top: float  # mm ahead of it


@dataclass(frozen=True)
class Tiling:
    """How a pattern is cut into sheets: steps in mm from corner cross to corner cross."""

    step: tuple[float, float]
    columns: int
    rows: int
    tiles: tuple[Tile, ...]

    def name(self, tile: Tile) -> str:
        """A1 is the sheet at the left front; letters run to the right, numbers to the rear."""
        return f"{_letters(tile.column)}{tile.row + 1}"


def write_template(plan: DrillPlan, path: Path, paper: Paper) -> None:
    """Write the PDF. ValueError, with words, where a pattern would take more sheets than anyone tapes together."""
    write_atomically(path, template_pdf(plan, paper))


def template_pdf(plan: DrillPlan, paper: Paper) -> bytes:
    """All mounts, one after the other, as PDF bytes; the same plan gives the same bytes."""
    sheets = Sheets(printable(f"{plan.job}: drilling template"), paper)
    for mount in plan.mounts:
        holes = [hole for hole in plan.holes if hole.mount == mount.name]
        tiling = tiling_of(mount, holes, paper)
        for tile in tiling.tiles:
            name = tiling.name(tile)
            foot = f"{mount.name}, sheet {name} of A1 to {tiling.name(tiling.tiles[-1])}, full size, seen from above"
            page = sheets.page(_short(printable(foot)), ON_EVERY_SHEET)
            _sheet(page, tile, tiling, mount, holes, paper)
    return sheets.finished()


def tiling_of(mount: MountResult, holes: list[HoleResult], paper: Paper) -> Tiling:
    """The sheets of one pattern. ValueError where there would be too many."""
    area_left, area_top, area_right, area_bottom = printable_area(paper)
    step = area_right - area_left - 2 * OVERLAP, area_bottom - area_top - 2 * OVERLAP
    across = [_across(h, mount) for h in holes]
    ahead = [h.x - mount.x for h in holes]
    r = max(h.diameter for h in holes) / 2 + MARGIN
    left, right, top, bottom = min(across) - r, max(across) + r, max(ahead) + r, min(ahead) - r
    line = mount.y  # the centreline, to the right of the middle of a mount that stands to the left
    if left - NEAR < line < right + NEAR:
        left, right = min(left, line - 2.0), max(right, line + 2.0)
    columns, rows = ceil((right - left) / step[0]), ceil((top - bottom) / step[1])
    if columns * rows > MOST_SHEETS:
        raise ValueError(
            f"a template of {mount.name} would take {columns * rows} sheets: check mounts.csv, or use the DXF"
        )
    left -= (columns * step[0] - (right - left)) / 2
    top += (rows * step[1] - (top - bottom)) / 2
    tiles = [
        Tile(column, row, left + column * step[0], top - row * step[1])
        for row in range(rows)
        for column in range(columns)
    ]
    return Tiling(step, columns, rows, tuple(tiles))


def _across(hole: HoleResult, mount: MountResult) -> float:
    """How far to the right of the mount's middle, mm."""
    return mount.y - hole.y


def _sheet(
    page: Page, tile: Tile, tiling: Tiling, mount: MountResult, holes: list[HoleResult], paper: Paper
) -> None:  # fmt: skip
    area_left, area_top, area_right, area_bottom = printable_area(paper)

    def on_paper(across: float, ahead: float) -> tuple[float, float]:
        return area_left + OVERLAP + across - tile.left, area_top + OVERLAP + tile.top - ahead

    _frame(page, area_left, area_top, area_right, area_bottom)
    for column in (0, 1):
        for row in (0, 1):
            x = area_left + OVERLAP + column * tiling.step[0]
            y = area_top + OVERLAP + row * tiling.step[1]
            page.line(x - REGISTER, y, x + REGISTER, y, 0.1)
            page.line(x, y - REGISTER, x, y + REGISTER, 0.1)
    x, _ = on_paper(mount.y, 0.0)
    if area_left + 1 < x < area_right - 1:
        page.line(x, area_top + 1, x, area_bottom - 1, 0.2, (8.0, 2.0))
        page.text_upwards(x - 1.2, area_bottom - 12.0, "CENTRELINE of the car", 7.0)
    _, y = on_paper(0.0, 0.0)
    if area_top + 1 < y < area_bottom - 1:
        page.line(area_left + 1, y, area_right - 1, y, 0.1, (3.0, 2.0))
        page.text(area_left + OVERLAP + 1, y - 1.0, f"middle of {_short(printable(mount.name), 40)}", 6.0)
    for hole in holes:
        place = on_paper(_across(hole, mount), hole.x - mount.x)
        r = hole.diameter / 2 + 8
        if (
            area_left + r < place[0] + 2 * r
            and place[0] - r < area_right
            and area_top < place[1] + r < area_bottom + 2 * r
        ):
            _hole(page, place, hole, (area_left, area_top, area_right, area_bottom))
    _front(page, area_right - 20.0, area_top + 24.0)
    page.text(area_left + 10.0, area_top + 5.0, f"sheet {tiling.name(tile)}", 12.0)
    _neighbours(page, tile, tiling, (area_left, area_top, area_right, area_bottom))
    if tile.column == 0 and tile.row == 0:
        _how_to(page, mount, holes, area_left + 12.0, area_top + 13.0)


def _frame(page: Page, left: float, top: float, right: float, bottom: float) -> None:
    for x in (left + OVERLAP, right - OVERLAP):
        page.line(x, top, x, bottom, 0.05, (1.0, 3.0))
    for y in (top + OVERLAP, bottom - OVERLAP):
        page.line(left, y, right, y, 0.05, (1.0, 3.0))


def _hole(page: Page, place: tuple[float, float], hole: HoleResult, area: tuple[float, float, float, float]) -> None:
    """Circle in true size, cross through its middle, a punch circle of 4 mm for the pilot; what falls off is cut."""
    canvas = page.canvas
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(area[0] * MM, (page.height - area[3]) * MM, (area[2] - area[0]) * MM, (area[3] - area[1]) * MM)
    canvas.clipPath(clip, stroke=0, fill=0)
    x, y, r = place[0], place[1], hole.diameter / 2
    canvas.setLineWidth(0.2 * MM)
    canvas.circle(x * MM, (page.height - y) * MM, r * MM, stroke=1, fill=0)
    page.line(x - r - 6, y, x + r + 6, y, 0.12)
    page.line(x, y - r - 6, x, y + r + 6, 0.12)
    there = ", there already" if hole.existing is not None else ""
    page.text(x + r + 1.5, y - 2.0, _short(printable(f"{hole.hole}: {hole.diameter:g} mm{there}"), 60), 7.0)
    canvas.restoreState()


def _front(page: Page, x: float, y: float) -> None:
    page.line(x, y + 10, x, y - 4, 0.4)
    page.triangle([(x, y - 10), (x - 3, y - 4), (x + 3, y - 4)])
    page.text(x, y + 14, "FRONT", 8.0, align="middle")


def _neighbours(page: Page, tile: Tile, tiling: Tiling, area: tuple[float, float, float, float]) -> None:
    """The name of the next sheet at each edge that has one."""
    left, top, right, bottom = area
    ways = ((-1, 0, left + 1.0, bottom - 14.0), (1, 0, right - 7.0, bottom - 14.0),
            (0, -1, left + 40.0, top + 5.0), (0, 1, left + 40.0, bottom - 2.0))  # fmt: skip
    for across, down, x, y in ways:
        other = Tile(tile.column + across, tile.row + down, 0.0, 0.0)
        if 0 <= other.column < tiling.columns and 0 <= other.row < tiling.rows:
            page.text(x, y, tiling.name(other), 7.0)


def _how_to(page: Page, mount: MountResult, holes: list[HoleResult], x: float, y: float) -> None:
    """What to do with the sheets, and lengths from the first hole to the others to check them with."""
    y = page.paragraph(x, y, HOW_TO, 110)
    first = holes[0]
    told = [
        f"{first.hole} to {o.hole} {((first.x - o.x) ** 2 + (first.y - o.y) ** 2) ** 0.5:.1f} mm" for o in holes[1:8]
    ]
    y = page.paragraph(x + 4, y, [printable("; ".join(told))], 104)
    verdict = "" if mount.verdict == "within" else f"The plan says: {VERDICTS[mount.verdict]}."
    page.paragraph(x, y, [*ON_THE_CAR, *filter(None, [verdict])], 110)


def _short(text: str, letters: int = 100) -> str:
    return text if len(text) <= letters else text[: letters - 1] + "…"


def _letters(column: int) -> str:
    """A to Z, then AA, AB ..."""
    return (_letters(column // 26 - 1) if column >= 26 else "") + chr(ord("A") + column % 26)
