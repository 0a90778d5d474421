"""The bytes of a person's file, and the text in them; what is no text is told, never guessed at."""

from __future__ import annotations

import codecs
import re
import stat
from pathlib import Path

from measure.findings import Findings

LARGEST = 20_000_000
"""Bytes of a table: a hundred times the largest sheet anyone fills in by hand."""

_WIDE_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE, codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)
_KNOWN_STARTS = {
    b"PK\x03\x04": "a spreadsheet or zip archive",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet or one with a password",
    b"%PDF": "a PDF",
    b"\xff\xd8\xff": "a photograph",
    b"\x89PNG": "a picture",
}
_CONTROL = re.compile("[\x00-\x08\x0b\x0e-\x1f\x7f]")


def check_folder(path: Path, shown: str, absent: str, findings: Findings) -> bool:
    """Whether `path` is a folder whose files can be listed; an error where it is not.

    `shown` is what the findings call it, `absent` what would do where there is none.
    """
    try:
        next(path.iterdir(), None)
    except NotADirectoryError:
        findings.error(shown, None, None, "a file", "a folder belongs in its place")
    except FileNotFoundError:
        findings.error(shown, None, None, "no such folder", absent)
    except (OSError, ValueError) as problem:
        findings.error(shown, None, None, "an unreadable folder", f"check its permissions ({_reason(problem)})")
    else:
        return True
    return False


def read_bytes(
    path: Path, file: str, findings: Findings, *, absent: str = "write it, or check the name"
) -> bytes | None:
    """The bytes of a file of at most 20 MB; None and an error where there is no such thing to read.

    `file` is what the findings call it, `absent` what would do where there is none. Pipes and devices are
    refused, since reading them may never end.
    """
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            findings.error(file, None, None, "a folder", "put a file of this name in its place")
            return None
        if not stat.S_ISREG(status.st_mode):
            findings.error(file, None, None, "a pipe or device", "put a plain file in its place")
            return None
        if status.st_size > LARGEST:
            found = f"{status.st_size / 1e6:.0f} MB"
            findings.error(file, None, None, found, f"a table stays under {LARGEST / 1e6:.0f} MB")
            return None
        return path.read_bytes()
    except FileNotFoundError:
        findings.error(file, None, None, "no such file", absent)
    except (OSError, ValueError) as problem:
        would_do = f"check its permissions, and that no program holds it open ({_reason(problem)})"
        findings.error(file, None, None, "an unreadable file", would_do)
    return None


def decode(data: bytes, file: str, findings: Findings, *, only_utf8: bool = False) -> str | None:
    """The text of a file: UTF-8, else Western European (cp1252) with a note unless `only_utf8`.

    A byte-order mark is taken off with a note. None and an error for UTF-16, NUL bytes and binary data.
    """
    save_as = "save it as UTF-8 text" if only_utf8 else 'save the table as "CSV UTF-8"'
    if data.startswith(codecs.BOM_UTF8):
        data = data[len(codecs.BOM_UTF8) :]
        findings.note(file, None, None, "a byte-order mark", "it was skipped")
    elif data.startswith(_WIDE_MARKS) or _every_other_byte_is_zero(data):
        findings.error(file, None, None, "UTF-16 text", save_as)
        return None
    for start, what in _KNOWN_STARTS.items():
        if data.startswith(start):
            findings.error(file, None, None, what, f"{save_as}, or give the file its own ending (.xlsx)")
            return None
    text = _text(data, file, findings, save_as, only_utf8)
    if text is None:
        return None
    if stray := _CONTROL.search(text):
        line = 1 + len(re.findall("\r\n|\r|\n", text[: stray.start()]))
        what = "a NUL byte" if stray[0] == "\0" else f"a control character (code {ord(stray[0])})"
        would_do = f"the file is damaged or no text: {save_as}"
        findings.error(file, line, None, what, would_do)
        return None
    return text


def _reason(problem: Exception) -> str:
    return getattr(problem, "strerror", None) or str(problem)


def _text(data: bytes, file: str, findings: Findings, save_as: str, only_utf8: bool) -> str | None:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as problem:
        line = 1 + data[: problem.start].count(b"\n")
        if not only_utf8:
            try:
                text = data.decode("cp1252")
            except UnicodeDecodeError:
                pass
            else:
                if not _CONTROL.search(text):
                    would_do = f"it was read as Western European (cp1252); {save_as} if letters look wrong"
                    findings.note(file, line, None, "letters that are not UTF-8", would_do)
                    return text
        findings.error(file, line, None, "bytes that are not UTF-8 text", save_as)
        return None


def _every_other_byte_is_zero(data: bytes) -> bool:
    """UTF-16 without its mark: Latin text leaves one byte of each two at zero."""
    head = data[:400]
    return len(head) >= 4 and max(head[0::2].count(0), head[1::2].count(0)) > 0.8 * (len(head) // 2)
