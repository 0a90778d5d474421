"""A camera from the public chessboard set of OpenCV: its published lens, within the spread that its caution explains.

Source and caution: data/chessboard_opencv_left.toml. The published fit holds fx = fy; here the aspect is free, and
comes out at zero within its sd.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calib.board import Chessboard
from calib.board_pictures import starting_values
from calib.camera_calibration import Calibration, View, calibrate
from measure.photo.lens import LENS

DATA: dict[str, Any] = tomllib.loads(
    (Path(__file__).parent / "data" / "chessboard_opencv_left.toml").read_text(encoding="utf-8")
)


def calibrated(half_window: int, without: tuple[str, ...] = ()) -> Calibration:
    board = Chessboard(*DATA["inner_corners"], 1000 * DATA["square_size_m"])
    table = DATA[f"corners_half_window_{half_window}"]
    views = [
        View(name, board.corners(), np.array(table[name]).reshape(-1, 2))
        for name in DATA["images"]
        if name not in without
    ]
    size = tuple(DATA["image_size"])
    return calibrate(views, starting_values([v.on_board for v in views], [v.pixels for v in views], size))


def test_published_lens_from_the_same_corners() -> None:
    """The published one holds fx = fy, and came from an older version's corners: hence a part of an sd."""
    found, published = calibrated(11), DATA["published"]
    by_name = dict(zip(LENS, found.lens, strict=True))
    assert by_name["focal"] == pytest.approx(published["fx"], abs=0.5)
    for name in ("cx", "cy", "k1", "k2", "p1", "p2", "k3"):
        assert abs(by_name[name] - published[name]) < 0.25 * found.sd[LENS.index(name)], name
    assert abs(by_name["aspect"]) < 2 * found.sd[1]
    np.testing.assert_allclose(found.rms, published["rms_per_view_px"], rtol=0, atol=0.09)
    others = [i for i, name in enumerate(DATA["images"]) if name not in ("02", "13")]
    np.testing.assert_allclose(found.rms[others], np.array(published["rms_per_view_px"])[others], rtol=0, atol=0.01)


def test_same_lens_as_the_common_library_to_its_last_digits() -> None:
    found, other = calibrated(11), DATA["computed_half_window_11_free_aspect"]
    fx = found.lens[0]
    # corners are kept to 0.001 px
    assert [fx, fx * (1 + found.lens[1]), *found.lens[2:4]] == pytest.approx(
        [other[k] for k in ("fx", "fy", "cx", "cy")], abs=2e-3
    )


def test_good_corners_stay_within_the_spread_of_the_caution() -> None:
    good, published = calibrated(5), DATA["published"]
    assert abs(good.lens[0] - published["fx"]) < 5
    assert np.all(np.abs(good.lens[2:4] - [published["cx"], published["cy"]]) < 3)
    assert good.sigma0 < 0.5 * calibrated(11).sigma0
    assert abs(calibrated(11, without=("02",)).lens[0] - good.lens[0]) < abs(calibrated(11).lens[0] - good.lens[0])


def test_covariance_against_the_common_library() -> None:
    """OpenCV gives sds from its own Jacobian, with the same a posteriori sigma."""
    import cv2

    board = Chessboard(9, 6, 25.0)
    table = DATA["corners_half_window_5"]
    objects = [np.column_stack([board.corners(), np.zeros(54)]).astype(np.float32)] * len(DATA["images"])
    images = [np.array(table[name], dtype=np.float32).reshape(-1, 1, 2) for name in DATA["images"]]
    until = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 100, 1e-14)
    _, K, terms, _, _, sds, _, _ = cv2.calibrateCameraExtended(objects, images, (640, 480), None, None, criteria=until)
    found = calibrated(5)
    k1, k2, p1, p2, k3 = terms.ravel()[:5]
    theirs_in_our_order = [K[0, 0], K[1, 1] / K[0, 0] - 1, K[0, 2], K[1, 2], k1, k2, p1, p2, k3]
    # it takes pixels in single precision only
    assert np.all(np.abs(found.lens - theirs_in_our_order) < 5e-4 * found.sd)
    theirs = sds.ravel()[:9]  # fx fy cx cy k1 k2 p1 p2 k3
    np.testing.assert_allclose(found.sd[[0, 2, 3, 4, 5, 6, 7, 8]], theirs[[0, 2, 3, 4, 5, 6, 7, 8]], rtol=1e-4)
    # fy = focal (1 + aspect): its sd needs the correlation of the two
    J = np.array([1 + found.lens[1], found.lens[0]])
    assert np.sqrt(J @ found.covariance[:2, :2] @ J) == pytest.approx(theirs[1], rel=1e-4)
