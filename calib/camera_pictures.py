"""From pictures of a board to a camera.toml: find the board, adjust, set aside what spoils, say what is weak."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calib.board import Board, Chessboard
from calib.board_pictures import find_corners, hidden_by, starting_values
from calib.camera_advice import advice, of_the_focus, of_the_pixels
from calib.camera_calibration import Calibration, CalibrationError, View, calibrate, focal_of_each
from calib.camera_file import CalibratedOn, CameraFile
from calib.edge_width import edge_width
from measure.findings import BadInput, Findings, visible
from measure.photo.picture import Picture, PictureError, grey, open_picture

Array = NDArray[np.float64]

FEWEST = 4
"""Pictures under which nothing checks the lens."""
BLURRED, SO_MUCH_MORE = 2.5, 2.0
"""Edges wider than 2.5 pixels, and twice the usual of the set, make a picture blurred."""
WORSE, NOTICED = 3.0, 0.15
"""A picture is set aside where its rms is three times the usual of the set, and more than 0.15 pixels."""
ASTRAY = 5.0
"""A corner is left out where it is five sd off: by chance one in 270,000."""
MOST_ROUNDS = 5
MOST_LOOKED_INTO = 3
"""Pictures without a board that are looked at for its reason, where there are too few with one."""
WOULD_DO = {
    "mirrored": "switch off what mirrors pictures in the camera (as for pictures of oneself); ",
    "blurred": "hold still, more light, focus on the board; ",
}
K95, WORTHLESS = 1.96, 0.05
"""A focal length that is not known to 5 % says no more than the EXIF data do."""


@dataclass(frozen=True)
class BoardPicture:
    """The board in one picture: which corners of `board.corners()` (n,), where (n, 2), width of the edges in pixels."""

    picture: Picture
    seen: NDArray[np.int_]
    pixels: Array
    blur: float


@dataclass(frozen=True)
class Calibrated:
    """What `plumbsquare camera` found: the file, the corners used in each picture, what is weak, what was noticed."""

    camera: CameraFile
    pixels: tuple[Array, ...]
    weak: tuple[str, ...]
    findings: Findings


def find_boards(
    paths: Sequence[Path], board: Board, findings: Findings, progress: Callable[[int, int], None] | None = None
) -> list[BoardPicture]:
    """The board in each picture, in the order of `paths`; notes for those that cannot be read or show none.

    Both cores are used: OpenCV and the decoders leave Python's lock alone.
    """
    found: list[BoardPicture] = []
    with ThreadPoolExecutor(max_workers=2) as pool:
        for done, (path, one) in enumerate(
            zip(paths, pool.map(lambda p: _find(p, board), paths), strict=True), start=1
        ):
            if isinstance(one, PictureError):
                findings.note(path.name, None, None, one.found, f"left out; {one.would_do}")
            elif len(one.seen) == 0:
                findings.note(path.name, None, None, "no board", _no_board(board))
            else:
                found.append(one)
            if progress is not None:
                progress(done, len(paths))
    return found


def _no_board(board: Board) -> str:
    if isinstance(board, Chessboard):
        return (
            f"left out; all {board.columns} x {board.rows} inner corners and a white rim must be seen "
            "(--chessboard counts inner corners, not squares)"
        )
    return "left out; a good part of the board must be seen, sharp and well lit (a plain one wants --chessboard 9x6)"


def _find(path: Path, board: Board) -> BoardPicture | PictureError:
    try:
        picture = open_picture(path)
        pixels_of = grey(picture)
    except PictureError as problem:
        return problem
    seen, pixels = find_corners(pixels_of, board)
    blur = edge_width(pixels_of, board.corners()[seen], pixels) if len(seen) else float("nan")
    return BoardPicture(picture, seen, pixels, blur)


def calibrate_pictures(
    paths: Sequence[Path], board: Board, progress: Callable[[int, int], None] | None = None
) -> Calibrated:
    """The lens from pictures of the board.

    Raises BadInput where they are of several cameras, lenses or sizes, too few, or hold no lens; its findings name
    every picture that was left out.
    """
    findings = Findings()
    unique = _each_once(find_boards(paths, board, findings, progress), findings)
    _one_camera(unique, findings)
    zoom = unique[0].picture.exif.digital_zoom if unique else None
    if zoom is not None and abs(zoom - 1.0) > 0.01:
        findings.note(
            "pictures", None, None, f"digital zoom {zoom:g}", "this lens will do for pictures zoomed alike only"
        )
    sharp = _without_blurred(unique, findings)
    if len(sharp) < FEWEST:
        shown = f"{len(sharp)} picture{'s' if len(sharp) != 1 else ''} with a board of {len(paths)} given"
        shown_by = {each.picture.path for each in unique}
        why = _hidden_by([path for path in paths if path not in shown_by], board)
        would_do = f"at least {FEWEST}, better 12 to 20: tilted and turned"
        findings.error("pictures", None, None, shown + why[0], f"{why[1]}{would_do}")
    findings.raise_if_errors()
    try:
        made = _adjusted(sharp, board, findings)
    except CalibrationError as problem:
        findings.error("pictures", None, None, "a lens that these pictures do not hold", str(problem))
        raise BadInput(findings) from None
    loose = K95 * made.camera.sd[0] / made.camera.values[0]
    if loose > WORTHLESS:
        shown = f"a focal length known to {100 * loose:.0f} % only (95 %)"
        findings.error("pictures", None, None, shown, "; ".join(made.weak))
        raise BadInput(findings)
    return made


def _hidden_by(without: Sequence[Path], board: Board) -> tuple[str, str]:
    """What the first of the pictures without a board have in common, and what would do; empty where nothing."""
    for path in without[:MOST_LOOKED_INTO]:
        try:
            why = hidden_by(grey(open_picture(path)), board)
        except (PictureError, OSError):
            continue
        if why:
            name = visible(path.name)
            return (f" ({name} is {why})", WOULD_DO[why])
    return "", ""


def _each_once(found: Sequence[BoardPicture], findings: Findings) -> list[BoardPicture]:
    """The same picture given twice tells nothing twice."""
    first: dict[str, str] = {}
    kept = []
    for one in found:
        name = one.picture.path.name
        if one.picture.sha256 in first:
            findings.note(name, None, None, f"the same picture as {first[one.picture.sha256]}", "left out")
        else:
            first[one.picture.sha256] = name
            kept.append(one)
    return kept


def _one_camera(found: Sequence[BoardPicture], findings: Findings) -> None:
    """An error where the pictures are of several cameras, lenses, zooms or sizes."""
    groups: dict[str, list[str]] = {}
    for one in found:
        groups.setdefault(one.picture.camera_key, []).append(one.picture.path.name)
    if len(groups) > 1:
        told = "; ".join(f"{visible(key) or 'no name'}: {_some(names)}" for key, names in groups.items())
        findings.error(
            "pictures", None, None, f"{len(groups)} cameras, lenses or picture sizes",
            f"calibrate each on its own, without zoom, all pictures taken alike ({told})",
        )  # fmt: skip


def _some(names: Sequence[str]) -> str:
    return ", ".join(names) if len(names) <= 4 else f"{', '.join(names[:3])} and {len(names) - 3} more"


def _without_blurred(found: Sequence[BoardPicture], findings: Findings) -> list[BoardPicture]:
    usual = float(np.nanmedian([one.blur for one in found])) if found else 0.0
    kept = []
    for one in found:
        if one.blur > max(BLURRED, SO_MUCH_MORE * usual):
            shown = f"a blurred picture (edges {one.blur:.1f} px wide, usually {usual:.1f})"
            findings.note(one.picture.path.name, None, None, shown, "left out; hold still, more light, take it again")
        else:
            kept.append(one)
    if usual > BLURRED:
        shown = f"edges {usual:.1f} px wide in most of them"
        findings.note("pictures", None, None, shown, "blurred: hold still, more light, focus on the board")
    return kept


def _adjusted(found: list[BoardPicture], board: Board, findings: Findings) -> Calibrated:
    """Adjust, leave out corners and pictures that do not fit, until all do."""
    corners = board.corners()
    size = (found[0].picture.width, found[0].picture.height)
    kept = [np.ones(len(one.seen), dtype=bool) for one in found]
    for _ in range(MOST_ROUNDS):
        views = [
            View(one.picture.path.name, corners[one.seen[k]], one.pixels[k]) for one, k in zip(found, kept, strict=True)
        ]
        start = starting_values([v.on_board for v in views], [v.pixels for v in views], size)
        result = calibrate(views, start)
        bad = _bad_pictures(result.rms) if len(found) > FEWEST else []
        if bad and len(found) - len(bad) >= FEWEST:
            usual = float(np.median(result.rms))
            for i in bad:
                shown = f"corners {result.rms[i]:.2f} px off, usually {usual:.2f}"
                would_do = "left out; moved while taken, board bent, or something over it"
                findings.note(views[i].name, None, None, shown, would_do)
            found = [one for i, one in enumerate(found) if i not in bad]
            kept = [k for i, k in enumerate(kept) if i not in bad]
            continue
        if not _leave_out_astray(result, kept):
            break
    picture = found[0].picture
    exif = picture.exif
    camera = CameraFile(
        picture.camera_key, exif.make, exif.model, exif.lens, exif.focal_mm, *size, result.lens, result.sd,
        result.covariance / np.outer(result.sd, result.sd), result.sigma0, _named(board),
        tuple(
            CalibratedOn(v.name, len(v.pixels), int(np.count_nonzero(~k)), float(rms), one.blur)
            for v, k, rms, one in zip(views, kept, result.rms, found, strict=True)
        ),
    )  # fmt: skip
    used = tuple(view.pixels for view in views)
    weak = [
        *of_the_focus([visible(v.name) for v in views], *focal_of_each(views, result)),
        *of_the_pixels(float(result.lens[1]), float(result.sd[1])),
        *advice(result.R, used, size, float(result.lens[0]), float(result.sd[0])),
    ]
    return Calibrated(camera, used, tuple(weak), findings)


def _bad_pictures(rms: Array) -> list[int]:
    usual = float(np.median(rms))
    return [i for i, each in enumerate(rms) if each > max(WORSE * usual, NOTICED)]


def _leave_out_astray(result: Calibration, kept: list[NDArray[np.bool_]]) -> bool:
    """Take corners far off out of `kept`; whether there were any. The usual scatter is that of the median corner."""
    off = [np.linalg.norm(v, axis=1) for v in result.residuals]
    sd = float(np.median(np.concatenate(off))) / np.sqrt(2 * np.log(2))
    any_out = False
    for i, each in enumerate(off):
        astray = each > ASTRAY * sd
        if np.any(astray) and np.count_nonzero(~astray) >= 6:
            kept[i][np.flatnonzero(kept[i])[astray]] = False
            any_out = True
    return any_out


def _named(board: Board) -> str:
    if isinstance(board, Chessboard):
        return f"chessboard {board.columns}x{board.rows}"
    return board.version
