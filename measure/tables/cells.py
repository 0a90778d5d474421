"""One cell of a table, understood as what its column holds."""

from __future__ import annotations

import re
import unicodedata
from typing import Protocol

from measure.findings import did_you_mean
from measure.tables.dates import date_text_trouble
from measure.tables.decimals import Decimals
from measure.units import MM_PER, LengthError, Unit, checked_length, parse_length, parse_number

YES = frozenset({"yes", "y", "true", "x", "1"})
NO = frozenset({"no", "n", "false", "0"})
NAME_RULE = "letters, digits, spaces, underscore, hyphen and dot"
LONGEST_NAME = 60

_NAME = re.compile(r"\w(?:[\w .\-]*[\w.\-])?(?:\#[0-9]+)?")


class CellError(ValueError):
    """The cell is not what its column holds; `str()` says what would do."""


class Kind(Protocol):
    """The part of a column's description that bears on its cells."""

    @property
    def kind(self) -> str:
        """What the column holds."""

    @property
    def choices(self) -> tuple[str, ...]:
        """The words of a choice."""

    @property
    def positive(self) -> bool:
        """Whether zero and less are refused."""

    @property
    def minimum(self) -> float | None:
        """The least allowed, in mm for a length."""


def understand(text: str, number: float | None, column: Kind, unit: Unit, marks: Decimals) -> object:
    """The value of a cell with something in it: str, bool, or float (mm for a length).

    `number` is given where a spreadsheet holds the cell as a number. Raises CellError.
    """
    if column.kind == "name":
        return name(text)
    if column.kind == "yes":
        return _yes(text)
    if column.kind == "choice":
        return _choice(text, column.choices)
    if column.kind == "text":
        return text
    try:
        value = _figure(text, number, column.kind, unit, marks)
    except LengthError as problem:
        raise CellError(str(problem)) from None
    if column.positive and value <= 0:
        raise CellError("this must be greater than zero")
    if column.minimum is not None and value < column.minimum:
        raise CellError(f"this must be at least {column.minimum:g}")
    return value


def name(text: str) -> str:
    """A name of a point, tape or setup, exact to the letter; NAME#2 is a second mark. Raises CellError."""
    plain = unicodedata.normalize("NFC", text)  # one letter may be typed as two codes that look the same
    if len(plain) > LONGEST_NAME:
        raise CellError(f"a name has at most {LONGEST_NAME} characters")
    if not _NAME.fullmatch(plain):
        raise CellError(f"a name has {NAME_RULE}, and begins with a letter or digit")
    return plain


def _figure(text: str, number: float | None, kind: str, unit: Unit, marks: Decimals) -> float:
    if number is not None:
        value = checked_length(number)
        return checked_length(value * float(MM_PER[unit])) if kind == "length" else value
    if trouble := date_text_trouble(text):
        raise CellError(f"this {trouble}")
    if trouble := marks.trouble(text):
        raise CellError(trouble)
    if kind == "length":
        return parse_length(text, unit, decimal_comma=marks.comma)
    return parse_number(text, decimal_comma=marks.comma)


def _yes(text: str) -> bool:
    if text.casefold() in YES:
        return True
    if text.casefold() in NO:
        return False
    raise CellError("write yes or no")


def _choice(text: str, choices: tuple[str, ...]) -> str:
    for choice in choices:
        if text.casefold() == choice.casefold():
            return choice
    raise CellError(f"write {', '.join(choices[:-1])} or {choices[-1]}{did_you_mean(text, choices)}")
