"""The sheet as PDF, A4 or Letter, its drawing as vectors, its figures attached.

The words flow through reportlab; the plan is a page of its own after the first. The same document gives the same bytes
on one machine.
"""

import io
from functools import partial
from typing import TYPE_CHECKING, Any

from measure.compare.result import Comparison
from measure.job import Job
from measure.report.certificate.content import sheet
from measure.report.certificate.embedded import ATTACHMENT, figures_of
from measure.report.certificate.flow import MARGIN, Type, story
from measure.report.certificate.parts import Sheet
from measure.report.plan import drawn
from measure.report.plan_layout import PAPER, shortened
from measure.report.sheet import BOLD, MM, PLAIN, SIZES, Paper, register_type
from measure.report.words import printable
from measure.result import Document

if TYPE_CHECKING:
    from pypdf import PdfWriter
    from reportlab.pdfgen.canvas import Canvas

SHORT = 12
"""Digits of the fingerprint at the foot of each page; the whole of it stands at the end."""


def pdf_bytes(doc: Document, job: Job, paper: Paper, compared: Comparison | None = None) -> bytes:
    """The sheet as PDF."""
    from pypdf import PdfReader, PdfWriter
    from pypdf.generic import NameObject, TextStringObject

    register_type()
    content = sheet(doc, job, compared)
    pages = _flowed(content, paper, 0)[1] + 1  # laid out once to count them
    words = _flowed(content, paper, pages)[0]
    writer = PdfWriter(clone_from=PdfReader(io.BytesIO(words)))
    _insert_plan(writer, doc, paper, pages)
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


def _flowed(content: Sheet, paper: Paper, pages: int) -> tuple[bytes, int]:
    """The pages of words as PDF, and how many they are; `pages` is the number that the foot of each names."""
    from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate

    width, height = (side * MM for side in SIZES[paper])
    edge, foot = MARGIN * MM, 19 * MM
    buffer = io.BytesIO()
    template = BaseDocTemplate(buffer, pagesize=(width, height), invariant=1, title=printable(content.title))
    frame = Frame(edge, foot, width - 2 * edge, height - foot - 15 * MM, 0, 0, 0, 0)
    draw = partial(_foot, content, pages)
    template.addPageTemplates(PageTemplate("words", [frame], onPage=draw))
    template.build(story(content, Type(), width - 2 * edge))
    return buffer.getvalue(), template.page


def _foot(content: Sheet, pages: int, canvas: "Canvas", template: Any) -> None:
    width = template.pagesize[0]
    number = template.page if template.page == 1 else template.page + 1  # the drawing is page 2
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


def _insert_plan(writer: "PdfWriter", doc: Document, paper: Paper, pages: int) -> None:
    """The plan as the second page: at its own scale on A4, reduced on Letter, which is said."""
    from pypdf import PdfReader, Transformation
    from reportlab.pdfgen.canvas import Canvas

    width, height = SIZES[paper]
    scale = min(1.0, width / PAPER[0], height / PAPER[1])
    left, bottom = (width - scale * PAPER[0]) / 2, (height - scale * PAPER[1]) / 2
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(width * MM, height * MM), invariant=1)
    canvas.setFont(PLAIN, 6.5 * scale)
    canvas.drawRightString((left + scale * 200.0) * MM, (bottom + scale * 10.0) * MM, f"page 2 of {pages}")
    if scale < 1.0:
        canvas.setFont(BOLD, 6.5)
        words = f"Reduced to {100 * scale:.0f} % of the A4 drawing: measure by its bars."
        canvas.drawString((left + scale * 10.5) * MM, (bottom + scale * 60.0) * MM, words)
    canvas.showPage()
    canvas.save()
    page = writer.insert_page(PdfReader(io.BytesIO(buffer.getvalue())).pages[0], 1)
    plan = PdfReader(io.BytesIO(drawn(doc, "pdf"))).pages[0]
    page.merge_transformed_page(plan, Transformation().scale(scale).translate(left * MM, bottom * MM), over=False)
