"""chart.csv: lengths between points as the factory or a body chart gives them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from measure.findings import Findings, did_you_mean
from measure.job.points import Point
from measure.tables import Column, Row, read_table

COLUMNS = (
    Column("from", "name", required=True),
    Column("to", "name", required=True),
    Column("length", "length", required=True, positive=True),
    Column("tolerance", "length", positive=True),
    Column("taken", "choice", choices=("centre", "near", "far")),
    Column("note", "text"),
)


@dataclass(frozen=True)
class ChartLength:
    """The factory length between the centres of two points, mm. `tolerance`: how far either way is allowed, mm."""

    start: str
    end: str
    length: float
    tolerance: float | None = None
    note: str = ""
    line: int = 0

    @property
    def check_name(self) -> str:
        """The name of the check that judges it."""
        return f"chart.{self.start}.{self.end}"


def read_chart(folder: Path, points: Sequence[Point], unit: str, findings: Findings) -> list[ChartLength]:
    """The lengths of chart.csv between centres; none where there is no such table. `points`: those of points.csv."""
    lengths: list[ChartLength] = []
    by_name = {point.name: point for point in points}
    coordinates = {f"chart.{point.name}.{axis}" for point in points for axis in "xyz"}
    seen: dict[frozenset[str], int] = {}
    names: dict[str, int] = {}
    for row in read_table(folder, "chart", COLUMNS, unit, findings) or []:
        start, end = row.text("from"), row.text("to")
        unknown = [(column, row.text(column)) for column in ("from", "to") if row.text(column) not in by_name]
        for column, name in unknown:
            would_do = f"write a point of points.csv{did_you_mean(name, list(by_name))}"
            findings.error(row.file, row.line, column, name, would_do)
        if unknown:
            continue
        ends = frozenset((start, end))
        if start == end:
            findings.error(row.file, row.line, "to", end, "a length lies between two different points")
            continue
        if ends in seen:
            would_do = f"this length stands in line {seen[ends]} already: keep one of them"
            findings.error(row.file, row.line, "to", end, would_do)
            continue
        seen[ends] = row.line
        centres = _between_centres(row, by_name[start], by_name[end], findings)
        if centres is None:
            continue
        length = ChartLength(start, end, centres, row.figure("tolerance"), row.text("note"), row.line)
        if length.check_name in coordinates or length.check_name in names:
            would_do = f"its check would be called {length.check_name}, which means another thing: rename that point"
            findings.error(row.file, row.line, "to", end, would_do)
            continue
        names[length.check_name] = row.line
        lengths.append(length)
    return lengths


def _between_centres(row: Row, start: Point, end: Point, findings: Findings) -> float | None:
    """The length of a row from centre to centre: half of each hole more than between near edges, less between far."""
    length, taken = row.required("length"), row.text("taken") or "centre"
    if taken == "centre":
        return length
    bare = [point.name for point in (start, end) if point.hole is None]
    if start.hole is None or end.hole is None:
        would_do = f"fill in the hole diameter of {' and '.join(bare)} in points.csv, or write the length to centres"
        findings.error(row.file, row.line, "taken", taken, would_do)
        return None
    centres = length + (start.hole + end.hole) / 2 * (1.0 if taken == "near" else -1.0)
    if centres <= 0:
        findings.error(row.file, row.line, "length", row.raw["length"], "the two holes are wider than that")
        return None
    return centres
