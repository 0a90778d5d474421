"""The printed code: the open 36h11 family, as one table of cells; the only place that asks the library for it.

A target is a black square of 8 x 8 cells; the outer ring is black, the 36 inside carry the number. Any two codes differ
in 11 cells or more however they are turned, so that one wrong cell can be forgiven without doubt.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

Bits = NDArray[np.bool_]

NUMBERS = 587
CELLS = 8
WRONG_BITS = 1
"""Cells that may be misread."""


@cache
def all_cells() -> Bits:
    """Cells (587, 8, 8) of every number, True where black; row 0 is the top as printed upright."""
    import cv2  # heavy

    table = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    made: Bits = np.stack([cv2.aruco.generateImageMarker(table, i, CELLS, borderBits=1) for i in range(NUMBERS)]) == 0
    made.setflags(write=False)
    return made


def code_cells(number: int) -> Bits:
    """Cells (8, 8) of one number, True where black, border included; row 0 is the top as printed upright."""
    return np.asarray(all_cells()[number])


@cache
def _table() -> NDArray[np.uint8]:
    """The 36 inner cells of every number in its four turns, packed: (4, 587, 5) bytes."""
    inner = all_cells()[:, 1:-1, 1:-1]
    turned = np.stack([np.rot90(inner, k, axes=(1, 2)) for k in range(4)])
    return np.packbits(turned.reshape(4, NUMBERS, 36), axis=2)


def read(inner: Bits) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Best number (m,), quarter turns anticlockwise (m,) of the print in the cells, and cells that differ (m,).

    `inner` (m, 6, 6) are the cells inside the border, True where black.
    """
    packed = np.packbits(inner.reshape(-1, 36), axis=1)
    differing = np.bitwise_count(packed[:, None, None] ^ _table()[None]).sum(axis=3, dtype=np.int64)
    flat = differing.reshape(len(packed), -1)
    best = np.argmin(flat, axis=1)
    turns, numbers = np.divmod(best, NUMBERS)
    return numbers, turns, flat[np.arange(len(flat)), best]
