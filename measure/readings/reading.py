"""One reading as written down, and a block of like readings as rows of the adjustment."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from measure.readings.unknowns import Array, Index, State


@dataclass(frozen=True)
class Reading:
    """One line of a table.

    `names` are points, or plumb marks (NAME, NAME#2) for a tape on the floor; `values` are mm as
    written; `sd` is mm, 0 for exact; `via` is the tape or the setup; `typed` the cell's own text.
    """

    kind: str
    source: str
    names: tuple[str, ...]
    values: tuple[float, ...]
    sd: float
    via: str = ""
    typed: str = ""


@dataclass(frozen=True)
class Row:
    """What one row of the adjustment says of its reading; `axis` where a reading has several rows."""

    reading: Reading
    axis: str
    shown: float  # the figure as written, mm
    tested: bool = True  # a prior is no reading: it is never suspected


Linearised = tuple[Array, Array, Index]
"""Computed readings (m,), derivatives (m, k) and the columns (m, k) they belong to."""


@dataclass(frozen=True)
class Block:
    """Like rows. `observed` and `sd` are (m,) mm (a scale's are relative)."""

    rows: Sequence[Row]
    observed: Array
    sd: Array
    linearise: Callable[[State], Linearised]
