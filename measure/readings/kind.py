"""What a kind of reading must say of itself, and what it is told in return."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from measure.findings import Findings, nearest
from measure.job import Job
from measure.readings.reading import Block, Reading
from measure.readings.unknowns import Index, Unknowns
from measure.tables import Column, Row


@dataclass(frozen=True)
class Sheet:
    """The job and the place to complain, while one table is read."""

    job: Job
    stage: str
    findings: Findings
    progress: Callable[[int, int], None] | None = None  # told (pictures done, pictures in all)
    others: bool = False  # whether the tables before this one hold readings enough to place points by

    def point(self, row: Row, column: str, *, mark: bool = False) -> str | None:
        """The known point (or its plumb mark NAME#2) in a cell; None and an error where unknown."""
        typed = row.text(column)
        name, hash_, drop = typed.partition("#")
        name = name.strip()
        if not self.job.has_point(name):
            near = nearest(name, [p.name for p in self.job.points])
            hint = f'; did you mean "{near}"?' if near else ""
            self.complain(row, column, typed, f"write a point of points.csv{hint}")
            return None
        if not hash_:
            return name
        if not mark:
            self.complain(row, column, typed, f'this is the point itself: write "{name}"')
            return None
        if not drop.strip().isdigit() or int(drop) < 1:
            self.complain(row, column, typed, f'a second drop of the bob is "{name}#2"')
            return None
        return name if int(drop) == 1 else f"{name}#{int(drop)}"

    def complain(self, row: Row, column: str, found: str, would_do: str) -> None:
        """Add one error at a cell of this stage's table."""
        self.findings.error(f"{self.stage}/{row.file}", row.line, column, found, would_do)


@dataclass(frozen=True)
class Site:
    """What a block needs besides its readings."""

    job: Job
    stage: str
    unknowns: Unknowns
    level_sets: Index  # (points,): points with one number hang together in height; -1 where none
    assumed_heights: dict[str, float]  # mm, points without a measured height; 0 where nothing is known
    offset_tapes: frozenset[str] = frozenset()  # tapes whose readings were found to share an offset
    scaled_blocks: frozenset[str] = frozenset()  # joined photographs whose size a measured length holds


@dataclass(frozen=True)
class Kind:
    """A kind of reading: its table, how its lines are read (none where there is no table), and its rows."""

    table: str
    columns: tuple[Column, ...]
    read: Callable[[Sequence[Row], Sheet], list[Reading]]
    blocks: Callable[[Sequence[Reading], Site], list[Block]]
    makes: tuple[str, ...]  # the kinds its readings name themselves by
    fill_in: str | None = None


def line_by_line(read: Callable[[Row, Sheet], Reading | None]) -> Callable[[Sequence[Row], Sheet], list[Reading]]:
    """A table whose every line is a reading, or none where a cell cannot be used."""

    def read_all(rows: Sequence[Row], sheet: Sheet) -> list[Reading]:
        return [reading for row in rows if (reading := read(row, sheet)) is not None]

    return read_all


def point_of(mark: str) -> str:
    """The point a plumb mark lies under: NAME for NAME#2."""
    return mark.partition("#")[0]


def either(value: float | None, default: float) -> float:
    """A row's own figure where it has one."""
    return default if value is None else value
