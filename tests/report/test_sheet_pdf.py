"""The sheet as PDF."""

from __future__ import annotations

import io
import json

import pytest
from pypdf import PdfReader

from measure.paper import MM, SIZES
from measure.report.certificate.embedded import NotASheetError, sheet_from
from measure.report.certificate.paper import pdf_bytes
from measure.result import as_json
from tests.documents import check, loose_car, pulled_car
from tests.report.sheets import TYPE, hostile_car, job, repaired


@pytest.fixture(scope="module")
def made() -> bytes:
    return pdf_bytes(pulled_car(), job(), "A4")


def test_the_same_document_gives_the_same_bytes_without_a_date(made: bytes) -> None:
    assert pdf_bytes(pulled_car(), job(), "A4") == made
    assert "/CreationDate" not in (PdfReader(io.BytesIO(made)).metadata or {})


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_page_has_the_size_of_the_paper_and_its_number(made: bytes, paper: str) -> None:
    data = made if paper == "A4" else pdf_bytes(pulled_car(), job(), "Letter")
    pages = PdfReader(io.BytesIO(data)).pages
    width, height = SIZES[paper]
    for number, page in enumerate(pages, start=1):
        assert float(page.mediabox.width) == pytest.approx(width * MM, abs=0.1)
        assert float(page.mediabox.height) == pytest.approx(height * MM, abs=0.1)
        assert f"page {number} of {len(pages)}" in page.extract_text()
    told = "Scale 1 : 20 on A4" if paper == "A4" else "Scale 1 : 21.3 on Letter"
    assert told in pages[1].extract_text()


def test_the_drawing_is_vectors_and_its_words_are_words(made: bytes) -> None:
    page = PdfReader(io.BytesIO(made)).pages[1]
    assert not page.images
    assert "tailL" in page.extract_text() and "1 : 20" in page.extract_text()


def test_what_moved_is_drawn_after_the_plan() -> None:
    pages = [
        page.extract_text()
        for page in PdfReader(io.BytesIO(pdf_bytes(pulled_car(), job(), "Letter", repaired()))).pages
    ]
    assert "HOW IT STANDS" in pages[1]
    assert "WHAT MOVED" in pages[2] and "tailL  MOVED" in pages[2] and "on Letter" in pages[2]
    assert all(f"page {number} of {len(pages)}" in page for number, page in enumerate(pages, start=1))


def test_a_viewer_lists_the_sections_and_reads_the_title() -> None:
    reader = PdfReader(io.BytesIO(pdf_bytes(pulled_car(), job(), "A4", repaired())))
    listed = [(item.title, reader.get_destination_page_number(item)) for item in reader.outline]  # type: ignore[arg-type,union-attr]
    assert listed[0] == ("The answer", 0)
    assert ("Plan of the body", 1) in listed and ("What moved from stage before to stage after", 2) in listed
    for title, page in listed[1:]:
        assert title in reader.pages[page or 0].extract_text() or page in (1, 2)
    assert listed[-1][0] == "Signed" and len(listed) >= 10
    assert reader.root_object["/Lang"] == "en"
    assert reader.root_object["/ViewerPreferences"]["/DisplayDocTitle"]  # type: ignore[index]


def test_all_type_is_embedded(made: bytes) -> None:
    fonts = [
        font.get_object()
        for page in PdfReader(io.BytesIO(made)).pages
        for font in (page["/Resources"].get("/Font") or {}).values()  # type: ignore[attr-defined]
    ]
    used = [f for f in fonts if str(f["/BaseFont"]) != "/Helvetica"]  # reportlab names one it never uses
    assert used
    for font in used:
        inner = font.get("/DescendantFonts", [font])[0].get_object()
        assert "/FontFile2" in inner["/FontDescriptor"].get_object()


def test_special_letters_come_out_as_they_went_in() -> None:
    text = " ".join(sheet_from(pdf_bytes(pulled_car(cautions=[TYPE]), job(), "A4")).words)
    assert TYPE in text


def test_hostile_words_stay_words() -> None:
    read = sheet_from(pdf_bytes(hostile_car(), job(), "A4"))
    text = " ".join(read.words)
    assert "<script>alert(1)</script>" in text and "{{7*7}}" in text
    assert read.document == json.loads(as_json(hostile_car()))


def test_the_figures_come_back_out_beside_the_words(made: bytes) -> None:
    read = sheet_from(made)
    assert (read.kind, read.paper) == ("pdf", "A4")
    assert read.document == json.loads(as_json(pulled_car()))
    assert any("pair tail, sideways" in line for line in read.words)


def test_nobody_signs_a_bare_page() -> None:
    for count in range(1, 40, 4):  # the sheet grows line by line over a page's end
        data = pdf_bytes(pulled_car(notes=[f"note {i}" for i in range(count)]), job(), "A4")
        last = PdfReader(io.BytesIO(data)).pages[-1].extract_text()
        assert "signature" in last and "Method, version, fingerprint" in last


def test_hundreds_of_figures_out_go_over_the_page_s_end() -> None:
    many = [check(f"chart.p{i}.y", 3.0 + i, limit=2.0, verdict="outside") for i in range(200)]
    text = " ".join(sheet_from(pdf_bytes(pulled_car(checks=many), job(), "A4")).words)
    assert all(f"p{i} against the chart, sideways:" in text for i in range(200))


def test_odd_cars_have_a_sheet() -> None:
    pdf_bytes(loose_car(), job(), "Letter")
    pdf_bytes(pulled_car(points=[], checks=[], readings=[], job="x" * 300, cautions=["y" * 4000]), job(), "A4")


def test_a_cut_off_or_foreign_pdf_is_refused_in_words(made: bytes) -> None:
    from reportlab.pdfgen.canvas import Canvas

    buffer = io.BytesIO()
    canvas = Canvas(buffer)
    canvas.showPage()
    canvas.save()
    for data in (made[:4000], b"%PDF-1.4\n", buffer.getvalue()):
        with pytest.raises(NotASheetError):
            sheet_from(data)
