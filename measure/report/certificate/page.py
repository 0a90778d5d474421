"""The sheet as one HTML file: no script, no request, no type from elsewhere."""

import base64
import re
import xml.etree.ElementTree as ET
from importlib.resources import files
from typing import Any

from measure.compare.result import Comparison
from measure.job import Job
from measure.paper import Paper
from measure.report.certificate.content import sheet
from measure.report.certificate.drawings import drawn
from measure.report.certificate.embedded import ELEMENT, figures_of
from measure.report.certificate.parts import MARKS, Fingerprint, Items, Paragraph, Table, is_words, shown
from measure.result import Document
from measure.typeface import FAMILY, STYLES, face

_SVG, _XLINK = "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"
_PART_NAMES = {Table: "table", Paragraph: "paragraph", Items: "items", Fingerprint: "fingerprint"}


def html_bytes(doc: Document, job: Job, paper: Paper, compared: Comparison | None = None) -> bytes:
    """The sheet as UTF-8 HTML; the same document gives the same bytes on one machine."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    def finished(value: Any) -> Any:
        return shown(value) if isinstance(value, str) and not isinstance(value, Markup) else value

    room = files("measure.report.certificate")
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, finalize=finished, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters.update(split=split_at_the_point, places=places_after, kind=lambda part: _PART_NAMES[type(part)])
    environment.tests.update(words=is_words)
    page = environment.from_string((room / "sheet.html.j2").read_text(encoding="utf-8"))
    svgs = drawn(doc, compared, "svg", None)
    made = page.render(
        sheet=sheet(doc, job, compared),
        paper=paper,
        css=Markup((room / "sheet.css").read_text(encoding="utf-8")),
        fonts=Markup(font_faces()),
        drawings=[Markup(inline_svg(svg, f"d{i}-")) for i, svg in enumerate(svgs, start=1)],
        marks=MARKS,
        element=ELEMENT,
        figures=Markup(_escaped(figures_of(doc, paper, compared))),
    )
    return made.encode("utf-8")


def font_faces() -> str:
    """The type as CSS that carries it inside."""
    faces = []
    for style, weight in zip(STYLES, ("400", "600 700"), strict=True):
        inside = base64.b64encode(face(style, "woff2").read_bytes()).decode("ascii")
        source = f'url("data:font/woff2;base64,{inside}") format("woff2")'
        faces.append(f'@font-face {{ font-family: "{FAMILY}"; font-weight: {weight}; src: {source}; }}')
    return "\n".join(faces)


def inline_svg(svg: bytes, prefix: str) -> str:
    """A drawing as an SVG element to stand inside HTML; its ids begin with `prefix`, so that two can stand there.

    Parsed and written anew: comments go, because an SVG comment that holds a name may end early for an HTML parser.
    """
    ET.register_namespace("", _SVG)
    ET.register_namespace("xlink", _XLINK)
    root = ET.fromstring(svg)
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag.rpartition("}")[2] == "metadata":
                parent.remove(child)
    for element in root.iter():
        for name, value in element.attrib.items():
            if name == "id":
                element.set(name, prefix + value)
            elif name in ("href", f"{{{_XLINK}}}href"):
                element.set(name, f"#{prefix}{value.removeprefix('#')}")
            else:
                element.set(name, value.replace("url(#", f"url(#{prefix}"))
    for name in ("width", "height"):  # the style sheet says how large
        root.attrib.pop(name, None)
    root.set("aria-hidden", "true")
    root.set("focusable", "false")
    return ET.tostring(root, encoding="unicode")


def split_at_the_point(text: str) -> tuple[str, str]:
    """A number before and from its decimal point on; words and whole numbers have nothing after."""
    found = re.fullmatch(r"([+\N{MINUS SIGN}]?\d+)(\.\d+)", text)
    return (found[1], found[2]) if found else (text, "")


def places_after(table: Table) -> list[int]:
    """For each column, the characters that its longest number has from the decimal point on."""
    return [
        max((len(split_at_the_point(row[i].text)[1]) for row in table.rows), default=0)
        for i in range(len(table.columns))
    ]


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
