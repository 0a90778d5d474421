"""The lens from exact and noisy corners of known truth, and from rendered pictures."""

from __future__ import annotations

import numpy as np
import pytest

from calib.board import CODED, PLAIN, Board, Chessboard
from calib.board_pictures import find_corners, starting_values
from calib.camera_calibration import Calibration, CalibrationError, View, calibrate
from calib.edge_width import edge_width
from measure.photo.lens import LENS
from tests.calib.boards import LENS_TRUE, SIZE, exact_views, noisy, poses, rendered


def solved(views: list[View]) -> Calibration:
    return calibrate(views, starting_values([v.on_board for v in views], [v.pixels for v in views], SIZE))


def test_exact_corners_give_the_lens_back() -> None:
    rng = np.random.default_rng(3)
    R, t = poses(PLAIN, LENS_TRUE, SIZE, 10, rng)
    found = solved(exact_views(PLAIN, LENS_TRUE, R, t))
    np.testing.assert_allclose(found.lens, LENS_TRUE, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(found.R, R, rtol=0, atol=1e-9)
    np.testing.assert_allclose(found.t, t, rtol=1e-9, atol=1e-7)
    assert found.sigma0 < 1e-9
    assert found.degrees_of_freedom == 2 * 54 * 10 - 9 - 60


def test_the_size_of_the_squares_plays_no_part() -> None:
    rng = np.random.default_rng(4)
    R, t = poses(PLAIN, LENS_TRUE, SIZE, 6, rng)
    views = noisy(exact_views(PLAIN, LENS_TRUE, R, t), 0.1, rng)
    one = solved(views)
    other = solved([View(v.name, 3.7 * v.on_board, v.pixels) for v in views])
    np.testing.assert_allclose(other.lens, one.lens, rtol=1e-6, atol=1e-7)
    np.testing.assert_allclose(other.t, 3.7 * one.t, rtol=1e-6)
    np.testing.assert_allclose(other.covariance, one.covariance, rtol=1e-4, atol=1e-12)


def test_intervals_and_covariance_by_solving_again() -> None:
    """The whole covariance, direction by direction: its ratio to that of re-solves has eigenvalues near one.

    For n re-solves of p parameters they fall within (1 +- root(p / n))^2.
    """
    rng = np.random.default_rng(5)
    R, t = poses(PLAIN, LENS_TRUE, SIZE, 12, rng)
    views = exact_views(PLAIN, LENS_TRUE, R, t)
    n = 60
    lenses, held, sigmas = [], np.zeros(9), []
    for _ in range(n):
        found = calibrate(noisy(views, 0.1, rng), (LENS_TRUE, R, t))
        lenses.append(found.lens)
        sigmas.append(found.sigma0)
        held += np.abs(found.lens - LENS_TRUE) < 1.96 * found.sd
    assert np.mean(sigmas) == pytest.approx(0.1, rel=0.01)
    assert 0.91 < np.mean(held) / n < 0.98  # nine correlated parameters
    assert np.all(held / n > 0.87)
    L = np.linalg.cholesky(found.covariance)
    whitened = np.linalg.solve(L, (np.array(lenses) - LENS_TRUE).T)
    eigenvalues = np.linalg.eigvalsh(whitened @ whitened.T / n)
    assert eigenvalues[0] > 0.3 and eigenvalues[-1] < 2.1


@pytest.mark.parametrize(("board", "count"), [(PLAIN, 4), (CODED, 4)], ids=["plain", "coded"])
def test_rendered_pictures(board: Board, count: int) -> None:
    """Corners found in pictures with blur, noise and the sRGB curve: no common shift, and the truth in its interval."""
    rng = np.random.default_rng(6)
    R, t = poses(board, LENS_TRUE, SIZE, count, rng)
    exact = exact_views(board, LENS_TRUE, R, t)
    views, errors = [], []
    for i in range(count):
        grey = rendered(board, LENS_TRUE, R[i], t[i], rng=rng, samples=3)
        seen, pixels = find_corners(grey, board)
        assert len(seen) == len(board.corners()) if isinstance(board, Chessboard) else len(seen) >= 24
        errors.append(pixels - exact[i].pixels[seen])
        views.append(View(exact[i].name, exact[i].on_board[seen], pixels))
        assert edge_width(grey, exact[i].on_board[seen], pixels) == pytest.approx(0.85, abs=0.25)
    every = np.concatenate(errors)
    assert np.all(np.abs(every.mean(axis=0)) < 0.01)  # the convention of pixels, and no pull of the tone curve
    assert np.sqrt(np.mean(every**2)) < 0.1  # mostly the renderer's own
    found = solved(views)
    assert np.all(np.abs(found.lens - LENS_TRUE) < 3.5 * found.sd), dict(
        zip(LENS, (found.lens - LENS_TRUE) / found.sd, strict=True)
    )
    assert found.sd[0] < 0.003 * LENS_TRUE[0]


def test_a_turned_chessboard_is_the_same_lens() -> None:
    """Corners counted from the other end, as a finder may: the pose takes it up."""
    rng = np.random.default_rng(7)
    R, t = poses(PLAIN, LENS_TRUE, SIZE, 6, rng)
    views = noisy(exact_views(PLAIN, LENS_TRUE, R, t), 0.1, rng)
    turned = [View(v.name, v.on_board, v.pixels[::-1]) if i % 2 else v for i, v in enumerate(views)]
    again = [View(v.name, v.on_board[::-1], v.pixels) if i % 2 else v for i, v in enumerate(turned)]
    np.testing.assert_allclose(solved(turned).lens, solved(again).lens, rtol=1e-3, atol=1e-3)
    np.testing.assert_allclose(solved(turned).lens, solved(views).lens, rtol=1e-6, atol=1e-6)


def test_pictures_square_to_the_board_hold_no_focal_length() -> None:
    R = np.array([np.eye(3)] * 5)
    t = np.array([[-90.0, -55.0, 400.0 + 20 * i] for i in range(5)])
    views = exact_views(PLAIN, LENS_TRUE, R, t)
    with pytest.raises(CalibrationError, match="tilt the board"):
        calibrate(views, (LENS_TRUE, R, t))


def test_too_few_corners_are_refused() -> None:
    views = [View("a", PLAIN.corners()[:4], PLAIN.corners()[:4])]
    with pytest.raises(CalibrationError, match="more pictures"):
        calibrate(views, (LENS_TRUE, np.eye(3)[None], np.array([[0.0, 0.0, 300.0]])))
