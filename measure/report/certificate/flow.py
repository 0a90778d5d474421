"""The words and tables of a sheet as they flow over the pages of a PDF."""

from collections.abc import Sequence
from typing import IO, Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import black, white
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import BaseDocTemplate, Flowable, KeepTogether, LongTable, Spacer, TableStyle
from reportlab.platypus import Paragraph as Words

from measure.paper import MM
from measure.report.certificate.parts import (
    MARKS,
    Answer,
    Cell,
    Fingerprint,
    Items,
    Paragraph,
    Part,
    Section,
    Sheet,
    Table,
    is_words,
    shown,
)  # fmt: skip
from measure.typeface import BOLD, PLAIN

MARGIN = 18.0
"""mm left and right."""
PAD = 8.0
"""Points between columns."""
_GREY, _RULE = 0.33, 0.7
_FEW, _NAMES = 6, 46.0  # columns of an ordinary table; mm of names in a table of many numbers


class Type:
    """The styles of type, in points."""

    def __init__(self) -> None:
        self.plain = ParagraphStyle("plain", fontName=PLAIN, fontSize=8.6, leading=12.2, spaceAfter=5)
        self.kind = ParagraphStyle("kind", self.plain, fontSize=7.4, textColor=_grey(_GREY), spaceAfter=1)
        self.title = ParagraphStyle("title", self.plain, fontName=BOLD, fontSize=16, leading=19.5, spaceAfter=7)
        self.head = ParagraphStyle(
            "head", self.plain, fontName=BOLD, fontSize=11, leading=14, spaceBefore=13, spaceAfter=4, keepWithNext=1
        )
        self.lead = ParagraphStyle("lead", self.plain, fontName=BOLD, spaceAfter=1, keepWithNext=1)
        self.caption = ParagraphStyle("caption", self.lead, spaceBefore=5, spaceAfter=2)
        self.item = ParagraphStyle("item", self.plain, leftIndent=11, bulletIndent=0, spaceAfter=2.5)
        self.mono = ParagraphStyle("mono", self.plain, fontSize=8)
        self.cell = ParagraphStyle("cell", self.plain, fontSize=8, leading=10, spaceAfter=0)
        self.named = ParagraphStyle("named", self.cell, fontName=BOLD)
        self.column = ParagraphStyle("column", self.cell, fontSize=7.2, leading=8.8, textColor=_grey(_GREY))
        self.over_numbers = ParagraphStyle("over_numbers", self.column, alignment=TA_RIGHT)


class Pages(BaseDocTemplate):  # type: ignore[misc]
    """The pages of words; while they are laid out it notes on which of them each section begins."""

    def __init__(self, file: IO[bytes], size: tuple[float, float], title: str) -> None:
        super().__init__(file, pagesize=size, invariant=1, title=title)
        self.beginnings: list[tuple[str, int]] = []

    def afterFlowable(self, flowable: Flowable) -> None:  # noqa: N802 - reportlab's name
        """Called by reportlab for each piece that it has set."""
        if isinstance(flowable, Words) and flowable.style.name == "head":
            self.beginnings.append((flowable.getPlainText(), self.page))


def _grey(level: float) -> Any:
    from reportlab.lib.colors import Color

    return Color(level, level, level)


def story(content: Sheet, style: Type, width: float) -> list[Flowable]:
    """Everything but the drawing, in reading order, the last two sections with the signature; `width` in points."""
    told: list[Flowable] = [
        Words("HOW THE BODY STANDS", style.kind), Words(_safe(content.title), style.title),
        _facts(content.facts, style, width), _blanks(content.blanks, style, width), Spacer(1, 9),
        _answers(content.answers, style, width), Spacer(1, 4),
    ]  # fmt: skip
    *others, cautions, method = [_section(section, style, width) for section in content.sections]
    told += [flowable for section in others for flowable in section]
    # nobody signs a bare page: the method at least stands above the signature, and the cautions too where all fit
    signed = KeepTogether([*method, *_sign(content, style, width)])
    return [*told, KeepTogether([*cautions, signed])]


def _safe(text: str) -> str:
    return escape(shown(text))


def _facts(facts: Sequence[tuple[str, str]], style: Type, width: float) -> Flowable:
    rows = [[Words(_safe(words), style.column), Words(_safe(value), style.cell)] for words, value in facts]
    return LongTable(rows, [42 * MM, width - 42 * MM], style=_bare([("TOPPADDING", (0, 0), (-1, -1), 1.2)]))


def _blanks(blanks: Sequence[str], style: Type, width: float) -> Flowable:
    """What is filled in by hand: two to a row, a line after each."""
    name, gap = 42 * MM, 6 * MM
    line = (width - gap) / 2 - name
    cells = [Words(_safe(words), style.column) for words in blanks]
    rows = [[*cells[i : i + 1], "", "", *cells[i + 1 : i + 2], ""] for i in range(0, len(cells), 2)]
    look = [("LINEBELOW", (i, 0), (i, -1), 0.5, _grey(_GREY)) for i in (1, 4)]
    padding = [("TOPPADDING", (0, 0), (-1, -1), 9.0), ("VALIGN", (0, 0), (-1, -1), "BOTTOM")]
    return LongTable(rows, [name, line, gap, name * 0.5, line + name * 0.5], style=_bare([*padding, *look]))


def _answers(answers: Sequence[Answer], style: Type, width: float) -> Flowable:
    words = {"outside": "OUTSIDE", "undecided": "UNDECIDED", "within": "within"}
    bold = ParagraphStyle("key", style.plain, fontName=BOLD, spaceAfter=0)
    plain = ParagraphStyle("answer", style.plain, spaceAfter=0)
    rows: list[list[Any]] = []  # a row for each line of an answer, so that a long one may go on over a page's end
    look: list[tuple[Any, ...]] = []
    for a in answers:
        heads = (Words(MARKS[words[a.verdict]], plain), Words(a.key, bold))
        look.append(("TOPPADDING", (0, len(rows)), (-1, len(rows)), 4))
        rows += [[*(("", "") if i else heads), Words(_safe(item), plain)] for i, item in enumerate(a.items)]
    look = [
        ("TOPPADDING", (0, 0), (-1, -1), 0.5), ("BOTTOMPADDING", (0, 0), (-1, -1), 0.5), *look,
        ("BOX", (0, 0), (-1, -1), 1.0, black),
        ("LEFTPADDING", (0, 0), (0, -1), 8), ("RIGHTPADDING", (2, 0), (2, -1), 8),
        ("TOPPADDING", (0, 0), (-1, 0), 7), ("BOTTOMPADDING", (0, -1), (-1, -1), 8),
    ]  # fmt: skip
    return LongTable(rows, [20, 26 * MM, width - 26 * MM - 20], style=_bare(look))


def _bare(further: Sequence[tuple[Any, ...]]) -> TableStyle:
    none = [(f"{side}PADDING", (0, 0), (-1, -1), 0) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM")]
    return TableStyle([*none, ("VALIGN", (0, 0), (-1, -1), "TOP"), *further])


def _section(section: Section, style: Type, width: float) -> list[Flowable]:
    told: list[Flowable] = [Words(_safe(section.title), style.head)]
    for part in section.parts:
        told += _part(part, style, width)
    return told


def _part(part: Part, style: Type, width: float) -> list[Flowable]:
    if isinstance(part, Table):
        return [Words(_safe(part.caption), style.caption), _table(part, style, width), Spacer(1, 8)]
    if isinstance(part, Items):
        lead = [Words(_safe(part.lead), style.lead)] if part.lead else []
        return [*lead, *(Words(_safe(item), style.item, bulletText="–") for item in part.items), Spacer(1, 4)]
    if isinstance(part, Fingerprint):
        return [Words(_safe(part.text), style.mono)]
    if isinstance(part, Paragraph):
        return [Words(_safe(part.text), style.plain)]
    raise TypeError(f"no flow for {type(part).__name__}")


def _table(table: Table, style: Type, width: float) -> Flowable:
    rows: list[list[Any]] = []
    numbers = [i for i, column in enumerate(table.columns) if column.kind == "number"]
    rows.append(
        [Words(_safe(c.head), style.over_numbers if c.kind == "number" else style.column) for c in table.columns]
    )
    for row in table.rows:
        rows.append([_cell(cell, table.columns[i].kind, style) for i, cell in enumerate(row)])
    look: list[tuple[Any, ...]] = [
        ("FONT", (0, 1), (-1, -1), PLAIN, 8, 10), ("RIGHTPADDING", (0, 0), (-1, -1), PAD),
        ("TOPPADDING", (0, 0), (-1, -1), 2.6), ("BOTTOMPADDING", (0, 0), (-1, -1), 2.8),
        ("VALIGN", (0, 0), (-1, 0), "BOTTOM"), ("LINEBELOW", (0, 0), (-1, 0), 0.7, black),
        ("LINEBELOW", (0, 1), (-1, -1), 0.3, _grey(_RULE)), ("RIGHTPADDING", (-1, 0), (-1, -1), 0),
        ("BACKGROUND", (0, 0), (-1, -1), white),
    ]  # fmt: skip
    for i in numbers:
        edge = 0.0 if i == len(table.columns) - 1 else PAD
        look += [("ALIGN", (i, 1), (i, -1), "DECIMAL"), ("RIGHTPADDING", (i, 1), (i, -1), edge + _after(table, i))]
        for k, row in enumerate(table.rows, start=1):
            if is_words(row[i].text):  # there is no point to set it on
                look += [("ALIGN", (i, k), (i, k), "RIGHT"), ("RIGHTPADDING", (i, k), (i, k), edge)]
    return LongTable(rows, _widths(table, width), repeatRows=1, style=_bare(look))


def _cell(cell: Cell, kind: str, style: Type) -> Any:
    if kind == "number":
        return "\n".join(map(shown, (cell.text, *cell.below)))
    words = _safe(cell.text)
    if kind == "verdict":
        mark = f"{MARKS[cell.text]} " if cell.text in MARKS else ""
        return Words(mark + words, style.named if cell.text.isupper() else style.cell)
    if kind == "name":
        below = "".join(f'<br/><font name="{PLAIN}" size="7">{_safe(line)}</font>' for line in cell.below)
        return Words(words + below, style.named)
    return Words(words, style.cell)


def _lines(table: Table, column: int) -> list[str]:
    return [line for row in table.rows for line in (row[column].text, *row[column].below)]


def _after(table: Table, column: int) -> float:
    """Points that the widest part after the decimal point takes, the point included."""
    ends = [line[line.index(".") :] for line in _lines(table, column) if "." in line]
    return max((stringWidth(end, PLAIN, 8) for end in ends), default=0.0)


def _before(table: Table, column: int) -> float:
    starts = [line.partition(".")[0] for line in _lines(table, column) if not is_words(line)]
    return max((stringWidth(start, PLAIN, 8) for start in starts), default=0.0)


def _widths(table: Table, width: float) -> list[float]:
    """Numbers, units and verdicts take what they need; words share the rest, the first column the smaller part."""
    widths = []
    for i, column in enumerate(table.columns):
        head = max(stringWidth(word, PLAIN, 7.2) for word in [*column.head.split(), ""])
        if column.kind == "number":
            words = max((stringWidth(line, PLAIN, 8) for line in _lines(table, i) if is_words(line)), default=0.0)
            wanted = max(_before(table, i) + _after(table, i), words, head, 8 * MM)
            widths.append(wanted + PAD + 2)
        elif column.kind == "unit":
            widths.append(8.5 * MM)
        elif column.kind == "verdict":
            widths.append(25 * MM)
        else:
            widths.append(0.0)
    free = [i for i, wanted in enumerate(widths) if wanted == 0.0]
    left = width - sum(widths)
    if len(free) == 1 and len(widths) > _FEW:  # a table of many numbers: they share the room with the names
        names = min(left, _NAMES * MM)
        share = (left - names) / (len(widths) - 1)
        return [names if i == free[0] else wanted + share for i, wanted in enumerate(widths)]
    shares = {1: [1.0], 2: [0.36, 0.64]}.get(len(free), [1 / max(len(free), 1)] * len(free))
    for i, share in zip(free, shares, strict=True):
        widths[i] = left * share
    return widths


def _sign(content: Sheet, style: Type, width: float) -> list[Flowable]:
    gap, column = 8 * MM, (width - 16 * MM) / 3
    row = ["" if i % 2 else Words(_safe(content.sign[i // 2]), style.column) for i in range(2 * len(content.sign) - 1)]
    look = [("LINEABOVE", (i, 0), (i, 0), 0.7, black) for i in range(0, len(row), 2)]
    look.append(("TOPPADDING", (0, 0), (-1, -1), 3))  # type: ignore[arg-type]
    widths = [gap if i % 2 else column for i in range(len(row))]
    return [
        Words("Signed", style.head), Words(_safe(content.statement), style.plain), Spacer(1, 17 * MM),
        LongTable([row], widths, style=_bare(look)),
    ]  # fmt: skip
