"""A .csv table as a person's spreadsheet writes it: split into cells, none of them understood yet."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable

from measure.findings import Findings, visible
from measure.tables.grid import Grid

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}
_HINT = re.compile(r"\s*\"?sep=(?P<delimiter>[,;\t])\"?\s*", re.IGNORECASE)


def split(text: str, file: str, known: Iterable[str], findings: Findings) -> Grid | None:
    """Cells of `text`. `known` are the column names, by which the delimiter is told. None after an error."""
    lines = re.split("\r\n|\r|\n", text)
    delimiter = None
    # blanked rather than dropped: the line numbers must stay a person's own
    for i, line in enumerate(lines):
        if line.lstrip().startswith("#"):
            lines[i] = ""
        elif delimiter is None and (hint := _HINT.fullmatch(line)):
            delimiter, lines[i] = hint["delimiter"], ""
    header = next((line for line in lines if line.strip(" ,;\t")), None)
    if header is None:
        return Grid()
    chosen = delimiter or _delimiter(header, {name.casefold() for name in known})
    return _cells(lines, chosen, file, findings)


def _delimiter(header: str, known: set[str]) -> str:
    """The delimiter under which the first line holds most known names, then most cells."""

    def score(delimiter: str) -> tuple[int, int]:
        names = [cell.strip(' "').casefold() for cell in header.split(delimiter)]
        return sum(name in known for name in names), len(names)

    return max(DELIMITERS, key=score)


def _cells(lines: list[str], delimiter: str, file: str, findings: Findings) -> Grid | None:
    grid = Grid()
    # strict: an inch mark taken for an opening quote must not swallow the lines below it
    source = (f"{line}\n" for line in lines)
    reader = csv.reader(source, delimiter=delimiter, skipinitialspace=True, strict=True)
    first = 1
    try:
        for cells in reader:
            stripped = [cell.strip() for cell in cells]
            if any(stripped):
                grid.rows.append((first, stripped))
            first = reader.line_num + 1
    except csv.Error:
        would_do = 'a quote mark is opened and not closed as it should be: write 41 5/16 in, or "41 5/16"""'
        findings.error(file, first, None, visible(lines[first - 1]), would_do)
        return None
    return grid
