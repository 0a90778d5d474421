"""Dates that a spreadsheet made of something else: 5/16 becomes the 16th of May, 2.5 the 2nd."""

from __future__ import annotations

import datetime
import re

# English, German, French, Spanish, Italian and Dutch short names, by their first three letters
_MONTHS = {
    "jan": 1, "ene": 1, "gen": 1, "feb": 2, "fév": 2, "fev": 2, "mar": 3, "mär": 3, "mrz": 3, "maa": 3,
    "mrt": 3, "apr": 4, "avr": 4, "abr": 4, "may": 5, "mai": 5, "mag": 5, "mei": 5, "jun": 6, "giu": 6,
    "jul": 7, "jui": 7, "lug": 7, "aug": 8, "aoû": 8, "ago": 8, "sep": 9, "set": 9, "oct": 10, "okt": 10,
    "ott": 10, "nov": 11, "dec": 12, "dez": 12, "déc": 12, "dic": 12,
}  # fmt: skip
_ISO = re.compile(r"(?P<year>\d{4})[-/.](?P<month>\d{1,2})[-/.](?P<day>\d{1,2})(?:[ t].*)?", re.IGNORECASE)
_NUMERIC = re.compile(r"(?P<first>\d{1,2})([-/.])(?P<second>\d{1,2})\2(?:\d{4}|\d{2})(?: .*)?")
_DAY_FIRST = re.compile(r"(?P<day>\d{1,2})\.?[- /]?(?P<month>[^\W\d_]{3,9})\.?(?:[- /]\d{2,4})?")
_MONTH_FIRST = re.compile(r"(?P<month>[^\W\d_]{3,9})\.?[- /](?P<day>\d{1,2})(?:,? \d{4})?")


def date_trouble(value: datetime.date | datetime.time | datetime.timedelta) -> str:
    """Sentence for a date where none belongs, guessing the fraction of an inch it was typed as."""
    if not isinstance(value, datetime.date):
        return "was turned into a time by a spreadsheet: format the column as text and type it again"
    return _sentence(value.month, value.day)


def date_text_trouble(text: str) -> str | None:
    """The same sentence for text that reads as a date, such as 16-May or 2026-05-16; None for other text."""
    clean = text.strip()
    if match := _ISO.fullmatch(clean):
        return _sentence(int(match["month"]), int(match["day"]))
    if match := _NUMERIC.fullmatch(clean):
        return _sentence(int(match["first"]), int(match["second"]))
    if match := _DAY_FIRST.fullmatch(clean) or _MONTH_FIRST.fullmatch(clean):
        month = _MONTHS.get(match["month"].casefold()[:3])
        if month is not None and 1 <= int(match["day"]) <= 31:
            return _sentence(month, int(match["day"]))
    return None


def _sentence(month: int, day: int) -> str:
    guess = _fraction(month, day)
    meant = f' ({guess}? then type {guess}")' if guess else ""
    return f"was turned into a date by a spreadsheet{meant}: format the column as text and type it again"


def _fraction(month: int, day: int) -> str | None:
    """The inch fraction that a spreadsheet reads as this month and day, in either order."""
    for over, under in ((month, day), (day, month)):
        if under in {2, 4, 8, 16} and over < under:
            return f"{over}/{under}"
    return None
