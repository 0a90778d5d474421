"""One reading from the page into its table: understood, held against what stands there, written, recorded.

A cell is its own revision: whoever fills it says what stood in it when they looked. Two people who fill different rows
never meet; two who fill the same one are told.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from measure.findings import nearest
from measure.history import Entry, History
from measure.job import Job
from measure.readings import KINDS
from measure.readings.tape import LENGTHS
from measure.tables import cells, find_table
from measure.tables.cells import CellError
from measure.tables.decimals import MANY, Decimals
from measure.units import LengthError, parse_length
from measure.web.sentences import say
from measure.web.table_edit import Table, TableEditError, TableRow

Mode = Literal["fill", "add", "clear"]


@dataclass(frozen=True)
class Form:
    """A table that the page fills: `keys` say which row, `values` are what is read at the car."""

    table: str
    keys: tuple[str, ...]
    values: tuple[str, ...]
    points: tuple[str, ...]
    positive: bool = False


FORMS = {
    "tape": Form("tape", ("from", "to", "where"), ("length",), ("from", "to"), positive=True),
    "levels": Form("levels", ("from", "to"), ("rise",), ("from", "to")),
    "heights": Form("heights", ("point",), ("height",), ("point",)),
    "marks": Form("marks", ("point",), ("along", "across"), ("point",)),
    "targets": Form("targets", ("target",), ("point",), ("point",)),
}
_THOUSAND = re.compile(r"(?<![0-9])[1-9][0-9]{0,2},[0-9]{3}(?![0-9])")
COLUMNS = {kind.table: tuple(column.name for column in kind.columns) for kind in KINDS}


class RefusedError(Exception):
    """A reading that is not written: `str()` says why, and what would do."""


class ConflictError(RefusedError):
    """What stands in the table is not what the person saw; `now` is what stands there."""

    def __init__(self, words: str, now: str) -> None:
        super().__init__(words)
        self.now = now


@dataclass(frozen=True)
class Wanted:
    """What a page asks for. `seen` is the text of the first value when the person looked at the row.

    `instead`: the ids of the person's own earlier readings there, which waited for a connection and gave way to this
    one. Whether one of them arrived after all, only the history knows.
    """

    form: Form
    mode: Mode
    cells: Mapping[str, str]
    line: int | None = None
    seen: str = ""
    instead: tuple[str, ...] = ()
    id: str = ""
    by: str = ""


@dataclass(frozen=True)
class Written:
    """Where a reading now stands."""

    entry: Entry
    source: str


def enter(job: Job, stage: str, wanted: Wanted, history: History) -> Written:
    """Write one reading, once for each id. On disk when this returns. Raises RefusedError, OSError."""
    path = table_path(job.folder / stage, wanted.form.table)
    file = path.relative_to(job.folder).as_posix()
    line = 0

    def make(text: str) -> str:
        nonlocal line
        table = Table(text, path.name, COLUMNS[wanted.form.table])
        keys = _keys(job, wanted)
        values = {} if wanted.mode == "clear" else _values(job, wanted, table)
        line = _place(table, keys, _after_mine(wanted, table, history))
        blank = dict.fromkeys(wanted.form.values, "")
        more = {name: wanted.cells[name] for name in ("tape", "note") if wanted.cells.get(name)}
        if line:
            table.fill(line, {**blank, **values, **more})
        else:
            line = table.append({**keys, **values, **more})
        return table.text()

    with history.changing():
        done = history.known(wanted.id)
        if done is not None:
            return Written(done, f"{Path(done.file).name}:{_line_of(done, wanted, path)}")
        try:
            entry = history.change(file, make, _words(wanted), id_=wanted.id, by=wanted.by)
        except TableEditError as problem:
            raise RefusedError(str(problem)) from None
    return Written(entry, f"{path.name}:{line}")


def table_path(folder: Path, stem: str) -> Path:
    """The .csv of a table, there or not yet. Raises RefusedError where it is a spreadsheet or a link."""
    found = find_table(folder, stem)
    if not found:
        return folder / f"{stem}.csv"
    path = found[0]
    if path.suffix.casefold() != ".csv":
        raise RefusedError(say("spreadsheet", file=path.name, stem=stem))
    if path.is_symlink():
        raise RefusedError(say("linked_table", file=path.name))
    return path


def rows_of(job: Job, stage: str, form: Form) -> list[Mapping[str, str | int]]:
    """The rows of a table as they stand, each with its line. Raises RefusedError."""
    path = table_path(job.folder / stage, form.table)
    if not path.exists():
        return []
    text = path.read_bytes().decode("utf-8", "surrogateescape")
    try:
        table = Table(text, path.name, COLUMNS[form.table])
    except TableEditError as problem:
        raise RefusedError(str(problem)) from None
    return [{**dict.fromkeys(COLUMNS[form.table], ""), **row.cells, "line": row.line} for row in table.rows]


def _keys(job: Job, wanted: Wanted) -> dict[str, str]:
    """The cells that say which row, each a name the job knows. Raises RefusedError."""
    form, found = wanted.form, {}
    for name in form.keys:
        text = str(wanted.cells.get(name, "")).strip()
        if name in form.points:
            text = _point(job, text, mark=form.table == "marks" or wanted.cells.get("where") == "floor")
        elif name == "where" and text not in LENGTHS:
            raise RefusedError(say("where_it_lay"))
        elif name == "target" and not (text.isdigit() and int(text) < 587):
            raise RefusedError(say("target_number"))
        found[name] = text
    ends = [found[name] for name in form.points if name in found]
    if len(set(ends)) < len(ends):
        raise RefusedError(say("two_points"))
    return found


def _after_mine(wanted: Wanted, table: Table, history: History) -> Wanted:
    """The same with what the person's own earlier reading left in the row taken for seen. Raises ConflictError."""
    mine = next((entry for id_ in reversed(wanted.instead) if (entry := history.known(id_))), None)
    if mine is None:
        return wanted
    row = _written_by(mine, table)
    if row is None:
        raise ConflictError(say("gone_meanwhile"), "")
    mode: Mode = "clear" if wanted.mode == "clear" else "fill"
    return replace(wanted, mode=mode, line=row.line, seen=row.cells.get(wanted.form.values[0], ""))


def _written_by(entry: Entry, table: Table) -> TableRow | None:
    """The row of a reading that was written before, wherever it stands now; None where it was changed since."""
    rows = [row for row in table.rows if row.text == entry.splice.added[-1]] if entry.splice.added else []
    return min(rows, key=lambda row: abs(row.line - entry.splice.at - 1), default=None)


def _point(job: Job, text: str, *, mark: bool) -> str:
    try:
        name = cells.name(text)
    except CellError as problem:
        raise RefusedError(str(problem)) from None
    point, _, drop = name.partition("#")
    if not job.has_point(point) or (drop and not mark):
        near = nearest(point, (each.name for each in job.points))
        raise RefusedError(say("unknown_point_near", name=text, near=near) if near else say("unknown_point", name=text))
    return name


def _values(job: Job, wanted: Wanted, table: Table) -> dict[str, str]:
    """What was read, in the table's own decimal mark. Raises RefusedError."""
    marks = table.marks(wanted.form.values)
    found = {}
    for name in wanted.form.values:
        typed = str(wanted.cells.get(name, "")).strip()
        if not typed:
            raise RefusedError(say("nothing_typed"))
        if name in wanted.form.points:
            found[name] = _point(job, typed, mark=False)
            continue
        text = in_the_tables_mark(typed, marks, table.delimiter)
        comma = marks.comma or (not marks.settled and "," in text)
        try:
            mm = parse_length(text, job.units, decimal_comma=comma)
        except LengthError as problem:
            raise RefusedError(f'"{typed[:48]}": {problem}') from None
        if wanted.form.positive and mm <= 0:
            raise RefusedError(say("positive"))
        found[name] = text
    return found


def in_the_tables_mark(typed: str, marks: Decimals, delimiter: str = ",") -> str:
    """A figure with its one decimal mark as the table writes it.

    Where the table has none yet, a comma stays one in a table of semicolons and becomes a point in the others. What
    may be a thousand is refused. Raises RefusedError.
    """
    if typed.count(",") + typed.count(".") > 1:
        raise RefusedError(f'"{typed[:48]}": {MANY}')
    if marks.settled:
        return typed.replace(".", ",") if marks.comma else typed.replace(",", ".")
    if "," in typed and (trouble := marks.trouble(typed)) and _THOUSAND.search(typed):
        raise RefusedError(f'"{typed[:48]}": {trouble}')
    return typed if delimiter == ";" else typed.replace(",", ".")


def _place(table: Table, keys: Mapping[str, str], wanted: Wanted) -> int:
    """The line to fill; 0 for a new row. Raises ConflictError where the row is not as the person saw it."""
    if wanted.mode == "add":
        return 0
    first = wanted.form.values[0] if wanted.form.values else ""
    same = [row for row in table.rows if all(_alike(row.cells.get(name, ""), text) for name, text in keys.items())]
    at_line = [row for row in same if row.line == wanted.line]
    asked = at_line or [row for row in same if _alike(row.cells.get(first, ""), wanted.seen)]
    if not asked:
        if same and wanted.seen == "":
            raise ConflictError(say("filled_meanwhile", now=same[0].cells.get(first, "")), same[0].cells.get(first, ""))
        if wanted.seen or wanted.mode == "clear":
            raise ConflictError(say("gone_meanwhile"), "")
        return 0
    now = asked[0].cells.get(first, "")
    if not _alike(now, wanted.seen):
        raise ConflictError(say("filled_meanwhile", now=now) if now else say("emptied_meanwhile"), now)
    return asked[0].line


def _alike(one: str, other: str) -> bool:
    """Whether two cells say the same: letters may be typed as two codes, and blanks are not counted."""
    return " ".join(unicodedata.normalize("NFC", one).split()) == " ".join(unicodedata.normalize("NFC", other).split())


def _words(wanted: Wanted) -> str:
    ends = " to ".join(str(wanted.cells.get(name, "")) for name in wanted.form.keys if name != "where")
    figures = " ".join(str(wanted.cells.get(name, "")) for name in wanted.form.values)
    if wanted.mode == "clear":
        return f"{wanted.form.table}: {ends}: took out {wanted.seen}"
    was = f" (was {wanted.seen})" if wanted.seen and wanted.mode == "fill" else ""
    return f"{wanted.form.table}: {ends}: {figures}{was}".rstrip(": ")


def _line_of(entry: Entry, wanted: Wanted, path: Path) -> int:
    """The line on which a reading that was written before stands now; where it was put, if it cannot be found."""
    lines = path.read_bytes().decode("utf-8", "surrogateescape").splitlines(keepends=True) if path.exists() else []
    added = entry.splice.added
    places = [i for i, line in enumerate(lines) if added and line == added[-1]]
    at = entry.splice.at + max(len(added) - 1, 0)
    return (min(places, key=lambda i: abs(i - at)) if places else at) + 1
