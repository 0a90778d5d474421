"""The table of a tape check: known lengths and what the tape read."""

from __future__ import annotations

from pathlib import Path

from calib.tape_check import KnownLength
from measure.findings import Findings
from measure.tables import Column, read_table

COLUMNS = (
    Column("known", "length", required=True, positive=True),
    Column("reading", "length", required=True, positive=True),
    Column("known_sd", "length", minimum=0.0),
    Column("sd", "length", minimum=0.0),
    Column("note", "text"),
)


def read_known_lengths(
    folder: Path, stem: str, unit: str, findings: Findings, *, known_sd: float = 0.1, sd: float = 0.5
) -> list[KnownLength] | None:
    """Rows of `folder/stem.csv` (or .xlsx), mm; None where there is no such table.

    `known_sd` and `sd` (mm) stand in for blank cells: [sd] bar and tape of the job. A row whose reading is
    blank is not measured yet and left out with a note. Findings are added, nothing is raised.
    """
    rows = read_table(folder, stem, COLUMNS, unit, findings, fill_in="reading")
    if rows is None:
        return None
    return [
        KnownLength(
            known=row.required("known"),
            reading=row.required("reading"),
            known_sd=known_sd if (own := row.figure("known_sd")) is None else own,
            sd=sd if (own := row.figure("sd")) is None else own,
        )
        for row in rows
    ]
