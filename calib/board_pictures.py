"""Boards in pictures: the only module of calib that calls OpenCV.

Inner corners of a chessboard are saddle points: the picture around one is the same after half a turn, and any tone
curve keeps that so. sRGB therefore moves them hardly at all (unlike the edges of a black square, which it moves into
the black), and the grey values are taken as they are stored. The window of the refinement must not reach a
neighbouring corner or a code: in OpenCV's own published example a window of 23 pixels did, and moved the focal
length by 3 pixels. Here it follows from the spacing of the corners in each picture.

Pixels: the centre of the first pixel is (0, 0), in the sensor's own frame, before any EXIF rotation.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.board import Board, Chessboard, CodedBoard

Array = NDArray[np.float64]
Grey = NDArray[np.uint8]

DICTIONARY = cv2.aruco.DICT_5X5_50
SEARCH_SIDE = 1600
"""Pixels of the longer side at which a plain board is searched: its squares are large, and time goes with the area."""
PLAIN_WINDOW, CODED_WINDOW = 0.3, 0.13
"""Half a refinement window over the spacing of the corners; a code begins 0.15 of a square from its corner."""
LEAST_WINDOW, MOST_WINDOW = 2, 15
WIDE_EDGE = 2.0
"""Pixels (sd) of an edge beyond which a picture is blurred."""
EDGE_WINDOW, STRONG = 15, 40
"""Pixels over which an edge's contrast is taken; grey levels that it has at least."""
LEAST_CORNERS = 8
"""Corners of a coded board that fix its pose with something to spare."""


def marker_cells(number: int) -> NDArray[np.bool_]:
    """The code in a white square of the coded board (7, 7), black border included; True: black, row 0 at the top."""
    dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    return np.asarray(cv2.aruco.generateImageMarker(dictionary, number, 7, borderBits=1) == 0)


@cache
def _charuco(board: CodedBoard) -> Any:
    made = cv2.aruco.CharucoBoard(
        (board.columns, board.rows), board.square, board.marker, cv2.aruco.getPredefinedDictionary(DICTIONARY)
    )
    made.setLegacyPattern(False)
    return made


def marker_corners(board: CodedBoard) -> list[tuple[float, float]]:
    """Upper left corner of each code in mm from the board's upper left corner; the list's index is its number."""
    made = _charuco(board)
    if [int(n) for n in np.ravel(made.getIds())] != list(range(len(made.getObjPoints()))):
        raise RuntimeError("the codes of this board are not numbered through")  # a later OpenCV laid it out anew
    return [(float(corners[0][0]), float(corners[0][1])) for corners in made.getObjPoints()]


def find_corners(grey: Grey, board: Board) -> tuple[NDArray[np.int_], Array]:
    """Which inner corners of `board.corners()` (n,) are seen, and where (n, 2); none where no board is found.

    `grey` is (h, w) in the sensor's frame.
    """
    seen, pixels = _plain(grey, board) if isinstance(board, Chessboard) else _coded(grey, board)
    if len(seen) == 0:
        return seen, pixels
    share = PLAIN_WINDOW if isinstance(board, Chessboard) else CODED_WINDOW
    half = int(np.clip(share * least_spacing(pixels), LEAST_WINDOW, MOST_WINDOW))
    return seen, refine(grey, pixels, half)


def hidden_by(grey: Grey, board: Board) -> str:
    """What keeps the board from being found in a picture (h, w): "mirrored", "blurred", or nothing that is known."""
    if len(find_corners(np.ascontiguousarray(grey[:, ::-1], dtype=np.uint8), board)[0]):
        return "mirrored"
    return "blurred" if usual_edge(grey) > WIDE_EDGE else ""


def usual_edge(grey: Grey) -> float:
    """Width in pixels (sd) of the edges of strong contrast in a picture of anything; 0 where there are none."""
    window = np.ones((EDGE_WINDOW, EDGE_WINDOW), np.uint8)
    contrast = cv2.morphologyEx(grey, cv2.MORPH_GRADIENT, window).astype(float)
    strong = contrast > max(STRONG, float(np.percentile(contrast, 90)) / 2)
    if not np.any(strong):
        return 0.0
    across, down = cv2.Scharr(grey, cv2.CV_32F, 1, 0) / 32, cv2.Scharr(grey, cv2.CV_32F, 0, 1) / 32
    steepest = cv2.dilate(np.hypot(across, down), window)
    return float(np.median(contrast[strong] / np.maximum(steepest[strong], 1e-3)) / np.sqrt(2 * np.pi))


def refine(grey: Grey, pixels: Array, half_window: int) -> Array:
    """Corners (n, 2) at the saddle points next to them (n, 2), from a window of 2 half_window + 1 pixels."""
    until = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 40, 0.001)
    start = np.ascontiguousarray(pixels, dtype=np.float32).reshape(-1, 1, 2)
    found = cv2.cornerSubPix(grey, start, (half_window, half_window), (-1, -1), until)
    return np.asarray(found, dtype=float).reshape(-1, 2)


def least_spacing(pixels: Array) -> float:
    """The least distance in pixels between two of the corners (n, 2)."""
    apart = np.linalg.norm(pixels[:, None] - pixels[None, :], axis=2)
    return float(np.min(apart[~np.eye(len(pixels), dtype=bool)], initial=np.inf))


def _plain(grey: Grey, board: Chessboard) -> tuple[NDArray[np.int_], Array]:
    """All corners of a plain board, or none. Searched small; positions are refined at full size by the caller."""
    shrink = max(1.0, max(grey.shape) / SEARCH_SIDE)
    height, width = grey.shape
    size = (round(width / shrink), round(height / shrink))
    small = grey if shrink == 1.0 else cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    pattern = (board.columns, board.rows)
    found, corners = cv2.findChessboardCorners(
        small, pattern, flags=cv2.CALIB_CB_ADAPTIVE_THRESH | cv2.CALIB_CB_NORMALIZE_IMAGE | cv2.CALIB_CB_FAST_CHECK
    )
    if not found:  # slower, but it stands blur and uneven light
        found, corners = cv2.findChessboardCornersSB(small, pattern, flags=cv2.CALIB_CB_NORMALIZE_IMAGE)
    if not found:
        return np.zeros(0, dtype=int), np.zeros((0, 2))
    in_small = np.asarray(corners, dtype=float).reshape(-1, 2)
    # With the first pixel's centre at 0, shrinking keeps edges, not centres, in their place: hence the halves.
    in_full = (in_small + 0.5) * [width / size[0], height / size[1]] - 0.5
    return np.arange(len(in_full)), in_full


def _coded(grey: Grey, board: CodedBoard) -> tuple[NDArray[np.int_], Array]:
    """The corners next to codes that were read."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = 4 * 15.0 / max(grey.shape)  # a code of 15 pixels, whatever the picture's size
    detector = cv2.aruco.CharucoDetector(_charuco(board), cv2.aruco.CharucoParameters(), parameters)
    corners, numbers, _, _ = detector.detectBoard(grey)
    if numbers is None or len(numbers) < LEAST_CORNERS:
        return np.zeros(0, dtype=int), np.zeros((0, 2))
    return np.asarray(numbers, dtype=int).ravel(), np.asarray(corners, dtype=float).reshape(-1, 2)


def starting_values(
    on_board: Sequence[Array], pixels: Sequence[Array], size: tuple[int, int]
) -> tuple[Array, Array, Array]:
    """A lens (9,) in the order of LENS, and for each picture R (k, 3, 3) and t (k, 3): X_camera = R X_board + t.

    `on_board` (n, 2) in mm and `pixels` (n, 2) for each picture; `size` is width, height.
    """
    objects = [np.column_stack([xy, np.zeros(len(xy))]).astype(np.float32) for xy in on_board]
    images = [np.asarray(uv, dtype=np.float32).reshape(-1, 1, 2) for uv in pixels]
    # few terms: they start near enough, and no wild k3 of a poor set of pictures can throw the start
    flags = cv2.CALIB_FIX_K3 | cv2.CALIB_ZERO_TANGENT_DIST
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)  # several add up in whatever order they finish: the same pictures must give the same digits
    try:
        _, K, terms, turns, shifts = cv2.calibrateCamera(objects, images, size, None, None, flags=flags)
    finally:
        cv2.setNumThreads(threads)
    k1, k2 = np.ravel(terms)[:2]
    lens = np.array([K[0, 0], K[1, 1] / K[0, 0] - 1.0, K[0, 2], K[1, 2], k1, k2, 0.0, 0.0, 0.0])
    R = np.array([cv2.Rodrigues(turn)[0] for turn in turns])
    return lens, R, np.array([np.ravel(shift) for shift in shifts])
