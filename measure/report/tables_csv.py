"""The result document as CSV, one file a table."""

import csv
import io

from measure.report.export_tables import ExportTable, export_tables, harmless
from measure.result import Document


def csv_files(doc: Document) -> dict[str, bytes]:
    """File contents by table name: UTF-8 with a byte-order mark, so that spreadsheets show accents; decimal point.

    Words that a spreadsheet would take for a formula get an apostrophe before them; figures stay bare.
    """
    return {table.name: _csv(table) for table in export_tables(doc)}


def _csv(table: ExportTable) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(table.heads)
    for row in table.rows:
        writer.writerow(["" if v is None else harmless(v) if isinstance(v, str) else v for v in row])
    return text.getvalue().encode("utf-8-sig")
