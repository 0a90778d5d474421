"""Boards in true scale to calibrate a camera with: coded squares, or a plain chessboard."""

from __future__ import annotations

from calib.board import CODED, PLAIN
from calib.board_pictures import marker_cells, marker_corners
from calib.printed_page import Page, Sheets, printable_area
from measure.paper import Paper

BOARD_WORDS = (
    "Glue the sheet flat on glass or a stiff board: a bent board makes a wrong lens. 12 to 20 pictures: the board "
    "large and in every corner of the frame, tilted 20 to 45 degrees in all ways, a third with the camera turned.",
)


def coded_board_pdf(paper: Paper) -> bytes:
    """The coded board (ChArUco), as PDF bytes."""
    board = CODED
    sheets = Sheets(f"plumbsquare {board.version}", paper)
    page = sheets.page(f"plumbsquare {board.version}", BOARD_WORDS)
    x, y = _middle(paper, board.columns * board.square, board.rows * board.square)
    _squares(page, x, y, board.columns, board.rows, board.square)
    for number, corner in enumerate(marker_corners(board)):
        page.cells(x + corner[0], y + corner[1], board.marker, marker_cells(number))
    return sheets.finished()


def plain_board_pdf(paper: Paper) -> bytes:
    """The plain chessboard, as PDF bytes: `--chessboard 9x6` names its inner corners."""
    across, down, square = PLAIN.rows + 1, PLAIN.columns + 1, PLAIN.square
    name = f"plumbsquare board 1 plain: {PLAIN.columns} x {PLAIN.rows} inner corners, squares of {square:g} mm"
    sheets = Sheets(name, paper)
    page = sheets.page(name, BOARD_WORDS)
    x, y = _middle(paper, across * square, down * square)
    _squares(page, x, y, across, down, square)
    return sheets.finished()


def _middle(paper: Paper, width: float, height: float) -> tuple[float, float]:
    left, top, right, bottom = printable_area(paper)
    return (left + right - width) / 2, (top + bottom - height) / 2


def _squares(page: Page, x: float, y: float, columns: int, rows: int, square: float) -> None:
    """Black where column + row is even: the upper left square is black."""
    for row in range(rows):
        for column in range(row % 2, columns, 2):
            page.block(x + column * square, y + row * square, square, square)
