"""The figures that travel inside a sheet, so that it can be checked later: the result document as JSON.

HTML: an element <template id="plumbsquare-figures">, which no browser shows and nothing runs. PDF: an attached file.
"""

import io
import json
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, cast

from measure.compare.result import Comparison
from measure.report.words import printable
from measure.result import Document, as_json

ELEMENT = "plumbsquare-figures"
ATTACHMENT = "plumbsquare-figures.json"
FORMAT = 1
LARGEST = 60_000_000
"""Bytes; a sheet is far smaller, and what is larger is none."""
_NOT_SHOWN = ("svg", "style", "template", "title", "head")


class NotASheetError(ValueError):
    """The file is no sheet of ours; `str()` says what was found and what would do."""


@dataclass(frozen=True)
class ReadSheet:
    """A sheet read back: its kind, the document inside it, and the words printed on it, line by line."""

    kind: str
    paper: str
    document: dict[str, Any]
    compared: dict[str, Any] | None
    words: list[str]


def figures_of(doc: Document, paper: str, compared: Comparison | None) -> str:
    """What is put into the sheet."""
    movements = None if compared is None else plain(compared)
    inside = {"format": FORMAT, "paper": paper, "document": plain(doc), "compared": movements}
    return json.dumps(inside, ensure_ascii=True, indent=1) + "\n"


def plain(made: Document | Comparison) -> Any:
    """A document as what JSON knows, with the digits that JSON gets."""
    return json.loads(as_json(cast("Any", made)))


def read_sheet(path: Path) -> ReadSheet:
    """A sheet from its file, told by its first bytes, not by its name. Raises OSError and NotASheetError."""
    if path.stat().st_size > LARGEST:
        raise NotASheetError("it is larger than any sheet; give the HTML or PDF file that `plumbsquare report` wrote")
    return sheet_from(path.read_bytes())


def sheet_from(data: bytes) -> ReadSheet:
    """A sheet from the bytes of its file. Raises NotASheetError."""
    if data[:1024].lstrip().startswith(b"%PDF-"):
        return _from_pdf(data)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise NotASheetError("it is neither HTML nor PDF; give the file that `plumbsquare report` wrote") from None
    reader = _Reader()
    reader.feed(text)
    reader.close()
    if not reader.figures:
        raise NotASheetError("no figures are in it; give the file that `plumbsquare report` wrote, unchanged")
    return _opened("html", "".join(reader.figures), reader.lines())


def _from_pdf(data: bytes) -> ReadSheet:
    import logging

    from pypdf import PdfReader

    logging.getLogger("pypdf").setLevel(logging.CRITICAL)
    try:
        reader = PdfReader(io.BytesIO(data))
        attached = reader.attachments.get(ATTACHMENT, [])
        words = [line for page in reader.pages for line in page.extract_text().splitlines()]
    except Exception as error:  # a damaged PDF fails anywhere in the library, in any way
        raise NotASheetError(f"it is a PDF that cannot be read ({printable(str(error))[:80]})") from None
    if not attached:
        raise NotASheetError("it is a PDF without our figures in it; give the file that `plumbsquare report` wrote")
    return _opened("pdf", attached[0].decode("utf-8", "replace"), words)


def _opened(kind: str, figures: str, words: list[str]) -> ReadSheet:
    spoilt = "its figures cannot be read: the file was changed or cut off"
    try:
        inside = json.loads(figures)
    except (ValueError, RecursionError):
        raise NotASheetError(spoilt) from None
    if not isinstance(inside, dict) or not isinstance(inside.get("document"), dict):
        raise NotASheetError(spoilt)
    if inside.get("format") != FORMAT:
        raise NotASheetError("it was written by another version of this program, which has its own way of keeping them")
    compared = inside.get("compared")
    if inside.get("paper") not in ("A4", "Letter") or not isinstance(compared, dict | None):
        raise NotASheetError(spoilt)
    return ReadSheet(
        kind, inside["paper"], inside["document"], compared, [" ".join(w.split()) for w in words if w.strip()]
    )


class _Reader(HTMLParser):
    """Takes the figures and the visible words out of an HTML sheet; what the page draws is not looked at."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.figures: list[str] = []
        self._words: list[str] = []
        self._hidden: list[str] = []
        self._in_figures = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note what is hidden, and break lines at blocks."""
        if tag in _NOT_SHOWN:
            self._hidden.append(tag)
            self._in_figures = tag == "template" and dict(attrs).get("id") == ELEMENT
        if tag in ("p", "li", "tr", "h1", "h2", "caption", "div", "dt"):
            self._words.append("\n")
        elif tag in ("td", "th", "dd", "small"):
            self._words.append(" ")

    def handle_endtag(self, tag: str) -> None:
        """The end of what is hidden."""
        if self._hidden and tag == self._hidden[-1]:
            self._hidden.pop()
            self._in_figures = False

    def handle_data(self, data: str) -> None:
        """Words go where they belong."""
        if self._in_figures:
            self.figures.append(data)
        elif not self._hidden:
            self._words.append(data.replace("\n", " "))

    def lines(self) -> list[str]:
        """The visible words, a block a line."""
        return "".join(self._words).splitlines()
