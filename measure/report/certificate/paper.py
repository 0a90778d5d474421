"""The sheet as PDF, A4 or Letter, its drawing as vectors, its figures attached.

The words flow through reportlab; the drawings are pages of their own after the first. The same document gives the
same bytes on one machine.
"""

import io
from functools import partial
from typing import TYPE_CHECKING, Any

from measure.compare.result import Comparison
from measure.job import Job
from measure.paper import MM, SIZES, Paper
from measure.report.certificate.content import sheet
from measure.report.certificate.drawings import drawn
from measure.report.certificate.embedded import ATTACHMENT, figures_of
from measure.report.certificate.flow import MARGIN, Pages, Type, story
from measure.report.certificate.parts import Sheet
from measure.report.plan_layout import PAPER, shortened, shrink_on
from measure.report.words import printable
from measure.result import Document
from measure.typeface import PLAIN, register_for_pdf

if TYPE_CHECKING:
    from pypdf import PdfWriter
    from reportlab.pdfgen.canvas import Canvas

FIRST_DRAWING = 2
"""The page of the first drawing; the others follow it."""
SHORT = 12
"""Digits of the fingerprint at the foot of each page; the whole of it stands at the end."""


def pdf_bytes(doc: Document, job: Job, paper: Paper, compared: Comparison | None = None) -> bytes:
    """The sheet as PDF."""
    from pypdf import PdfReader, PdfWriter
    from pypdf.generic import NameObject, TextStringObject

    register_for_pdf()
    content = sheet(doc, job, compared)
    pages = _flowed(content, paper, 0)[1].page + len(content.drawings)  # laid out once to count them
    words, laid_out = _flowed(content, paper, pages)
    writer = PdfWriter(clone_from=PdfReader(io.BytesIO(words)))
    for number, drawing in enumerate(drawn(doc, compared, "pdf", paper), start=FIRST_DRAWING):
        _insert(writer, drawing, paper, number, pages)
    _outline(writer, content, laid_out)
    writer.add_attachment(ATTACHMENT, figures_of(doc, paper, compared).encode("ascii"))
    writer.root_object[NameObject("/Lang")] = TextStringObject("en")
    writer.metadata = {
        "/Title": printable(f"{content.title}, stage {content.stage}: how the body stands"),
        "/Creator": f"plumbsquare {doc.version}",
        "/Producer": "plumbsquare",
    }
    buffer = io.BytesIO()
    writer.write(buffer)
    return buffer.getvalue()


def _flowed(content: Sheet, paper: Paper, pages: int) -> tuple[bytes, Pages]:
    """The pages of words as PDF, and how they were laid out; `pages` is the number that the foot of each names."""
    from reportlab.platypus import Frame, PageTemplate

    width, height = (side * MM for side in SIZES[paper])
    edge, foot = MARGIN * MM, 19 * MM
    buffer = io.BytesIO()
    template = Pages(buffer, (width, height), printable(content.title))
    frame = Frame(edge, foot, width - 2 * edge, height - foot - 15 * MM, 0, 0, 0, 0)
    draw = partial(_foot, content, pages)
    template.addPageTemplates(PageTemplate("words", [frame], onPage=draw))
    template.build(story(content, Type(), width - 2 * edge))
    return buffer.getvalue(), template


def _number(page: int, content: Sheet) -> int:
    """The number of a page of words once the drawings stand between them."""
    return page if page < FIRST_DRAWING else page + len(content.drawings)


def _outline(writer: "PdfWriter", content: Sheet, laid_out: Pages) -> None:
    """What a viewer lists beside the pages: answer, drawings, sections, each with its page."""
    places = [("The answer", 1)]
    places += [(drawing.title, number) for number, drawing in enumerate(content.drawings, start=FIRST_DRAWING)]
    places += [(title, _number(page, content)) for title, page in laid_out.beginnings]
    for title, number in sorted(places, key=lambda place: place[1]):
        writer.add_outline_item(title=printable(title), page_number=number - 1)


def _foot(content: Sheet, pages: int, canvas: "Canvas", template: Any) -> None:
    width = template.pagesize[0]
    number = _number(template.page, content)
    if number == 1:
        canvas.setViewerPreference("PrintScaling", "None")
        canvas.setViewerPreference("DisplayDocTitle", "true")
    edge = MARGIN * MM
    canvas.setStrokeGray(0.6)
    canvas.setLineWidth(0.4)
    canvas.line(edge, 14 * MM, width - edge, 14 * MM)
    canvas.setFillGray(0.3)
    name, size = shortened(printable(f"{content.title}, stage {content.stage}"), 7, 88.0)
    canvas.setFont(PLAIN, size)
    canvas.drawString(edge, 10 * MM, name)
    canvas.setFont(PLAIN, 7)
    version = f"plumbsquare {content.version}, inputs {content.fingerprint[:SHORT]}"
    canvas.drawRightString(width - edge, 10 * MM, f"{version}   page {number} of {pages}")


def _insert(writer: "PdfWriter", drawing: bytes, paper: Paper, number: int, pages: int) -> None:
    """A drawing as the page of that number: as large as it was drawn on A4, reduced on Letter; its scale says so."""
    from pypdf import PdfReader, Transformation
    from reportlab.pdfgen.canvas import Canvas

    width, height = SIZES[paper]
    scale = shrink_on(paper)
    left, bottom = (width - scale * PAPER[0]) / 2, (height - scale * PAPER[1]) / 2
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(width * MM, height * MM), invariant=1)
    canvas.setFont(PLAIN, 6.5 * scale)
    canvas.drawRightString((left + scale * 200.0) * MM, (bottom + scale * 10.0) * MM, f"page {number} of {pages}")
    canvas.showPage()
    canvas.save()
    page = writer.insert_page(PdfReader(io.BytesIO(buffer.getvalue())).pages[0], number - 1)
    drawn_page = PdfReader(io.BytesIO(drawing)).pages[0]
    page.merge_transformed_page(drawn_page, Transformation().scale(scale).translate(left * MM, bottom * MM), over=False)
