"""A table as it stands in its file: rows of cells, not yet understood."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass
class Grid:
    """Rows of stripped text with their line numbers (from 1), comments and blank lines left out.

    `numbers` and `troubles` are keyed (line, index of the cell). `numbers` holds the cells that are numbers
    in a spreadsheet and so depend on no decimal mark. `troubles` says, for cells that cannot be what was
    typed (a date, a formula never computed), what would do.
    """

    rows: list[tuple[int, list[str]]] = field(default_factory=list)
    numbers: dict[tuple[int, int], float] = field(default_factory=dict)
    troubles: dict[tuple[int, int], str] = field(default_factory=dict)
