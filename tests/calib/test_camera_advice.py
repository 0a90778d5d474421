"""What is weak about the pictures of a board, in words, and which to add."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from calib.board import PLAIN
from calib.camera_advice import advice, empty_parts, of_the_focus, of_the_pixels, turn_and_tilt
from calib.camera_calibration import View, calibrate, focal_of_each
from tests.calib.boards import LENS_TRUE, SIZE, exact_views, poses

EVERYWHERE = [np.array([[x, y] for x in (5.0, 320.0, 630.0) for y in (5.0, 240.0, 470.0)])] * 12


def leaning(degrees: list[float], towards: list[float], turned: list[float]) -> np.ndarray:
    """Boards that lean by so much towards a direction in the picture, turned about the line of sight."""
    made = []
    for tilt, direction, turn in zip(degrees, towards, turned, strict=True):
        about = np.radians(tilt) * np.array([-np.sin(np.radians(direction)), np.cos(np.radians(direction)), 0.0])
        made.append(Rotation.from_rotvec(about) * Rotation.from_euler("z", turn, degrees=True))
    return np.array([each.as_matrix() for each in made])


def words(R: np.ndarray, pixels: list[np.ndarray] = EVERYWHERE, sd: float = 0.5) -> str:
    return "\n".join(advice(R, pixels, SIZE, 500.0, sd))


ALL_ROUND = [30.0 * i for i in range(12)]
QUARTER = [90.0 if i % 3 == 0 else 0.0 for i in range(12)]


def test_turn_tilt_and_direction() -> None:
    turn, tilt, towards = turn_and_tilt(leaning([0.0, 30.0, 20.0], [0.0, 60.0, -120.0], [90.0, 0.0, 0.0]))
    np.testing.assert_allclose(tilt, [0.0, 30.0, 20.0], atol=1e-9)
    np.testing.assert_allclose(towards[1:], [60.0, -120.0], atol=1e-9)
    assert abs(turn[0] - 90.0) < 1e-9


def test_good_pictures_are_not_talked_about() -> None:
    assert words(leaning([30.0] * 12, ALL_ROUND, QUARTER)) == ""


def test_each_weakness_is_named_with_what_to_add() -> None:
    few = leaning([30.0] * 5, [0.0, 90.0, 180.0, 270.0, 0.0], [90.0, 0.0, 0.0, 0.0, 0.0])
    assert words(few).startswith("5 pictures are few")
    assert "faces the camera" in words(leaning([3.0] * 12, ALL_ROUND, QUARTER))
    assert "to one side only" in words(leaning([30.0] * 12, [10.0 * i for i in range(12)], QUARTER))
    assert "never turned" in words(leaning([30.0] * 12, ALL_ROUND, [10.0] * 12))
    assert "known to 2.0 % only" in words(leaning([30.0] * 12, ALL_ROUND, QUARTER), sd=5.0)
    assert "upper left, left, lower left" in words(
        leaning([30.0] * 12, ALL_ROUND, QUARTER), [each[each[:, 0] > 200] for each in EVERYWHERE]
    )


def test_half_a_turn_is_turned_but_a_jump_of_the_angle_is_not() -> None:
    assert "never turned" in words(leaning([30.0] * 12, ALL_ROUND, [179.0, -179.0] * 6))
    assert "never turned" not in words(leaning([30.0] * 12, ALL_ROUND, [0.0, 180.0] * 6))


def test_no_picture_is_empty_everywhere() -> None:
    assert len(empty_parts([], SIZE)) == 9
    assert empty_parts(EVERYWHERE, SIZE) == []


def test_synthetic_sets_are_as_they_are_meant() -> None:
    rng = np.random.default_rng(8)
    R, t = poses(PLAIN, LENS_TRUE, SIZE, 12, rng)
    pixels = [view.pixels for view in exact_views(PLAIN, LENS_TRUE, R, t)]
    told = "\n".join(advice(R, pixels, SIZE, 520.0, 0.5))
    assert "faces" not in told and "one side" not in told and "turned" not in told


def calibrated_with(factors: np.ndarray, corner_sd: float = 0.1) -> list[str]:
    """What is said of pictures whose focal lengths are so many times the usual."""
    rng = np.random.default_rng(17)
    R, t = poses(PLAIN, LENS_TRUE, SIZE, len(factors), rng)
    views = []
    for i, factor in enumerate(factors):
        (view,) = exact_views(PLAIN, LENS_TRUE * np.append(factor, np.ones(8)), R[i : i + 1], t[i : i + 1])
        views.append(View(f"IMG_{i}", view.on_board, view.pixels + rng.normal(0.0, corner_sd, view.pixels.shape)))
    found = calibrate(views, (LENS_TRUE, R, t))
    return of_the_focus([view.name for view in views], *focal_of_each(views, found))


def test_pictures_of_two_focal_lengths_are_told_apart() -> None:
    (told,) = calibrated_with(np.repeat([1.0, 1.06], 6))
    longer, shorter = told.split("; ")[:2]
    assert "longer in IMG_6, IMG_7" in longer and "shorter in IMG_0, IMG_1" in shorter
    (told,) = calibrated_with(np.where(np.arange(12) == 4, 1.03, 1.0))
    assert "longer in IMG_4" in told and "shorter" not in told


def test_pictures_of_one_focal_length_are_not() -> None:
    assert not calibrated_with(np.ones(12)) and not calibrated_with(np.ones(12), 0.5)


def test_pictures_squashed_on_their_way() -> None:
    (told,) = of_the_pixels(-0.08, 0.0002)
    assert "squashed by 8.0 %" in told
    assert not of_the_pixels(0.001, 0.0002) and not of_the_pixels(0.02, 0.012)
