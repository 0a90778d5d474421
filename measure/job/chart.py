"""chart.csv: lengths between points as the factory or a body chart gives them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from measure.findings import Findings, did_you_mean
from measure.tables import Column, read_table

COLUMNS = (
    Column("from", "name", required=True),
    Column("to", "name", required=True),
    Column("length", "length", required=True, positive=True),
    Column("tolerance", "length", positive=True),
    Column("note", "text"),
)


@dataclass(frozen=True)
class ChartLength:
    """The factory length between two points, mm. `tolerance`: how far either way is allowed, mm."""

    start: str
    end: str
    length: float
    tolerance: float | None = None
    note: str = ""
    line: int = 0


def read_chart(folder: Path, known: Sequence[str], unit: str, findings: Findings) -> list[ChartLength]:
    """The lengths of chart.csv; none where there is no such table. `known`: the names of points.csv."""
    lengths: list[ChartLength] = []
    names = frozenset(known)
    seen: dict[frozenset[str], int] = {}
    for row in read_table(folder, "chart", COLUMNS, unit, findings) or []:
        start, end = row.text("from"), row.text("to")
        unknown = [(column, row.text(column)) for column in ("from", "to") if row.text(column) not in names]
        for column, name in unknown:
            would_do = f"write a point of points.csv{did_you_mean(name, known)}"
            findings.error(row.file, row.line, column, name, would_do)
        if unknown:
            continue
        ends = frozenset((start, end))
        if start == end:
            findings.error(row.file, row.line, "to", end, "a length lies between two different points")
        elif ends in seen:
            would_do = f"this length stands in line {seen[ends]} already: keep one of them"
            findings.error(row.file, row.line, "to", end, would_do)
        else:
            seen[ends] = row.line
            length = row.figure("length") or 0.0
            lengths.append(ChartLength(start, end, length, row.figure("tolerance"), row.text("note"), row.line))
    return lengths
