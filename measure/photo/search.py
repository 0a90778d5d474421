"""Where printed targets may be: black quadrilaterals whose cells spell a wanted number, at most one cell wrong.

What they spell is read from the encoded picture, half-way between the black border and the white around it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from measure.photo.code import CELLS, WRONG_BITS, all_cells, read
from measure.photo.outline import KEEN, QUICK, quads, sharpened, square_to, values_at

Array = NDArray[np.float64]

CONTRAST = 12.0
"""Grey levels between border and surround under which nothing is read."""
BORDER_WRONG = 2
"""Border cells, of 28, that may read white: a reflection, a corner rubbed off."""
ROUGHLY_WRONG, ROUGHLY_BORDER = 5, 10
"""The same while the outline is rough: still nearer to one number than to any other; read anew once located."""
FEW = 4
"""Prints under which a picture is searched once more, keenly: it may be pale or blurred."""


@dataclass(frozen=True)
class Candidate:
    """A target roughly placed, not yet certain: corners (4, 2) px, clockwise from the printed top left seen upright."""

    number: int
    corners: Array
    wrong_bits: int


def candidates(grey: NDArray[np.uint8], wanted: frozenset[int] | None) -> list[Candidate]:
    """Every quadrilateral of the picture (h, w) that spells a number, each once; `wanted` None means any number."""
    found = _spelt(grey, quads(grey, QUICK))
    if len(found) < FEW:
        found = _each_once(found + _spelt(grey, quads(grey, KEEN)))
    return [each for each in found if wanted is None or each.number in wanted]


def _spelt(grey: NDArray[np.uint8], corners: Array) -> list[Candidate]:
    """Those of the quadrilaterals (m, 4, 2) that spell a number, each once."""
    black, white = _ring(grey, corners)
    hopeful = np.flatnonzero(white - black > CONTRAST)
    corners = sharpened(grey, corners[hopeful], black[hopeful], white[hopeful])
    inner, border, contrast = _cells(grey, corners)
    inked = np.abs(np.sum(inner, axis=(1, 2)) - _inked()[0]) <= _inked()[1] + ROUGHLY_WRONG
    framed = np.flatnonzero((border <= ROUGHLY_BORDER) & (contrast > CONTRAST) & inked)
    if not len(framed):
        return []
    corners = corners[framed]
    numbers, turns, wrong = read(inner[framed])
    good = wrong <= ROUGHLY_WRONG
    # turned anticlockwise by k quarters, the print's top left stands k corners on against the clock
    return _each_once([
        Candidate(int(numbers[i]), np.roll(corners[i], int(turns[i]), axis=0), int(wrong[i]))
        for i in np.flatnonzero(good)
    ])  # fmt: skip


@cache
def _inked() -> tuple[float, float]:
    """Black cells inside the border of any number, and how many more or fewer: no plain patch is read."""
    inner = np.sum(all_cells()[:, 1:-1, 1:-1], axis=(1, 2))
    return float(inner.max() + inner.min()) / 2, float(inner.max() - inner.min()) / 2


def wrong_cells(grey: NDArray[np.uint8], numbers: Sequence[int], corners: Array) -> list[int | None]:
    """Cells of located prints (m, 4, 2) that read wrong; None where one is not, for certain, a print of its number."""
    if not len(corners):
        return []
    inner, border, contrast = _cells(grey, corners)
    read_as, turns, wrong = read(inner)
    sure = (wrong <= WRONG_BITS) & (border <= BORDER_WRONG) & (contrast > CONTRAST)
    sure &= (read_as == np.asarray(numbers)) & (turns == 0)
    return [int(count) if good else None for count, good in zip(wrong, sure, strict=True)]


_GRID = np.arange(CELLS + 2) - (CELLS + 1) / 2  # cell centres, one ring of white around
_AROUND = np.abs(_GRID) > CELLS / 2
_SURROUND = np.flatnonzero((_AROUND[:, None] | _AROUND[None]).ravel())
_BORDER = np.flatnonzero((np.maximum(np.abs(_GRID[:, None]), np.abs(_GRID[None])) == (CELLS - 1) / 2).ravel())
_CENTRES = np.stack(np.meshgrid(_GRID, _GRID, indexing="xy"), axis=2).reshape(-1, 2)
_WITHIN = np.array([[-0.2, -0.2], [0.2, -0.2], [-0.2, 0.2], [0.2, 0.2]])
_INSIDE = (_WITHIN[:, None] + _CENTRES[None]).reshape(-1, 2)
_AT_RING = _CENTRES[np.concatenate([_BORDER, _SURROUND])]


def _ring(grey: NDArray[np.uint8], corners: Array) -> tuple[Array, Array]:
    """Grey levels of the black border (m,) and of the white around it (m,), one pixel a cell."""
    seen = values_at(grey, square_to(corners), _AT_RING)
    return np.median(seen[:, : len(_BORDER)], axis=1), np.median(seen[:, len(_BORDER) :], axis=1)


def _cells(grey: NDArray[np.uint8], corners: Array) -> tuple[NDArray[np.bool_], NDArray[np.int64], Array]:
    """Inner cells (m, 6, 6) True where black, border cells that read white (m,), contrast (m,) in grey levels."""
    n = CELLS + 2
    seen = values_at(grey, square_to(corners), _INSIDE).reshape(-1, len(_WITHIN), n * n)
    values = seen.sum(axis=1, dtype=np.int64) / len(_WITHIN)
    black, white = np.median(values[:, _BORDER], axis=1), np.median(values[:, _SURROUND], axis=1)
    dark = values < ((black + white) / 2)[:, None]
    return dark.reshape(-1, n, n)[:, 2:-2, 2:-2], np.sum(~dark[:, _BORDER], axis=1), white - black


def _each_once(found: list[Candidate]) -> list[Candidate]:
    """The same print outlined twice is one; the outline with fewer wrong cells, then the larger, is kept."""
    kept: list[Candidate] = []
    for one in sorted(found, key=lambda c: (c.number, c.wrong_bits, -_size(c.corners))):
        middle = one.corners.mean(axis=0)
        same = any(
            k.number == one.number and np.linalg.norm(k.corners.mean(axis=0) - middle) < 0.3 * _size(k.corners)
            for k in kept
        )
        if not same:
            kept.append(one)
    return kept


def _size(corners: Array) -> float:
    """Mean side in pixels."""
    return float(np.mean(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)))
