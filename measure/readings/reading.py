"""One reading as written down, and a block of like readings as rows of the adjustment."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from measure.photo.first_poses import FirstPoses
from measure.readings.unknowns import Array, Index, State


@dataclass(frozen=True)
class Camera:
    """One camera with one lens at one focus setting: what is known of it beforehand.

    `lens` (9,) as in `measure.photo.lens`, `covariance` (9, 9) of that prior; `known` says where it comes from.
    """

    key: str
    width: int
    height: int
    lens: Array
    covariance: Array
    known: str


@dataclass(frozen=True)
class Seen:
    """What a photograph saw of one printed target: `corners` (4, 2) px; `side`, `standoff` mm.

    `block` holds the first poses of the photographs that are joined through their targets.
    """

    number: int
    corners: Array
    side: float
    standoff: float
    camera: Camera
    block: FirstPoses


@dataclass(frozen=True)
class Reading:
    """One line of a table, or one target in one photograph.

    `names` are points, or plumb marks (NAME, NAME#2) for a tape on the floor; `values` are mm as
    written; `sd` is mm, 0 for exact; `via` is the tape or the setup; `typed` the cell's own text. Of a target image
    `values` and `sd` are pixels, `via` is the photograph, and `seen` says the rest.
    """

    kind: str
    source: str
    names: tuple[str, ...]
    values: tuple[float, ...]
    sd: float
    via: str = ""
    typed: str = ""
    seen: Seen | None = None


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
