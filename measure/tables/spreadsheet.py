"""A table kept as .xlsx: its cells as text, and those that cannot be what was typed."""

from __future__ import annotations

import datetime
import io
import math
import re
import warnings
import zipfile
from collections.abc import Iterator
from decimal import Decimal
from pathlib import PurePath
from typing import Any

from measure.findings import Findings, visible
from measure.tables.dates import date_trouble
from measure.tables.grid import Grid
from measure.tables.textfile import LARGEST

MOST_CELLS = 2_000_000
"""Blank ones included: a spreadsheet formatted down to its last row has a million."""
_SAVE = "open it in a spreadsheet and save it as .xlsx or as CSV UTF-8"
_UNIT_SHOWN = re.compile(r'"[^"]*?(mm|cm|\bm\b|\bin\b|inch|ft|\'|″|′)[^"]*"|\\["\']')
_FRACTION_SHOWN = re.compile(r"[?#0]/[?#0-9]")


def cells(data: bytes, file: str, unit: str, findings: Findings) -> Grid | None:
    """Cells of the sheet named like the file, else of the first sheet. None after an error.

    `unit` is the job's: a number that merely *shows* as a fraction is 41.3125, and no millimetres.
    """
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        findings.error(file, None, None, "an old .xls file or one with a password", _SAVE)
        return None
    try:
        unpacked = sum(entry.file_size for entry in zipfile.ZipFile(io.BytesIO(data)).infolist())
        if unpacked > LARGEST:
            found = f"{unpacked / 1e6:.0f} MB when unpacked"
            findings.error(file, None, None, found, f"a table stays under {LARGEST / 1e6:.0f} MB")
            return None
        return _first_sheet(data, file, unit, findings)
    except Exception:  # a damaged archive fails anywhere in the reader, and in no documented way
        findings.error(file, None, None, "no readable spreadsheet of a size to read", _SAVE)
        return None


def _first_sheet(data: bytes, file: str, unit: str, findings: Findings) -> Grid | None:
    from openpyxl import load_workbook  # a quarter of a second that a .csv job need not wait

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of styles and drop-down lists, which are not read
        computed = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        typed = load_workbook(io.BytesIO(data), read_only=True, data_only=False)
        sheets = [sheet for sheet in computed.worksheets if any(_has_something(row) for row in _rows(sheet))]
        if not sheets:
            return Grid()
        named = [sheet for sheet in sheets if sheet.title.casefold() == PurePath(file).stem.casefold()]
        sheet = (named or sheets)[0]
        if len(sheets) > 1:
            would_do = f'only the sheet "{visible(sheet.title)}" was read; keep one table in a file'
            findings.note(file, None, None, f"{len(sheets)} sheets", would_do)
        return _grid(_rows(sheet), _rows(typed[sheet.title]), unit)


def _rows(sheet: Any) -> Iterator[tuple[Any, ...]]:
    """The rows from the first on. ValueError for a sheet so wide or long that it is no table."""
    sheet.reset_dimensions()  # what the file says of its own size is often wrong
    total = 0
    for row in sheet.iter_rows():
        total += 1 + len(row)
        if total > MOST_CELLS:
            raise ValueError("too many cells")
        yield row


def _has_something(row: tuple[Any, ...]) -> bool:
    return any(cell.value is not None and str(cell.value).strip() for cell in row)


def _grid(computed: Iterator[tuple[Any, ...]], typed: Iterator[tuple[Any, ...]], unit: str) -> Grid:
    grid = Grid()
    for line, (row, sources) in enumerate(zip(computed, typed, strict=True), start=1):
        texts = []
        for i, (cell, source) in enumerate(zip(row, sources, strict=True)):
            if cell.value is None and source.value is not None:
                texts.append(visible(str(getattr(source.value, "text", source.value))))
                grid.troubles[line, i] = (
                    f"cell {source.coordinate} holds a formula that was never computed: "
                    "save the file once from a spreadsheet, or type the number"
                )
                continue
            texts.append(_text(cell.value))
            if trouble := "" if cell.value is None else _trouble(cell, unit):
                grid.troubles[line, i] = f"cell {cell.coordinate} {trouble}"
            elif isinstance(cell.value, int | float) and not isinstance(cell.value, bool):
                grid.numbers[line, i] = float(cell.value) if abs(cell.value) < 1e300 else math.inf
        if any(texts) and not next(text for text in texts if text).startswith("#"):
            grid.rows.append((line, texts))
    return grid


def _text(value: object) -> str:
    """As typed, as nearly as a spreadsheet lets one tell: 104.3 without exponent, a date as 2026-05-16."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and math.isfinite(value) and abs(value) < 1e15:
        return format(Decimal(repr(value)), "f").removesuffix(".0")
    if isinstance(value, datetime.datetime) and value.time() == datetime.time():
        return value.date().isoformat()
    return str(value).strip()


def _trouble(cell: Any, unit: str) -> str:
    """What is wrong with a cell whatever its column; empty where nothing is."""
    value = cell.value
    if isinstance(value, datetime.date | datetime.time | datetime.timedelta):
        return date_trouble(value)
    if cell.data_type == "e":
        return "holds a spreadsheet error: mend the formula, or type the number"
    if isinstance(value, int | float) and not isinstance(value, bool):
        shown = str(cell.number_format)
        if _UNIT_SHOWN.search(shown):
            return f"shows a unit ({visible(shown)}) that is only its format: type the unit, such as 104.3 cm"
        if unit == "mm" and _FRACTION_SHOWN.search(shown):
            return 'shows a fraction, which needs inches: format the column as text and type 41 5/16"'
        if "%" in shown:
            return "is formatted as a percentage: format it as text and type the number"
    return ""
