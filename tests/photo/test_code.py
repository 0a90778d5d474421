"""The code's cells: number, turn and corner order pinned, so that sheets printed today are read tomorrow."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from measure.photo.code import CELLS, NUMBERS, all_cells, code_cells, read
from measure.photo.find import FoundPicture, find_in
from tests.photo.shown import printed

PUBLISHED = (0xD5D628584, 0xD97F18B49, 0xDD280910E, 0xE479E9C98, 0xEBCBCA822)
"""The family's first codes as its makers print them, from memory: rows from the top, first bit first, 1 white."""


def test_the_numbers_are_the_open_family_printed_upside_down() -> None:
    for number, code in enumerate(PUBLISHED):
        white = np.array([bit == "1" for bit in f"{code:036b}"]).reshape(6, 6)
        assert np.array_equal(code_cells(number)[1:-1, 1:-1], ~white[::-1, ::-1]), number


def test_the_border_is_black_and_nothing_can_be_changed() -> None:
    cells = all_cells()
    assert cells.shape == (NUMBERS, CELLS, CELLS) and cells.dtype == np.bool_
    ring = np.ones((CELLS, CELLS), dtype=bool)
    ring[1:-1, 1:-1] = False
    assert cells[:, ring].all()
    with pytest.raises(ValueError, match="read-only"):
        code_cells(3)[2, 2] = True


def test_any_two_codes_differ_in_eleven_cells_however_turned() -> None:
    inner = all_cells()[:, 1:-1, 1:-1].reshape(NUMBERS, 36).astype(int)
    turned = [np.rot90(all_cells()[:, 1:-1, 1:-1], k, axes=(1, 2)).reshape(NUMBERS, 36).astype(int) for k in range(4)]
    for k, other in enumerate(turned):
        same = inner @ other.T + (1 - inner) @ (1 - other).T
        apart = 36 - same
        if k == 0:
            apart[np.diag_indices(NUMBERS)] = 36
        assert apart.min() >= 11 - (k > 0), k


@pytest.mark.parametrize("turns", range(4))
def test_reading_gives_number_turn_and_what_differs(turns: int) -> None:
    numbers = np.array([0, 7, 300, 586])
    cells = np.rot90(all_cells()[numbers][:, 1:-1, 1:-1], turns, axes=(1, 2)).copy()
    cells[1, 2, 3] ^= True
    cells[2, 0, 0] ^= True
    cells[2, 5, 1] ^= True
    found, how, wrong = read(cells)
    assert found.tolist() == numbers.tolist() and how.tolist() == [turns] * 4 and wrong.tolist() == [0, 1, 2, 0]


@pytest.mark.parametrize("turns", range(4))
@pytest.mark.parametrize("number", [0, 41, 586])
def test_a_print_seen_in_any_turn_keeps_its_number_and_its_first_corner(
    number: int, turns: int, tmp_path: Path
) -> None:
    """Pixels of the scanned sheet: the black square covers 60 to 155 each way, so its edges lie at 59.5 and 155.5."""
    path = tmp_path / "a.png"
    Image.fromarray(printed(number, turns=turns)).save(path)
    (found,) = find_in([path])
    assert isinstance(found, FoundPicture)
    (target,) = found.targets
    assert target.number == number and target.wrong_bits == 0
    low, high = 59.5, 155.5
    clockwise = np.array([(low, low), (high, low), (high, high), (low, high)])  # turned not at all
    # turned anticlockwise once, the printed top left is at the bottom left
    assert np.allclose(target.corners, np.roll(clockwise, turns, axis=0), atol=0.25)
    assert np.allclose(target.centre, (107.5, 107.5), atol=0.06)
    assert target.side_px == pytest.approx(96.0, abs=0.1)
