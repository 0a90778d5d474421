"""Lengths as a shop writes them, to and from millimetres.

Accepted: `1043`, `1043.5`, `104.3 cm`, `1.043 m`, `41 5/16"`, `41-5/16`, `5/16 in`, the characters for
halves, quarters and eighths, `3' 5 5/16"`, `3'5"`, `3 ft 5 in`. A bare number is in the job's unit. Anything
else is refused: a length that has to be guessed is worse than none. Exact fractions until the last step.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from typing import Literal

from measure.findings import visible

Unit = Literal["mm", "in"]

MM_PER = {
    "mm": Fraction(1), "cm": Fraction(10), "m": Fraction(1000),
    "in": Fraction(254, 10), "ft": Fraction(3048, 10),
}  # fmt: skip
MM_PER_INCH = float(MM_PER["in"])
LIMIT_MM = 100_000_000
"""100 km: beyond it a number is a slip of the keyboard or a cell of another table."""
LONGEST = 48
"""Characters; longer text is no length, and exact arithmetic on it would be slow."""
SMALLEST_PART = 64
"""A printed inch length is rounded to this part of an inch (0.4 mm)."""

_EXAMPLE = {"mm": "1043.5 or 104.3 cm", "in": '41 5/16" or 41.3'}
_ALIKE = str.maketrans(
    {
        "\N{DOUBLE PRIME}": '"', "\N{LEFT DOUBLE QUOTATION MARK}": '"',
        "\N{RIGHT DOUBLE QUOTATION MARK}": '"', "\N{PRIME}": "'",
        "\N{LEFT SINGLE QUOTATION MARK}": "'", "\N{RIGHT SINGLE QUOTATION MARK}": "'",
        "\N{MINUS SIGN}": "-", "\N{EN DASH}": "-", "\N{NON-BREAKING HYPHEN}": "-", "\N{FRACTION SLASH}": "/",
        "\N{NO-BREAK SPACE}": " ", "\N{NARROW NO-BREAK SPACE}": " ", "\N{THIN SPACE}": " ", "\t": " ",
        "½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8",
    }
)  # fmt: skip
_NAMES = {
    "mm": "mm", "cm": "cm", "m": "m", "in": "in", "inch": "in", "inches": "in", '"': "in",
    "ft": "ft", "foot": "ft", "feet": "ft", "'": "ft",
}  # fmt: skip

_DECIMAL = r"[0-9]+\.?[0-9]*|\.[0-9]+"
_MIXED = r"(?:(?P<whole>[0-9]+)(?:\ +|\ *-\ *))?(?P<over>[0-9]+)/(?P<under>[0-9]+)"
_SIMPLE = re.compile(rf"(?P<number>{_DECIMAL})\ *(?P<unit>[a-z]+|[\"'])?")
_FRACTION = re.compile(rf"{_MIXED}\ *(?P<unit>[a-z]+|[\"'])?")
_FEET = re.compile(
    rf"(?P<feet>[0-9]+)\ *(?:'|ft|foot|feet)\ *-?\ *"
    rf"(?:(?P<number>{_DECIMAL})|{_MIXED})\ *(?:\"|in|inch|inches)?"
)


class LengthError(ValueError):
    """The text is no length; `str()` says what would do."""


def parse_length(text: str, unit: Unit, *, decimal_comma: bool = False) -> float:
    """Millimetres of a length as typed.

    `unit` is what a bare number is in. With `decimal_comma` the comma is the decimal mark and a point is
    refused, since 1.043 might then be a thousand. A leading minus is taken (rises and coordinates may be
    negative); whoever reads a taped length refuses zero and less. Raises LengthError.
    """
    clean = _cleaned(text, decimal_comma, _EXAMPLE[unit])
    negative = clean.startswith("-")
    exact = _unsigned(clean[1:].strip() if clean[:1] in {"-", "+"} else clean, unit)
    if exact >= LIMIT_MM:
        raise LengthError("a length stays under 100 km")
    mm = float(exact)
    return -mm if negative and mm else mm


def parse_number(text: str, *, decimal_comma: bool = False) -> float:
    """A plain number such as 12 or -0.5, without a unit. Raises LengthError."""
    clean = _cleaned(text, decimal_comma, "12 or 0.5")
    if not re.fullmatch(rf"[-+]?(?:{_DECIMAL})", clean):
        raise LengthError("write a plain number such as 12 or 0.5")
    value = float(clean)
    if abs(value) >= 1e12:
        raise LengthError("write a number below a million million")
    return value + 0.0  # no minus zero


def checked_length(mm: float) -> float:
    """`mm` itself, where it is finite and under 100 km either way. Raises LengthError."""
    if not math.isfinite(mm) or abs(mm) >= LIMIT_MM:
        raise LengthError("write a length under 100 km, in digits")
    return mm


def format_length(mm: float, unit: Unit) -> str:
    """A length for a person: `1043.5 mm` to a tenth, or `41 5/16"` to the nearest 64th of an inch.

    What comes out, `parse_length` reads back within half that step.
    """
    checked_length(mm)
    if unit == "mm":
        tenths = round(Fraction(mm) * 10)
        sign = "-" if tenths < 0 else ""
        return f"{sign}{abs(tenths) // 10}.{abs(tenths) % 10} mm"
    parts = round(Fraction(mm) / MM_PER["in"] * SMALLEST_PART)
    sign = "-" if parts < 0 else ""
    whole, rest = divmod(abs(parts), SMALLEST_PART)
    if not rest:
        return f'{sign}{whole}"'
    fraction = Fraction(rest, SMALLEST_PART)
    lead = f"{whole} " if whole else ""
    return f'{sign}{lead}{fraction.numerator}/{fraction.denominator}"'


def _cleaned(text: str, decimal_comma: bool, example: str) -> str:
    """Lower case, look-alike characters made one, the decimal mark a point."""
    clean = re.sub(" +", " ", text.translate(_ALIKE)).strip().lower().replace("''", '"')
    if not clean:
        raise LengthError(f"write {example}")
    if len(clean) > LONGEST:
        raise LengthError(f"this is too long to be a number: write {example}")
    if decimal_comma:
        if "." in clean:
            raise LengthError("with decimal commas a point could mean thousands: use a comma")
        return re.sub(r"(?<=[0-9]),(?=[0-9])|^,(?=[0-9])", ".", clean)
    if re.search("[0-9],[0-9]", clean):
        raise LengthError(f"no comma inside a number: write {example}")
    return clean


def _unsigned(clean: str, unit: Unit) -> Fraction:
    if match := _SIMPLE.fullmatch(clean):
        number = Fraction(match["number"])
        return number * MM_PER[_named(match["unit"]) if match["unit"] else unit]
    if match := _FRACTION.fullmatch(clean):
        if match["unit"] is None and unit == "mm":
            raise LengthError(f'a fraction needs inches: write {clean}" if inches are meant')
        if match["unit"] is not None and _named(match["unit"]) != "in":
            raise LengthError('only inches are written as fractions, such as 41 5/16"')
        return _inches(match) * MM_PER["in"]
    if match := _FEET.fullmatch(clean):
        inches = Fraction(match["number"]) if match["number"] else _inches(match)
        if inches >= 12:
            raise LengthError("beside feet the inches stay below 12")
        return int(match["feet"]) * MM_PER["ft"] + inches * MM_PER["in"]
    if re.search("nan|inf", clean):
        raise LengthError(f"a reading is a number: write {_EXAMPLE[unit]}, or leave the line out")
    if re.fullmatch(r"[0-9.]+e[-+]?[0-9]+", clean):
        raise LengthError(f"write the number out, such as {_EXAMPLE[unit]}")
    if re.search(r"[0-9] [0-9]{3}\b(?!/)", clean):
        raise LengthError(f"no space inside a number: write {_EXAMPLE[unit]}")
    raise LengthError(f"write a length such as {_EXAMPLE[unit]}")


def _named(name: str) -> str:
    if name not in _NAMES:
        raise LengthError(f'unknown unit "{visible(name)}": use mm, cm, m, in or ft')
    return _NAMES[name]


def _inches(match: re.Match[str]) -> Fraction:
    """Whole inches and a fraction; only the divisions a rule has, so that 5/6 for 5/16 is seen."""
    over, under = int(match["over"]), int(match["under"])
    if under not in {2, 4, 8, 16, 32, 64, 128}:
        raise LengthError("an inch is divided into 2, 4, 8, 16, 32, 64 or 128: write 5/16 or a decimal")
    if not 0 < over < under:
        raise LengthError("the fraction of an inch stays between 0 and 1: write 1 5/16 for 21/16")
    return int(match["whole"] or 0) + Fraction(over, under)
