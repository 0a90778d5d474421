"""Looking for prints: what is one, and what is none."""

from __future__ import annotations

import numpy as np
import pytest

from measure.photo.outline import square_to
from measure.photo.search import candidates
from tests.photo.shown import mirrored, printed, sheets, show, wrong
from tests.synthetic.photos import Look


def numbers(grey: np.ndarray, wanted: frozenset[int] | None = None) -> list[int]:
    return [c.number for c in candidates(grey, wanted)]


def test_every_sheet_is_found_once_and_roughly_in_place() -> None:
    shown = show(sheets(range(12), np.random.default_rng(1)))
    found = candidates(shown.grey, None)
    assert [c.number for c in found] == list(range(12))
    for one, sight in zip(found, shown.sights, strict=True):
        assert np.abs(one.corners - sight.corners).max() < 2.5


def test_only_wanted_numbers_are_looked_at() -> None:
    shown = show(sheets((3, 5, 8, 13), np.random.default_rng(2)))
    assert numbers(shown.grey, frozenset({5, 13, 500})) == [5, 13]
    assert numbers(shown.grey, frozenset()) == []


def test_a_mirrored_print_is_no_print() -> None:
    made = sheets(range(8), np.random.default_rng(3))
    shown = show([mirrored(s) if s.number % 2 else s for s in made])
    assert numbers(shown.grey) == [0, 2, 4, 6]


@pytest.mark.parametrize(("flip", "cells"), [([], 0), ([(3, 4)], 1), ([(3, 4), (1, 6)], None)])
def test_one_misprinted_cell_is_forgiven_and_two_are_not(flip: list[tuple[int, int]], cells: int | None) -> None:
    corners = np.array([(59.5, 59.5), (155.5, 59.5), (155.5, 155.5), (59.5, 155.5)])
    assert wrong(printed(77, flip=flip), 77, corners) == cells


def test_another_number_or_another_turn_is_refused() -> None:
    corners = np.array([(59.5, 59.5), (155.5, 59.5), (155.5, 155.5), (59.5, 155.5)])
    assert wrong(printed(77), 78, corners) is None
    assert wrong(printed(77), 77, np.roll(corners, 1, axis=0)) is None


def test_white_on_black_is_no_print() -> None:
    assert numbers(255 - printed(5)) == []


@pytest.mark.parametrize("look", [Look(exposure=0.15), Look(exposure=1.25), Look(ink=0.15)])
def test_dark_bright_and_faint_prints_are_found(look: Look) -> None:
    shown = show(sheets(range(8), np.random.default_rng(4)), look=look)
    assert numbers(shown.grey) == list(range(8))


@pytest.mark.parametrize("look", [Look(blur_px=1.6), Look(blur_px=2.0), Look(ink=0.25, paper=0.5)])
def test_blurred_and_pale_prints_are_found_in_small_pictures(look: Look) -> None:
    """Sides of some 80 px, cells of 10: a person reads them with ease."""
    shown = show(sheets(range(8), np.random.default_rng(4)), look=look)
    assert numbers(shown.grey) == list(range(8))


@pytest.mark.parametrize("grey", [np.zeros((300, 400), np.uint8), np.full((5, 7), 200, np.uint8)])
def test_nothing_is_found_in_nothing(grey: np.ndarray) -> None:
    assert numbers(grey) == []


def test_grids_of_random_cells_are_no_prints() -> None:
    """Two misread cells on the 36 of a border that is black: one in 10,000 would be read by a lax reader."""
    rng = np.random.default_rng(5)
    for _ in range(4):
        cells = np.ones((40, 8, 8), dtype=bool)
        cells[:, 1:-1, 1:-1] = rng.random((40, 6, 6)) < 0.5
        page = np.full((5 * 100, 8 * 100), 225, np.uint8)
        for k, cell in enumerate(cells):
            y, x = 100 * (k // 8) + 18, 100 * (k % 8) + 18
            page[y : y + 64, x : x + 64] = np.where(np.kron(cell, np.ones((8, 8), bool)), 25, 225)
        for one in candidates(page, None):
            assert wrong(page, one.number, one.corners) is None


def test_the_homography_takes_the_sheet_to_its_corners() -> None:
    corners = np.array([[(10.0, 12.0), (70.0, 8.0), (80.0, 66.0), (4.0, 71.0)]])
    H = square_to(corners)[0]
    at = H @ np.array([(-4.0, -4.0, 1.0), (4.0, -4.0, 1.0), (4.0, 4.0, 1.0), (-4.0, 4.0, 1.0)]).T
    assert np.allclose((at[:2] / at[2]).T, corners[0])
