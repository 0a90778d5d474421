"""mounts.csv: the holes to be drilled, each in the axes of its mount."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from measure.findings import Findings
from measure.tables import Column, read_table

COLUMNS = (
    Column("mount", "name", required=True),
    Column("hole", "name", required=True),
    Column("x", "length", required=True),
    Column("y", "length", required=True),
    Column("z", "length"),
    Column("diameter", "length", required=True, positive=True),
    Column("bolt", "length", positive=True),
    Column("note", "text"),
)


@dataclass(frozen=True)
class MountHole:
    """A hole of a mount, mm: x forward, y left, z up from the mount's own middle."""

    mount: str
    hole: str
    x: float
    y: float
    z: float | None
    diameter: float
    bolt: float | None = None
    note: str = ""
    line: int = 0


def read_mount_holes(folder: Path, unit: str, findings: Findings) -> list[MountHole]:
    """The holes of mounts.csv; none where there is no such table."""
    holes: list[MountHole] = []
    seen: dict[tuple[str, str], int] = {}
    for row in read_table(folder, "mounts", COLUMNS, unit, findings) or []:
        key = row.text("mount"), row.text("hole")
        diameter, bolt = row.required("diameter"), row.figure("bolt")
        if key in seen:
            would_do = f'mount "{key[0]}" has this hole in line {seen[key]} already: give it another name'
            findings.error(row.file, row.line, "hole", key[1], would_do)
            continue
        seen[key] = row.line
        if bolt is not None and bolt > diameter:
            would_do = f"the bolt does not go through a hole of {diameter:g} mm"
            findings.error(row.file, row.line, "bolt", row.raw["bolt"], would_do)
            continue
        x, y = row.required("x"), row.required("y")
        holes.append(MountHole(*key, x, y, row.figure("z"), diameter, bolt, row.text("note"), row.line))
    return holes
