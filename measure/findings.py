"""What was found wrong, or worth saying, in the files of a job: collected first, told all at once.

A finding says where (file relative to the job folder, line, column), what stood there and what would do.
An *error* keeps the job from being used; a *note* tells what was repaired or left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

LONGEST, LONGEST_WORDS = 60, 1000
"""Characters of a cell that are repeated in a message; of our own words, which only a long list makes so long."""
MOST_LISTED = 300
"""Findings printed one by one; a table that is wrong in every cell helps no one with the rest."""


@dataclass(frozen=True)
class Finding:
    """One thing found. `column` is a column's name, a key of job.toml, or a character's position in the line.

    `found` is the cell as typed where both line and column are given, and words otherwise.
    """

    file: str
    line: int | None
    column: str | None
    found: str
    would_do: str
    fatal: bool

    def text(self) -> str:
        """One line for a person: where it stands, what was found, what would do."""
        return f"{self.where()}: found {self._shown()}; {visible(self.would_do, LONGEST_WORDS)}"

    def where(self) -> str:
        """File, line and column in words, as far as they are known."""
        file = visible(self.file, LONGEST_WORDS)
        place = file if self.line is None else f"{file} line {self.line}"
        if self.column is None:
            return place
        word = "key" if self.file.endswith(".toml") and not self.column.isdigit() else "column"
        return f"{place}, {word} {visible(self.column)}"

    def _shown(self) -> str:
        if self.line is None or self.column is None:
            return visible(self.found, LONGEST_WORDS)
        return f'"{visible(self.found)}"' if self.found.strip() else "nothing"


class BadInput(Exception):  # noqa: N818 - it is told to a person, who has no "Error"
    """The input cannot be used. `str()` is the numbered list of all that was found, errors first."""

    def __init__(self, findings: Findings) -> None:
        super().__init__(findings)
        self.findings = findings

    def __str__(self) -> str:
        return self.findings.numbered()


class Findings:
    """The findings of one run, in the order they were met. Adding one that is there already does nothing."""

    def __init__(self, findings: Iterable[Finding] = ()) -> None:
        self._findings = dict.fromkeys(findings)

    def __iter__(self) -> Iterator[Finding]:
        return iter(self._findings)

    def __len__(self) -> int:
        return len(self._findings)

    def __getitem__(self, index: int) -> Finding:
        return list(self._findings)[index]

    def __repr__(self) -> str:
        return f"Findings({list(self._findings)!r})"

    def append(self, finding: Finding) -> None:
        """Add a finding."""
        self._findings[finding] = None

    def extend(self, findings: Iterable[Finding]) -> None:
        """Add several."""
        for finding in findings:
            self.append(finding)

    def error(self, file: str, line: int | None, column: str | None, found: str, would_do: str) -> None:
        """Add what keeps the job from being used."""
        self.append(Finding(file, line, column, found, would_do, fatal=True))

    def note(self, file: str, line: int | None, column: str | None, found: str, would_do: str) -> None:
        """Add what was repaired, left out, or looks odd."""
        self.append(Finding(file, line, column, found, would_do, fatal=False))

    @property
    def errors(self) -> list[Finding]:
        """The findings that must be mended."""
        return [finding for finding in self._findings if finding.fatal]

    @property
    def notes(self) -> list[Finding]:
        """The findings that need no mending."""
        return [finding for finding in self._findings if not finding.fatal]

    def numbered(self) -> str:
        """All findings, one a line, numbered through: errors first, then notes."""
        told = [finding.text() for finding in self.errors] + [f"note: {note.text()}" for note in self.notes]
        lines = [f"{number}. {text}" for number, text in enumerate(told[:MOST_LISTED], start=1)]
        if len(told) > MOST_LISTED:
            lines.append(f"... and {len(told) - MOST_LISTED} more; mend these first")
        return "\n".join(lines)

    def raise_if_errors(self) -> None:
        """Raise BadInput where there is at least one error."""
        if any(finding.fatal for finding in self._findings):
            raise BadInput(self)


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name that looks most like `name`; None where none is close.

    Upper and lower case count as alike, and so do the same letters in another order: the commonest slips.
    """
    if not name:
        return None
    spelled: dict[str, str] = {}
    for each in known:
        spelled.setdefault(each.casefold(), each)
    folded = name[:LONGEST].casefold()
    if folded in spelled:
        return spelled[folded]
    for known_folded, written in spelled.items():
        if sorted(known_folded) == sorted(folded):
            return written
    import difflib  # only a slip needs it

    close = difflib.get_close_matches(folded, list(spelled), n=1, cutoff=0.6)
    return spelled[close[0]] if close else None


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """The ending '; did you mean "frontL"?', or nothing where no known name is close."""
    close = nearest(name, known)
    return f'; did you mean "{close}"?' if close is not None else ""


def visible(text: str, longest: int = LONGEST) -> str:
    """`text` on one line, shortened, with unprintable characters written out.

    A byte of a file name that is no UTF-8, which Python keeps as half a surrogate pair, is written as that byte.
    """
    short = text if len(text) <= longest else text[: longest - 3] + "..."
    return "".join(c if c.isprintable() else _written_out(c) for c in short)


def _written_out(c: str) -> str:
    if "\udc80" <= c <= "\udcff":
        return f"\\x{ord(c) - 0xDC00:02x}"
    return c.encode("unicode_escape").decode("ascii")
