"""Edits of a delimited table that keep every byte a person typed: one cell filled in, one row appended.

Lines are counted from 1 as a person's editor counts them, comments and blank lines included.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from measure.findings import Findings
from measure.tables import decimals, delimited

_LINES = re.compile("[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+$")


class TableEditError(Exception):
    """The table cannot be changed in place: `str()` says why, and what would do."""


@dataclass(frozen=True)
class TableRow:
    """A row as it stands: its line, the text of each known column (empty where nothing stands), and the line's own."""

    line: int
    cells: Mapping[str, str]
    text: str


class Table:
    """A table's text, understood just far enough to change a cell or add a row. Raises TableEditError."""

    def __init__(self, text: str, file: str, columns: Sequence[str]) -> None:
        self.file, self.columns = file, list(columns)
        if "\0" in text:
            raise TableEditError(f'{file} is no plain text: save it as "CSV UTF-8"')
        self._lines = _LINES.findall(text)
        self._mark = "\ufeff" if text.startswith("\ufeff") else ""
        if self._mark and self._lines:
            self._lines[0] = self._lines[0].removeprefix("\ufeff")
        findings = Findings()
        grid = delimited.split("".join(self._lines), file, columns, findings)
        if grid is None:
            raise TableEditError(findings.numbered().removeprefix("1. "))
        if not grid.rows:
            self._lines.append(",".join(columns) + "\n")
            self._close_last_line(before=1)
            grid.rows.append((len(self._lines), list(columns)))
        self._header_line, header = grid.rows[0]
        self.delimiter = self._delimiter_of(header)
        folded = {name.casefold(): name for name in columns}
        self._places = {folded[h.casefold()]: i for i, h in enumerate(header) if h.casefold() in folded}
        self._width = len(header)
        self.rows = [
            TableRow(
                line,
                {name: _readable(cells[i]) if i < len(cells) else "" for name, i in self._places.items()},
                self._lines[line - 1],
            )
            for line, cells in grid.rows[1:]
        ]

    def text(self) -> str:
        """The table as it now stands."""
        text = self._mark + "".join(self._lines)
        if not _plain(text) and not _western(text).isascii():
            raise TableEditError(
                f'{self.file} is not UTF-8: save it as "CSV UTF-8", then letters like these can be added'
            )
        return text

    def marks(self, figures: Sequence[str]) -> decimals.Decimals:
        """Which decimal mark the table writes, from the columns that hold figures."""
        return decimals.decide(row.cells.get(name, "") for row in self.rows for name in figures)

    def fill(self, line: int, values: Mapping[str, str]) -> None:
        """Put values into the cells of one row; all else in the line stays as it is."""
        body, end = _without_end(self._lines[line - 1])
        spans = _spans(body, self.delimiter)
        for name in values:
            if name not in self._places:
                raise TableEditError(f'{self.file} has no column "{name}": add it to its first line')
        while len(spans) <= max(self._places[name] for name in values):
            body += self.delimiter
            spans.append((len(body), len(body)))
        for name, value in sorted(values.items(), key=lambda v: -self._places[v[0]]):
            start, stop = spans[self._places[name]]
            body = body[:start] + quoted(value, self.delimiter) + body[stop:]
        self._lines[line - 1] = body + end

    def append(self, values: Mapping[str, str]) -> int:
        """Add a row at the end; its line."""
        for name, value in values.items():
            if value and name not in self._places:
                raise TableEditError(f'{self.file} has no column "{name}": add it to its first line')
        cells = [""] * self._width
        for name, value in values.items():
            if name in self._places:
                cells[self._places[name]] = quoted(value, self.delimiter)
        self._close_last_line()
        self._lines.append(self.delimiter.join(cells) + self._end())
        return len(self._lines)

    def _close_last_line(self, before: int = 0) -> None:
        i = len(self._lines) - 1 - before
        if i >= 0 and not self._lines[i].endswith(("\n", "\r")):
            self._lines[i] += self._end()

    def _end(self) -> str:
        return next((end for line in self._lines if (end := _without_end(line)[1])), "\n")

    def _delimiter_of(self, header: list[str]) -> str:
        """The delimiter under which the header line falls into exactly these cells."""
        body = _without_end(self._lines[self._header_line - 1])[0]
        for delimiter in delimited.DELIMITERS:
            if [body[a:b].strip().strip('"').strip() for a, b in _spans(body, delimiter)] == header:
                return delimiter
        return ","


def quoted(value: str, delimiter: str) -> str:
    """A cell's text, in quotes where it needs them."""
    if any(mark in value for mark in (delimiter, '"', "\n", "\r")) or value != value.strip() or value.startswith("#"):
        doubled = value.replace('"', '""')
        return f'"{doubled}"'
    return value


def _readable(cell: str) -> str:
    """A cell whose bytes were no UTF-8, read as Western European, as the tables are."""
    return cell.encode("utf-8", "surrogateescape").decode("cp1252", "replace") if not _plain(cell) else cell


def _plain(text: str) -> bool:
    return not any("\udc80" <= letter <= "\udcff" for letter in text)


def _western(text: str) -> str:
    """The letters of a text that are not bytes kept from another encoding."""
    return "".join(letter for letter in text if not "\udc80" <= letter <= "\udcff")


def _without_end(line: str) -> tuple[str, str]:
    body = line.rstrip("\r\n")
    return body, line[len(body) :]


def _spans(body: str, delimiter: str) -> list[tuple[int, int]]:
    """Where each cell begins and ends in a line."""
    spans, start, inside = [], 0, False
    for i, letter in enumerate(body):
        if letter == '"':
            inside = not inside
        elif letter == delimiter and not inside:
            spans.append((start, i))
            start = i + 1
    return [*spans, (start, len(body))]
