"""Printed targets: true scale, right way up, read back by the finder; refusals in words."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from calib.printed_page import FOOT
from calib.printed_targets import bar_pdf, numbers_from, targets_pdf
from measure.cli import main
from measure.findings import BadInput
from measure.paper import SIZES
from measure.photo.code import code_cells
from measure.photo.find import FoundPicture, find_in
from tests.calib.pdf_drawing import Drawing, drawings, lengths, printed, write_png


def codes(drawing: Drawing, side: float) -> np.ndarray:
    """Upper left corners (n, 2) of the black squares."""
    blocks = np.array(drawing.blocks)
    square = (np.abs(blocks[:, 2:4] - side).max(axis=1) < 1e-3) & (blocks[:, 4] == 0)
    return blocks[square, :2]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(("side", "per_page"), [(30.0, 20), (40.0, 12), (50.0, 6), (80.0, 2), (130.0, 1)])
def test_true_scale_and_as_many_as_fit(paper, side: float, per_page: int) -> None:
    sheets = drawings(targets_pdf(range(28), side, paper))
    assert len(sheets) == -(-28 // per_page)
    width, height = SIZES[paper]
    counted = 0
    for sheet in sheets:
        assert (sheet.width, sheet.height) == pytest.approx((width, height), abs=1e-3)
        corners = codes(sheet, side)
        counted += len(corners)
        border = side / 4
        assert np.all(corners - border >= 4.4)  # the white border stands on the paper, clear of its edge
        assert np.all(corners + side + border <= [width - 4.4, height - 4.4])
        # rules of 100 mm, level and upright, on every page
        runs = lengths(sheet.lines)
        for axis in (0, 1):
            other = runs[:, 1 - axis] < 1e-6
            assert np.any(other & (np.abs(runs[:, axis] - 100.0) < 1e-3))
    assert counted == 28


def test_cells_stand_where_the_code_says_and_the_border_is_clean() -> None:
    side, number = 80.0, 123
    (sheet,) = drawings(targets_pdf([number], side, "A4"))
    ((x, y),) = codes(sheet, side)
    grey = sheet.raster(per_mm=2.0)
    cell = side / 8
    for row, values in enumerate(code_cells(number)):
        for column, black in enumerate(values):
            left, top = 2 * (x + column * cell), 2 * (y + row * cell)
            inside = grey[round(top + 2) : round(top + 2 * cell - 2), round(left + 2) : round(left + 2 * cell - 2)]
            assert np.all(inside == (0 if black else 255)), (row, column)
    # nothing is drawn in the first 1.4 cells around the code
    for x1, y1, x2, y2 in sheet.lines:
        outside_x = max(x - max(x1, x2), min(x1, x2) - (x + side))
        outside_y = max(y - max(y1, y2), min(y1, y2) - (y + side))
        assert max(outside_x, outside_y) >= 1.39 * cell
    # ticks: on both lines through the centre, outside the code
    middle = np.array([x, y]) + side / 2
    level = [line for line in sheet.lines if abs(line[1] - middle[1]) < 1e-3 and abs(line[3] - middle[1]) < 1e-3]
    upright = [line for line in sheet.lines if abs(line[0] - middle[0]) < 1e-3 and abs(line[2] - middle[0]) < 1e-3]
    assert len(level) == 2 and len(upright) == 2


@pytest.mark.parametrize("side", [30.0, 80.0])
def test_the_finder_reads_the_page_upright(tmp_path: Path, side: float) -> None:
    numbers = [0, 7, 13, 411, 586]
    pdf = targets_pdf(numbers, side, "A4")
    done = 0
    for page, sheet in enumerate(drawings(pdf), start=1):
        corners = codes(sheet, side)
        raster = write_png(tmp_path / "raster.png", sheet.raster(100 / 25.4))
        for path in filter(None, (raster, printed(pdf, tmp_path, dpi=100, page=page))):
            (found,) = find_in([path])
            assert isinstance(found, FoundPicture), found
            assert sorted(target.number for target in found.targets) == numbers[done : done + len(corners)]
            for target in found.targets:
                at = (np.array(target.corners) + 0.5) / 100 * 25.4
                assert np.min(np.linalg.norm(corners - at[0], axis=1)) < 0.3  # its first corner is the upper left one
                assert np.linalg.norm(at[1] - at[0] - [side, 0]) < 0.4
                assert np.linalg.norm(at[3] - at[0] - [0, side]) < 0.4
        done += len(corners)
    assert done == len(numbers)


def test_words_on_the_page() -> None:
    text = PdfReader(io.BytesIO(targets_pdf([5], 80.0, "A4"))).pages[0].extract_text().replace("\n", " ")
    for words in ("shrink pages", "steel rule", "BOTH", "never inside", "side 80 mm", "outer edge", "up", "flat", "5"):
        assert words in text
    bar = PdfReader(io.BytesIO(bar_pdf([500, 501], 80.0, "A4"))).pages[0].extract_text()
    assert "centre to centre, mm" in bar and "at temperature" in bar


def test_no_scaling_is_asked_for_and_the_bytes_are_the_same() -> None:
    data = targets_pdf([5, 6], 80.0, "Letter")
    assert data == targets_pdf([5, 6], 80.0, "Letter")
    assert PdfReader(io.BytesIO(data)).trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None"
    assert b"/Subtype /Image" not in data  # vector only


@pytest.mark.parametrize(("side", "pages"), [(30.0, 1), (80.0, 1), (130.0, 2)])
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_bar_is_two_targets(side: float, pages: int, paper) -> None:
    sheets = drawings(bar_pdf([500, 501], side, paper))
    assert len(sheets) == pages
    assert sum(len(codes(sheet, side)) for sheet in sheets) == 2
    runs = lengths(sheets[0].lines)
    frame = [line[1] for line, run in zip(sheets[0].lines, runs, strict=True) if abs(run[0] - 58.0) < 1e-3]
    assert len(frame) == 2 and max(frame) < sheets[0].height - FOOT - 1.5  # the label stands clear of the rule
    for sheet in sheets:
        for x1, y1, x2, y2 in sheet.lines:
            assert min(x1, x2, y1, y2) > 0 and max(x1, x2) < sheet.width and max(y1, y2) < sheet.height


@pytest.mark.parametrize(
    ("text", "expected"),
    [("0-3", [0, 1, 2, 3]), ("3, 5,8-9", [3, 5, 8, 9]), (" 586 ", [586]), ("0 to 2", [0, 1, 2]), ("9,1", [9, 1])],
)
def test_numbers(text: str, expected: list[int]) -> None:
    assert numbers_from(text) == expected


@pytest.mark.parametrize(
    ("text", "told"),
    [("", "no number"), ("5-3", "3-5"), ("587", "0 to 586"), ("1,1", "twice"), ("0-3,2", "twice"), ("a", "ranges"),
     ("-3", "ranges"), ("1.5", "ranges"), ("9999999999", "ranges")],
)  # fmt: skip
def test_numbers_that_are_none(text: str, told: str) -> None:
    with pytest.raises(BadInput, match=told):
        numbers_from(text)


def test_the_command(tmp_path: Path) -> None:
    out = tmp_path / "sheet.pdf"
    run = CliRunner().invoke(main, ["targets", "--numbers", "0-3", "--out", str(out)])
    assert run.exit_code == 0 and "steel rule" in run.output
    assert len(drawings(out.read_bytes())) == 2
    for words, told in (
        (["--side", "29"], "30 mm"),
        (["--side", "131"], "130 mm"),
        (["--side", "nan"], "130 mm"),
        (["--bar", "--numbers", "1,2,3"], "even number"),
        (["--numbers", "600"], "0 to 586"),
    ):
        run = CliRunner().invoke(main, ["targets", *words, "--out", str(tmp_path / "none.pdf")])
        assert run.exit_code == 2 and told in run.output, words
        assert "Traceback" not in run.output
    assert not (tmp_path / "none.pdf").exists()
