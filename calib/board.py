"""The boards that a camera is calibrated with: where their corners stand.

The size of the squares plays no part in a calibration: twice the board at twice the distance gives the same picture,
so only the distances to the board would change. Squares must be alike, and the board flat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Chessboard:
    """A plain chessboard with `columns` x `rows` inner corners, squares of `square` mm."""

    columns: int
    rows: int
    square: float = 22.0

    def corners(self) -> NDArray[np.float64]:
        """Inner corners (columns * rows, 2) in mm, row by row, from the first inner corner."""
        return _grid(self.columns, self.rows) * self.square


@dataclass(frozen=True)
class CodedBoard:
    """A chessboard with a numbered code in every white square (ChArUco), so that a part of it will do.

    `columns` x `rows` squares, both odd: the layout of even ones differs between versions of the libraries, and odd
    ones have a black square in each corner whichever way they are counted. The numbers are those of the 5 x 5 code, so
    that no board in a picture can be taken for a target.
    """

    columns: int = 7
    rows: int = 9
    square: float = 25.0
    marker: float = 17.5

    @property
    def version(self) -> str:
        """Printed on the board, so that a board of a later layout is known for what it is."""
        return f"board 1: {self.columns} x {self.rows} squares of {self.square:g} mm, codes of {self.marker:g} mm"

    def corners(self) -> NDArray[np.float64]:
        """Inner corners ((columns - 1) * (rows - 1), 2) in mm from the board's upper left corner, row by row."""
        return (_grid(self.columns - 1, self.rows - 1) + 1.0) * self.square


Board = Chessboard | CodedBoard
CODED = CodedBoard()
"""The board that `plumbsquare board` prints."""
PLAIN = Chessboard(9, 6)
"""The board that `plumbsquare board --plain` prints, turned upright on the paper."""


def _grid(columns: int, rows: int) -> NDArray[np.float64]:
    y, x = np.mgrid[0:rows, 0:columns]
    return np.column_stack([x.ravel(), y.ravel()]).astype(float)
