"""The exact share of each pixel inside an outline of straight pieces, by signed areas, as outline fonts are drawn."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.int64]


def coverage(start: Array, end: Array, sign: Array, rows: int, columns: int) -> Array:
    """(rows, columns) share of each pixel inside the outline of directed pieces `start` -> `end` (n, 2) px.

    `sign` (n,) counts a piece so many times; the inside lies to the right of a piece that runs down the picture, and
    outlines must be closed. The pixel (0, 0) reaches from -0.5 to 0.5. Outlines may leave the picture. Exact but for
    rounding; not checked: that the outline is closed and does not cross itself.
    """
    seg, t0, t1 = _split(start + 0.5, end + 0.5)
    way = (end - start)[seg]
    p, q = start[seg] + 0.5 + t0[:, None] * way, start[seg] + 0.5 + t1[:, None] * way
    middle = (p + q) / 2
    fall = (q[:, 1] - p[:, 1]) * sign[seg]
    row, column = np.floor(middle[:, 1]).astype(np.int64), np.floor(middle[:, 0]).astype(np.int64)
    past = np.where(column < 0, 0.0, middle[:, 0] - column)  # what lies to the left of the picture fills whole rows
    column = np.maximum(column, 0)
    total = np.zeros((rows, columns + 2))
    here = (row >= 0) & (row < rows) & (column < columns)
    row, column, past, fall = row[here], column[here], past[here], fall[here]
    # Everything to the right of a piece gains its fall; the pixel that it crosses, what is right of it within.
    np.add.at(total, (row, column), fall * (1.0 - past))
    np.add.at(total, (row, column + 1), fall * past)
    share: Array = -np.cumsum(total, axis=1)[:, :columns]
    return share


def _split(start: Array, end: Array) -> tuple[Index, Array, Array]:
    """Cut each piece where it passes from pixel to pixel: number of the piece, from and to as shares of its way."""
    segs, shares = [np.arange(len(start))], [np.zeros(len(start))]
    for axis in range(2):
        a, b = start[:, axis], end[:, axis]
        first = np.floor(np.minimum(a, b)).astype(np.int64) + 1
        count = np.maximum(np.ceil(np.maximum(a, b)).astype(np.int64) - first, 0)
        seg = np.repeat(np.arange(len(a)), count)
        line = np.arange(len(seg)) - np.repeat(np.cumsum(count) - count, count) + first[seg]
        segs.append(seg)
        shares.append((line - a[seg]) / (b[seg] - a[seg]))
    seg, share = np.concatenate(segs), np.concatenate(shares)
    order = np.lexsort((share, seg))
    seg, share = seg[order], share[order]
    until = np.append(share[1:], 1.0)
    until[np.append(seg[1:] != seg[:-1], True)] = 1.0
    return seg, share, until
