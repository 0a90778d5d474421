"""What a change does to the lines of a file, and how it is taken back wherever those lines stand by now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class ChangedSinceError(Exception):
    """A change that cannot be taken back by itself: `str()` says why, and what would do."""


@dataclass(frozen=True)
class Splice:
    """At line `at` (from 0) of a file the lines `removed` gave way to `added`, each with its line end."""

    at: int
    removed: tuple[str, ...]
    added: tuple[str, ...]

    def inverse(self) -> Splice:
        """What takes it back."""
        return Splice(self.at, self.added, self.removed)


def difference(old: str, new: str) -> Splice:
    """The lines that differ, as one replacement between the common beginning and the common end."""
    a, b = old.splitlines(keepends=True), new.splitlines(keepends=True)
    start = 0
    while start < min(len(a), len(b)) and a[start] == b[start]:
        start += 1
    end = 0
    while end < min(len(a), len(b)) - start and a[-1 - end] == b[-1 - end]:
        end += 1
    return Splice(start, tuple(a[start : len(a) - end]), tuple(b[start : len(b) - end]))


def replayed(text: str, splice: Splice) -> str:
    """`text` after the change, which was made at exactly this text."""
    lines = text.splitlines(keepends=True)
    lines[splice.at : splice.at + len(splice.removed)] = splice.added
    return "".join(lines)


def put_back(text: str, splice: Splice, file: str, heading: str = "") -> str:
    """`text` without the change. Raises ChangedSinceError where its lines were changed again since.

    `heading`: the line that names the columns, where the change brought it or took it away. It stays for as long as
    there are other rows under it, and is not put in twice.
    """
    lines = text.splitlines(keepends=True)
    here, there, least = list(splice.added), list(splice.removed), 0
    if heading in here and len(_rows(lines)) > len(_rows(here)):
        here.remove(heading)
    elif heading in there and (rows := _rows(lines)):
        if rows[0] != heading:
            raise ChangedSinceError(f"{file} was made anew since, with other columns: take back that change first")
        there.remove(heading)
        least = lines.index(heading) + 1
    places = [i for i in range(len(lines) - len(here) + 1) if lines[i : i + len(here)] == here]
    if not here:  # lines had been taken out: they go back where they were, or to the end
        places = [min(max(splice.at, least), len(lines))]
    if not places:
        raise ChangedSinceError(f"{file} was changed there again since: take back the later change first")
    at = min(places, key=lambda i: abs(i - splice.at))
    lines[at : at + len(here)] = there
    return "".join(lines)


def heading_changed(before: str, after: str) -> str:
    """The line that names the columns, where a change of the whole text brought it or took it away; else ""."""
    had, has = _rows(before.splitlines(keepends=True)), _rows(after.splitlines(keepends=True))
    return "" if had and has else next(iter(had or has), "")


def _rows(lines: Sequence[str]) -> list[str]:
    """The lines of a table that are neither blank nor a remark; the first of them names the columns."""
    return [line for line in lines if line.strip() and not line.lstrip().startswith("#")]
