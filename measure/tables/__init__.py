"""The tables of a job: found, read whole, every cell understood or complained of.

A table is `stem.csv` or `stem.xlsx`. Comma, semicolon or tab; decimal point or comma, one for a table;
byte-order mark; blank lines; `#` comments. Columns are known by the names in the first line, in any order.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, cast

from measure.findings import Findings, nearest, visible
from measure.tables import cells, decimals, delimited, spreadsheet
from measure.tables.cells import CellError
from measure.tables.grid import Grid
from measure.tables.textfile import decode, read_bytes
from measure.units import Unit

ENDINGS = (".csv", ".xlsx")
OTHER_ENDINGS = (".xls", ".xlsm", ".ods", ".tsv", ".txt", ".numbers")
MOST_ERRORS = 100
"""Errors told of one table; after that its columns are shifted or it is another table altogether."""


@dataclass(frozen=True)
class Column:
    """What a column may hold. `positive` refuses zero and less, `minimum` whatever is below it.

    Lengths are compared in mm.
    """

    name: str
    kind: Literal["name", "text", "length", "number", "yes", "choice"]
    required: bool = False
    choices: tuple[str, ...] = ()
    positive: bool = False
    minimum: float | None = None


@dataclass
class Row:
    """A line of a table, understood.

    `values` has every column: None where nothing stands, float mm for a length, float for a number, bool for
    a yes, str for the rest. `raw` has what was typed. `bad` names the columns with an error (kept rows only).
    """

    file: str
    line: int
    values: dict[str, object]
    raw: dict[str, str]
    bad: frozenset[str] = field(default_factory=frozenset)

    @property
    def source(self) -> str:
        """Where the reading stands, such as `tape.csv:12`."""
        return f"{self.file}:{self.line}"

    def text(self, column: str) -> str:
        """The text in a column; empty where nothing stands."""
        return cast("str | None", self.values[column]) or ""

    def figure(self, column: str) -> float | None:
        """The length (mm) or number in a column."""
        return cast("float | None", self.values[column])

    def required(self, column: str) -> float:
        """The same in a required column, which no row without an error leaves empty."""
        return cast(float, self.values[column])


def find_table(folder: Path, stem: str) -> list[Path]:
    """The files that hold the table `stem`, in any spelling of upper and lower case; usually none or one."""
    return [path for path in _with_stem(folder, stem) if path.suffix.casefold() in ENDINGS]


def read_table(
    folder: Path,
    stem: str,
    columns: Sequence[Column],
    unit: str,
    findings: Findings,
    *,
    fill_in: str | None = None,
    keep_bad: bool = False,
) -> list[Row] | None:
    """The rows of the table `stem` in `folder`; None where there is no such file.

    `unit` ("mm" or "in") is what bare lengths are in. A blank in the required column `fill_in` means "not
    measured yet": such rows are left out, and one note lists their lines. Findings name the file relative to
    the job folder. A row with an error is left out, unless `keep_bad`, which keeps it with None in the bad
    cell. A file that cannot be read at all gives an error and [].
    """
    inside = f"{folder.name}/" if _is_stage(folder) else ""
    paths = find_table(folder, stem)
    if not paths:
        for other in (path for path in _with_stem(folder, stem) if path.suffix.casefold() in OTHER_ENDINGS):
            would_do = f"it is not read: save it as {stem}.csv or {stem}.xlsx"
            findings.error(f"{inside}{other.name}", None, None, f"a {other.suffix} file", would_do)
        return None
    path, shown = paths[0], f"{inside}{paths[0].name}"
    if len(paths) > 1:
        names = " and ".join(each.name for each in paths)
        findings.error(f"{inside}{stem}", None, None, names, "keep one: which of them counts?")
        return []
    grid = _load(path, shown, columns, unit, findings)
    if grid is None:
        return []
    if not grid.rows:
        names = ", ".join(column.name for column in columns)
        findings.error(shown, None, None, "an empty table", f"its first line names the columns: {names}")
        return []
    reader = _Reader(shown, path.name, columns, cast(Unit, unit), findings, fill_in, keep_bad)
    return reader.read(grid)


def _is_stage(folder: Path) -> bool:
    try:
        return not (folder / "job.toml").exists() and (folder.parent / "job.toml").exists()
    except OSError:  # a folder that may not be looked into
        return True


def _with_stem(folder: Path, stem: str) -> list[Path]:
    try:
        return sorted(path for path in folder.iterdir() if path.stem.casefold() == stem.casefold())
    except (OSError, ValueError):  # no such folder, or one that may not be listed: nothing is found in it
        return []


def _load(path: Path, shown: str, columns: Sequence[Column], unit: str, findings: Findings) -> Grid | None:
    data = read_bytes(path, shown, findings)
    if data is None:
        return None
    if not data.strip():
        names = ", ".join(column.name for column in columns)
        findings.error(shown, None, None, "an empty file", f"its first line names the columns: {names}")
        return None
    if path.suffix.casefold() == ".xlsx":
        return spreadsheet.cells(data, shown, unit, findings)
    text = decode(data, shown, findings)
    if text is None:
        return None
    return delimited.split(text, shown, [column.name for column in columns], findings)


@dataclass
class _Reader:
    """One table while it is read. `places` maps a known column to its index in the rows."""

    shown: str
    name: str
    columns: Sequence[Column]
    unit: Unit
    findings: Findings
    fill_in: str | None
    keep_bad: bool
    places: dict[str, int] = field(default_factory=dict)
    errors: int = 0

    def read(self, grid: Grid) -> list[Row]:
        header_line, header = grid.rows[0]
        if not self._read_header(header_line, header):
            return []
        body = grid.rows[1:]
        if not body:
            self.findings.note(self.shown, header_line, None, "a header with no rows", "it was skipped")
            return []
        marks = self._decimal_mark(grid, body)
        rows: list[Row] = []
        unmeasured: list[int] = []
        for line, texts in body:
            if self._cell(texts, self.fill_in) == "" and self.fill_in is not None:
                unmeasured.append(line)
                continue
            row = self._read_row(grid, line, texts, len(header), marks)
            if self.keep_bad or not row.bad:
                rows.append(row)
            if self.errors >= MOST_ERRORS:
                would_do = "the rest was not read; mend those first: are the columns shifted?"
                self.findings.error(self.shown, line, None, f"{self.errors} errors so far", would_do)
                break
        if unmeasured:
            lines = _listed(unmeasured)
            found = f"{len(unmeasured)} rows without a {self.fill_in} ({lines})"
            self.findings.note(self.shown, None, None, found, "not measured yet; they were left out")
        return rows

    def _read_header(self, line: int, header: list[str]) -> bool:
        """Fill `places`; False after an error that leaves the rows without meaning."""
        known = {column.name.casefold(): column for column in self.columns}
        names = [name.casefold() for name in header]
        if not any(name in known for name in names):
            would_do = f"the first line must name the columns: {self._known()}"
            self.findings.error(self.shown, line, None, visible(", ".join(header)), would_do)
            return False
        missing = [c.name for c in self.columns if c.required and c.name.casefold() not in names]
        sound = True
        for i, name in enumerate(names):
            if not name:
                continue
            if name not in known:
                near = nearest(header[i], [c.name for c in self.columns if c.name.casefold() not in names])
                if near in missing:
                    missing.remove(near)
                hint = f'; did you mean "{near}"?' if near else ""
                would_do = f"there is no such column; known are {self._known()}{hint}"
            elif known[name].name in self.places:
                would_do = "this column is there twice: keep one of them"
            else:
                self.places[known[name].name] = i
                continue
            self.findings.error(self.shown, line, header[i], header[i], would_do)
            sound = False
        for name in missing:
            would_do = f'add the column "{name}" to the first line'
            self.findings.error(self.shown, line, None, f'no column "{name}"', would_do)
            sound = False
        return sound

    def _known(self) -> str:
        return ", ".join(column.name for column in self.columns)

    def _cell(self, texts: list[str], column: str | None) -> str:
        place = self.places.get(column) if column is not None else None
        return texts[place] if place is not None and place < len(texts) else ""

    def _decimal_mark(self, grid: Grid, body: list[tuple[int, list[str]]]) -> decimals.Decimals:
        figures = [c.name for c in self.columns if c.kind in {"length", "number"}]

        def typed() -> Iterator[str]:
            for line, texts in body:
                for name in figures:
                    place = self.places.get(name, -1)
                    if place >= 0 and (line, place) not in grid.numbers:
                        yield self._cell(texts, name)

        marks = decimals.decide(typed())
        if marks.comma:
            found = f"decimal commas ({marks.seen} of the figures)"
            self.findings.note(self.shown, None, None, found, "the whole table was read so: 104,5 is 104.5")
        return marks

    def _read_row(self, grid: Grid, line: int, texts: list[str], width: int, marks: decimals.Decimals) -> Row:
        bad = set()
        known = set(self.places.values())
        extra = [text for i, text in enumerate(texts) if text and (i >= width or i not in known)]
        if extra:
            would_do = "a cell with a comma of its own (a decimal comma, a note) needs quotes around it"
            self.findings.error(self.shown, line, None, f'"{visible(extra[0])}" beyond the header', would_do)
            bad.add("")
            self.errors += 1
        values: dict[str, object] = {}
        raw: dict[str, str] = {}
        for column in self.columns:
            text = raw[column.name] = self._cell(texts, column.name)
            values[column.name] = None
            key = (line, self.places.get(column.name, -1))
            try:
                if not text:
                    if column.required:
                        raise CellError("this column must be filled in")
                    continue
                if column.kind != "text" and key in grid.troubles:
                    raise CellError(grid.troubles[key])
                number = grid.numbers.get(key)
                values[column.name] = cells.understand(text, number, column, self.unit, marks)
            except CellError as problem:
                self.findings.error(self.shown, line, column.name, text, str(problem))
                bad.add(column.name)
                self.errors += 1
        return Row(self.name, line, values, raw, frozenset(bad))


def _listed(lines: list[int]) -> str:
    shown = ", ".join(str(line) for line in lines[:4])
    more = f" and {len(lines) - 4} more" if len(lines) > 4 else ""
    return f"line{'s' if len(lines) > 1 else ''} {shown}{more}"
