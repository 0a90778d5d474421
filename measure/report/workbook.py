"""The result document as one .xlsx workbook, a sheet for each table."""

import datetime
import io
import re
import zipfile
from typing import TYPE_CHECKING

from measure.report.export_tables import ExportTable, export_tables
from measure.report.words import printable
from measure.result import Document

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

LONGEST_CELL = 32_767
"""Characters that a cell of a workbook may hold."""
_WIDEST = 60
_NO_DATE = datetime.datetime(2000, 1, 1)


def xlsx_bytes(doc: Document) -> bytes:
    """The workbook. Words are cells of words, never formulas, whatever they start with; figures are numbers."""
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    for table in export_tables(doc):
        _fill(book.create_sheet(table.name), table)
    book.properties.creator = f"plumbsquare {printable(doc.version)}"
    book.properties.created = _NO_DATE
    buffer = io.BytesIO()
    book.save(buffer)
    return _undated(buffer.getvalue())


def _fill(sheet: "Worksheet", table: ExportTable) -> None:
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    for row_number, row in enumerate((table.heads, *table.rows), start=1):
        for column, value in enumerate(row, start=1):
            if value is None:
                continue
            cell = sheet.cell(row_number, column)
            if isinstance(value, str):
                cell.value = printable(value)[:LONGEST_CELL]
                cell.data_type = "s"  # else a leading "=" would make it a formula
                cell.quotePrefix = value.lstrip().startswith(("=", "+", "-", "@"))
                cell.alignment = Alignment(vertical="top", wrap_text=len(value) > _WIDEST)
            else:
                cell.value = value
                cell.alignment = Alignment(vertical="top")
            if row_number == 1:
                cell.font = Font(bold=True)
    for column, head in enumerate(table.heads, start=1):
        longest = max([len(head), *(len(str(row[column - 1] or "")) for row in table.rows)])
        sheet.column_dimensions[get_column_letter(column)].width = min(longest, _WIDEST) + 2
    sheet.freeze_panes = "B2"


def _undated(book: bytes) -> bytes:
    """The same workbook without the time of writing, in its properties and in its zip entries."""
    buffer = io.BytesIO()
    stamp = f"{_NO_DATE:%Y-%m-%dT%H:%M:%SZ}".encode()
    with zipfile.ZipFile(io.BytesIO(book)) as old, zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            data = old.read(name)
            if name == "docProps/core.xml":
                data = re.sub(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*", rb"\g<1>" + stamp, data)
            new.writestr(zipfile.ZipInfo(name, _NO_DATE.timetuple()[:6]), data, zipfile.ZIP_DEFLATED)
    return buffer.getvalue()
