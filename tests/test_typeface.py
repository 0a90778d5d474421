"""The shipped type: both forms of it hold the same letters, and those that the trade writes."""

from __future__ import annotations

import hashlib
import io

import pytest
from pypdf import PdfReader
from reportlab.pdfgen.canvas import Canvas

from measure.typeface import BOLD, FAMILY, FOLDER, PLAIN, STYLES, face, register_for_drawings, register_for_pdf

LETTERS = "µ≤≥±″′°−×→éüßłŁŠ²½■▲○●◆✓⌫␣…–“”σЖ"


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("kind", ["ttf", "woff2"])
def test_the_letters_are_there_and_the_figures_stand_in_columns(style: str, kind: str) -> None:
    if kind == "woff2":
        pytest.importorskip("brotli")
    ttlib = pytest.importorskip("fontTools.ttLib")
    with ttlib.TTFont(face(style, kind)) as font:
        letters = font.getBestCmap()
        assert [letter for letter in LETTERS if ord(letter) not in letters] == []
        assert len({font["hmtx"][letters[ord(figure)]][0] for figure in "0123456789"}) == 1
        assert font["name"].getDebugName(1) == FAMILY


def test_a_pdf_embeds_the_letters_gives_them_back_and_is_the_same_again() -> None:
    register_for_pdf()
    made = []
    for _ in range(2):
        buffer = io.BytesIO()
        canvas = Canvas(buffer, invariant=1)
        for y, name in ((100, PLAIN), (200, BOLD)):
            canvas.setFont(name, 12)
            canvas.drawString(50, y, LETTERS)
        canvas.save()
        made.append(hashlib.sha256(buffer.getvalue()).hexdigest())
    assert made[0] == made[1]
    assert PdfReader(buffer).pages[0].extract_text().splitlines() == [LETTERS, LETTERS]


def test_drawings_find_both_weights() -> None:
    from matplotlib.font_manager import findfont

    register_for_drawings()
    for style, weight in zip(STYLES, ("normal", "bold"), strict=True):
        assert findfont(f"{FAMILY}:weight={weight}", fallback_to_default=False) == str(face(style, "ttf"))


def test_the_licence_stands_beside_it_and_reserves_no_name() -> None:
    head = (FOLDER / "LICENSE.txt").read_text(encoding="utf-8").partition("-----")[0]
    assert "SIL Open Font License, Version 1.1" in head and "Reserved Font Name" not in head
