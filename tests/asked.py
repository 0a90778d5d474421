"""`plumbsquare check` asked of a job that is right, spoilt or hardly there, and what must hold whatever it answers."""

from __future__ import annotations

import re
from pathlib import Path

from click.testing import CliRunner, Result

from measure.cli import main
from tests.odd_jobs import Files, job_toml, snapshot, sound, write

EXITS = (0, 1, 2, 3)
TAPE = str(sound()["before/tape.csv"])
FIRST = TAPE.split("\n")[1]  # hornL,hornR,800.0,floor in line 2


def ask(folder: Path, *options: str) -> Result:
    """`plumbsquare check` in this process: never an exception but click's own, and the folder stays as it was."""
    before = snapshot(folder)
    result = CliRunner().invoke(main, ["check", str(folder), *options])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code in EXITS
    assert "Traceback" not in result.output
    assert snapshot(folder) == before
    return result


def refused(folder: Path, files: Files) -> list[str]:
    """The numbered findings of a job that cannot be used."""
    result = ask(write(folder, files))
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    first, *found = result.stderr.rstrip("\n").split("\n")
    assert first.endswith("in the way. Nothing was written.")
    for number, line in enumerate(found, 1):
        assert line.startswith(f"{number}. "), "one numbered list"
        assert "found " in line and "; " in line, "what was found and what would do"
    count = sum(not re.match(r"\d+\. note: ", line) for line in found)
    assert first.startswith(f"{count} thing")
    return [line.partition(". ")[2] for line in found]


def changed(name: str, old: str, new: str) -> Files:
    """A sound job with one thing changed in one file."""
    files = sound()
    text = files[name]
    assert isinstance(text, str) and old in text
    return files | {name: text.replace(old, new, 1)}


def with_length(text: str) -> Files:
    return changed("before/tape.csv", FIRST, f"hornL,hornR,{text},floor")


def with_job(extra: str) -> Files:
    return sound() | {"job.toml": job_toml(extra)}
