"""The history of a job: every change made through the program, one JSON line each, only ever appended to.

A change replaces some lines of one table by others (or adds or takes away one photograph); the lines before and after
are kept as they stood, so that every state a table has had can be had again. What a person changed by hand is seen at
the next look and recorded as well.

The order on disk is: the entry (flushed), the table (whole or not at all) or the photograph's new name, a mark that it
is done. An entry without the mark that never reached its file was cut short before anyone was told that it is saved: it
does not count. A table of which nothing is left is taken away: an empty file would be no table to the commands.
"""

from __future__ import annotations

import contextlib
import filecmp
import hashlib
import json
import os
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any

from measure.atomic import sync_folder, write_atomically
from measure.splice import ChangedSinceError, Splice, difference, heading_changed, put_back, replayed

NAME = "history.jsonl"
ADDED, REMOVED, BY_HAND, FOUND = "entered", "undone", "by hand", "found"
AT_ONCE = 5
"""Times that a change is begun anew where somebody saves the file at that very moment."""
KEPT = "."
"""First letter of the name under which a photograph that was taken away is kept."""


class HistoryError(Exception):
    """A change that cannot be made: `str()` says why, and what would do."""


@dataclass(frozen=True)
class Entry:
    """One change. `file` is relative to the job folder, slashes forward; `id` is what the page called it.

    `words` says it to a person. `undoes` is the number of the entry it takes back. `photo` is the hidden name of a
    photograph that was put in its place or taken away, else "".
    """

    number: int
    when: str
    kind: str
    file: str
    words: str
    splice: Splice
    before: str
    after: str
    id: str = ""
    by: str = ""
    undoes: int | None = None
    photo: str = ""


@dataclass
class _Known:
    """What the history says so far: its entries that count, and the text each file was left with."""

    size: int = -1
    entries: list[Entry] = field(default_factory=list)
    texts: dict[str, str] = field(default_factory=dict)
    ids: dict[str, Entry] = field(default_factory=dict)

    def add(self, entry: Entry) -> None:
        self.entries.append(entry)
        if entry.id:
            self.ids[entry.id] = entry
        if not entry.photo:
            self.texts[entry.file] = replayed(self.texts.get(entry.file, ""), entry.splice)


class History:
    """The history of one job folder. One object a folder in a process; `lock` is held over every change."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.path = folder / NAME
        self.lock = threading.RLock()
        self._known = _Known()
        self._highest = 0
        self._depth = 0

    def entries(self) -> list[Entry]:
        """Every change that counts, oldest first."""
        with self.lock:
            return list(self._read().entries)

    def known(self, id_: str) -> Entry | None:
        """The change that a page has already had made under this id."""
        with self.lock:
            return self._read().ids.get(id_) if id_ else None

    def taken_back(self) -> set[int]:
        """Numbers of the entries that have been undone, and not put back since."""
        undone: set[int] = set()
        undoes = {entry.number: entry.undoes for entry in self.entries()}
        for number in [n for n in undoes.values() if n is not None]:
            undone.add(number)
            first = undoes.get(number)
            if first is not None:  # what undoes an undoing brings the first one back
                undone.discard(first)
        return undone

    @contextlib.contextmanager
    def changing(self) -> Iterator[None]:
        """Hold the job for one change: no other thread, and no other process where the system can lock files."""
        with self.lock:
            self._depth += 1
            try:
                with _held(self.folder) if self._depth == 1 else contextlib.nullcontext():
                    yield
            finally:
                self._depth -= 1

    def text(self, file: str) -> str:
        """The text of a file now, every byte kept; empty where there is none. What was changed by hand is recorded.

        To be called while `changing`. Raises OSError.
        """
        text = self._bytes(file)
        known = self._read().texts
        if file not in known:
            if text:
                self._record(FOUND, file, "as it stood", "", text)
        elif known[file] != text:
            self._record(BY_HAND, file, "changed by hand or by another program", known[file], text)
        return text

    def _bytes(self, file: str) -> str:
        path = self.folder / file
        return path.read_bytes().decode("utf-8", "surrogateescape") if path.exists() else ""

    def change(
        self, file: str, make: Callable[[str], str], words: str, *, id_: str = "", by: str = "",
        kind: str = ADDED, undoes: int | None = None,
    ) -> Entry:  # fmt: skip
        """Replace a file's text by what `make` makes of it, and record it. On disk when this returns.

        `make` may raise, and then nothing is written. It is asked again where the file was changed by hand just now.
        Raises OSError, HistoryError.
        """
        with self.changing():
            for _ in range(AT_ONCE):
                old = self.text(file)
                new = make(old)
                entry = self._entry(kind, file, words, old, new, id=id_, by=by, undoes=undoes)
                self._append(_as_line(entry), sync=True)
                if self._bytes(file) == old:  # nobody saved it from an editor meanwhile
                    self._write(self.folder / file, new)
                    self._append(_done(entry), sync=False)
                    self._count(entry)
                    return entry
        raise HistoryError(f"{file} is being written by another program: try again")

    def _write(self, path: Path, text: str) -> None:
        if text:
            write_atomically(path, text.encode("utf-8", "surrogateescape"))
        elif path.exists():
            path.unlink()
            sync_folder(path.parent)

    def photo_added(self, file: str, words: str, source: Path) -> Entry:
        """Put the photograph at `source`, in the same folder, in its place, and record it. Raises OSError."""
        with self.changing():
            entry = self._entry(ADDED, file, words, "", "", photo="in")
            self._rename(entry, source, self.folder / file)
            return entry

    def _rename(self, entry: Entry, source: Path, target: Path) -> None:
        """Record, then rename: a crash between leaves the photograph where it was, and an entry that does not count."""
        self._append(_as_line(entry), sync=True)
        source.replace(target)
        sync_folder(target.parent)
        self._append(_done(entry), sync=False)
        self._count(entry)

    def undo(self, number: int, *, id_: str = "", by: str = "") -> Entry:
        """Take back one change, wherever its lines stand by now. Raises HistoryError, OSError."""
        with self.changing():
            entry = next((e for e in self._read().entries if e.number == number), None)
            if entry is None:
                raise HistoryError(f"there is no change number {number}: look at the history again")
            if entry.kind == FOUND:
                raise HistoryError("this is how the file was first seen: there is nothing before it")
            words = f"took back number {number}: {entry.words}"
            if entry.photo:
                return self._undo_photo(entry, words, id_, by)
            make = partial(self._without, entry)
            return self.change(entry.file, make, words, id_=id_, by=by, kind=REMOVED, undoes=number)

    def back_to(self, number: int) -> list[Entry]:
        """Take back every change after `number`, the latest first; each stays in the history. Raises HistoryError."""
        with self.changing():
            entries = self._read().entries
            if number and number not in {e.number for e in entries}:
                raise HistoryError(f"there is no change number {number}: `plumbsquare history JOB` lists them")
            later = [e for e in reversed(entries) if e.number > number and e.kind != FOUND]
            return [self.undo(entry.number) for entry in later]

    def _without(self, entry: Entry, text: str) -> str:
        """A table without one change; "" where it was made here and only the line that names its columns is left."""
        changes = [each for each in self._read().entries if each.file == entry.file]
        before = after = ""
        for each in changes:
            before, after = after, replayed(after, each.splice)
            if each.number == entry.number:
                break
        heading = heading_changed(before, after)
        try:
            left = put_back(text, entry.splice, entry.file, heading)
        except ChangedSinceError as problem:
            raise HistoryError(str(problem)) from None
        return "" if changes[0].kind != FOUND and len(left.splitlines()) == 1 else left

    def _undo_photo(self, entry: Entry, words: str, id_: str, by: str) -> Entry:
        """Taken away means renamed: a photograph is never deleted."""
        path = self.folder / entry.file
        hidden = path.with_name(KEPT + path.name)
        source, target, photo = (path, hidden, "out") if entry.photo == "in" else (hidden, path, "in")
        if not source.exists():
            raise HistoryError(f"{entry.file} is no longer there: nothing was changed")
        if target.exists() and not filecmp.cmp(source, target, shallow=False):
            raise HistoryError(f"another picture is called {target.name}: rename that one, then take this back again")
        made = self._entry(REMOVED, entry.file, words, "", "", id=id_, by=by, undoes=entry.number, photo=photo)
        self._rename(made, source, target)
        return made

    def _record(self, kind: str, file: str, words: str, old: str, new: str) -> None:
        entry = self._entry(kind, file, words, old, new)
        self._append(_as_line(entry) + _done(entry), sync=True)
        self._count(entry)

    def _entry(self, kind: str, file: str, words: str, old: str, new: str, **more: Any) -> Entry:
        self._read()
        number = self._highest + 1
        when = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        return Entry(number, when, kind, file, words, difference(old, new), _sha(old), _sha(new), **more)

    def _append(self, line: str, *, sync: bool) -> None:
        """One write at the end. A line that a crash cut short is closed first, so that it spoils no other."""
        data = line.encode("ascii")
        handle = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0), 0o644)
        try:
            size = os.fstat(handle).st_size
            if size:
                os.lseek(handle, size - 1, os.SEEK_SET)
                if os.read(handle, 1) != b"\n":
                    data = b"\n" + data
            if os.write(handle, data) != len(data):
                raise OSError(28, "the disk is full", str(self.path))
            if sync:
                os.fsync(handle)
        finally:
            os.close(handle)
        if sync and not size:
            sync_folder(self.folder)

    def _read(self) -> _Known:
        """What the file says, read anew where it has grown."""
        size = self.path.stat().st_size if self.path.exists() else 0
        if size == self._known.size:
            return self._known
        raw, done = _parsed(self.path) if size else ([], set())
        self._highest = max((entry.number for entry in raw), default=0)
        known = _Known(size)
        for entry in raw:
            if entry.number not in done and not self._happened(entry, raw):
                continue
            known.add(entry)
        self._known = known
        return known

    def _count(self, entry: Entry) -> None:
        """Remember a change just made, rather than read the whole file again."""
        self._highest = max(self._highest, entry.number)
        self._known.add(entry)
        self._known.size = self.path.stat().st_size

    def _happened(self, entry: Entry, raw: Sequence[Entry]) -> bool:
        """Whether an entry without its mark reached its file: by what came next, else by the file itself."""
        later = next((e for e in raw if e.file == entry.file and e.number > entry.number), None)
        if entry.photo:
            there = (self.folder / entry.file).exists()
            return later.photo != entry.photo if later is not None else there == (entry.photo == "in")
        if later is not None:
            return later.before == entry.after
        return _sha(self._bytes(entry.file)) == entry.after


def _parsed(path: Path) -> tuple[list[Entry], set[int]]:
    """Entries and the numbers marked as done. A line that a crash cut short is passed over."""
    entries: list[Entry] = []
    done: set[int] = set()
    for line in path.read_bytes().split(b"\n"):
        try:
            data = json.loads(line)
            if "done" in data:
                done.add(int(data["done"]))
                continue
            splice = data.pop("splice")
            bare = Splice(int(splice["at"]), tuple(splice["removed"]), tuple(splice["added"]))
            entries.append(replace(Entry(**data, splice=bare), number=int(data["number"])))
        except (ValueError, TypeError, KeyError):
            continue
    return entries, done


def _as_line(entry: Entry) -> str:
    return json.dumps(asdict(entry), ensure_ascii=True) + "\n"


def _done(entry: Entry) -> str:
    return json.dumps({"done": entry.number}) + "\n"


def _sha(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()


@contextlib.contextmanager
def _held(folder: Path) -> Iterator[None]:
    """An advisory lock on the folder itself, so that no further file is needed; nothing where there is no such lock."""
    try:
        import fcntl
    except ImportError:  # Windows: one server a job, as a rule
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):  # some network drives know no locks
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)
