"""Printed boards: true scale, the layout that the finder knows, and read back from the page."""

from __future__ import annotations

import io
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from calib.board import CODED, PLAIN, Board
from calib.board_pictures import find_corners, marker_cells
from calib.printed_board import coded_board_pdf, plain_board_pdf
from measure.cli import main
from tests.calib.pdf_drawing import drawings, printed


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(("board", "pdf"), [(CODED, coded_board_pdf), (PLAIN, plain_board_pdf)], ids=["coded", "plain"])
def test_the_finder_reads_the_page_in_true_scale(tmp_path: Path, paper, board: Board, pdf) -> None:
    """Distances between the corners found, in mm by the raster's own scale, are those of the board."""
    data = pdf(paper)
    (sheet,) = drawings(data)
    pictures = [(sheet.raster(per_mm=4.0), 4.0)]
    page = printed(data, tmp_path, dpi=100)
    if page is not None:
        pictures.append((cv2.imdecode(np.frombuffer(page.read_bytes(), np.uint8), cv2.IMREAD_GRAYSCALE), 100 / 25.4))
    for grey, per_mm in pictures:
        seen, pixels = find_corners(grey, board)
        assert len(seen) == len(board.corners())
        expected = board.corners()[seen]
        apart = np.linalg.norm(pixels[0] - pixels[-1]) / per_mm
        assert apart == pytest.approx(np.linalg.norm(expected[0] - expected[-1]), abs=1.1 / per_mm)
        if board is CODED:  # numbered, so that the page's own axes come back
            shift = pixels / per_mm - expected
            assert np.all(np.ptp(shift, axis=0) < 1.1 / per_mm)  # a renderer rounds edges to its pixels


def test_no_bitmap_no_scaling_and_its_version() -> None:
    data = coded_board_pdf("A4")
    assert data == coded_board_pdf("A4")
    reader = PdfReader(io.BytesIO(data))
    assert reader.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None"
    assert b"/Subtype /Image" not in data
    text = reader.pages[0].extract_text().replace("\n", " ")
    assert CODED.version in text
    for words in ("steel rule", "flat on glass", "shrink"):
        assert words in text
    assert "9 x 6 inner corners" in PdfReader(io.BytesIO(plain_board_pdf("Letter"))).pages[0].extract_text()


def test_odd_rows_and_columns_and_codes_that_are_no_targets() -> None:
    assert CODED.columns % 2 == CODED.rows % 2 == 1
    assert marker_cells(0).shape == (7, 7)
    assert np.all(marker_cells(5)[0]) and np.all(marker_cells(5)[:, -1])


def test_the_command(tmp_path: Path) -> None:
    for words in ([], ["--plain"], ["--paper", "Letter"]):
        out = tmp_path / "b.pdf"
        run = CliRunner().invoke(main, ["board", *words, "--out", str(out)])
        assert run.exit_code == 0, run.output
        assert "actual size" in run.output and out.read_bytes().startswith(b"%PDF")
    run = CliRunner().invoke(main, ["board", "--out", str(tmp_path / "no" / "b.pdf")])
    assert run.exit_code == 2 and "Traceback" not in run.output
