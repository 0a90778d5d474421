"""What a sheet is made of: words, lists, tables and the drawing. Nothing here knows HTML or PDF."""

import re
from dataclasses import dataclass
from typing import Literal

from measure.report.words import printable

Kind = Literal["name", "words", "number", "unit", "verdict"]


MARKS = {"OUTSIDE": "■", "MOVED": "■", "UNDECIDED": "▲", "within": "○", "held": "○"}
"""The drawing's own markers, so that table and drawing read alike in black and white."""
_BEFORE_A_UNIT = re.compile(r"(?<=\d) (?=(?:%|mm|deg|degrees|in|N|°C)\b|%)|(?<=±) (?=\d)")


def shown(text: str) -> str:
    """Text as it may be printed: no control characters, and no line that ends between a figure and its unit."""
    return _BEFORE_A_UNIT.sub("\N{NO-BREAK SPACE}", printable(text))


def is_words(text: str) -> bool:
    """Whether a cell of a column of numbers says something in words, such as that a figure is not held."""
    return text[:1].isalpha()


@dataclass(frozen=True)
class Cell:
    """One cell: a line, and smaller lines under it."""

    text: str
    below: tuple[str, ...] = ()


@dataclass(frozen=True)
class Column:
    """A column: its head and what stands in it. A column of numbers is set on the decimal point."""

    head: str
    kind: Kind = "words"


@dataclass(frozen=True)
class Table:
    """A table; the first cell of each row names the row."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True)
class Paragraph:
    """Running words."""

    text: str


@dataclass(frozen=True)
class Items:
    """A list, gravest first; `lead` introduces it."""

    items: tuple[str, ...]
    lead: str = ""


@dataclass(frozen=True)
class Fingerprint:
    """The SHA-256 of the inputs, which may break anywhere."""

    text: str


Part = Table | Paragraph | Items | Fingerprint


@dataclass(frozen=True)
class Section:
    """A heading and what stands under it."""

    title: str
    parts: tuple[Part, ...]


@dataclass(frozen=True)
class Answer:
    """One of the three answers at the top: what is out, a line each; what is undecided, what is fine."""

    key: str
    verdict: str
    items: tuple[str, ...]


@dataclass(frozen=True)
class Drawing:
    """A drawing, which is made elsewhere: its title, and what it shows for those who cannot see it."""

    title: str
    words: str


@dataclass(frozen=True)
class Sheet:
    """A whole sheet in reading order: facts, answer, drawings, sections, and the lines to sign on.

    `blanks`: what is filled in by hand, beside the facts.
    """

    title: str
    stage: str
    facts: tuple[tuple[str, str], ...]
    blanks: tuple[str, ...]
    answers: tuple[Answer, ...]
    drawings: tuple[Drawing, ...]
    sections: tuple[Section, ...]
    statement: str
    sign: tuple[str, ...]
    version: str
    fingerprint: str
