"""What README.md tells a newcomer to type works, and what it says comes out does come out."""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from calib.board import CODED
from measure.cli import main
from tests.calib.boards import shoot
from tests.make_sample_data import SAMPLE_DATA

README = Path(__file__).parents[1] / "README.md"
FENCED = re.compile(r"^```[a-z]*\n(.*?)^```$", re.MULTILINE | re.DOTALL)
KNOWN_LENGTHS = "known,reading\n" + "".join(f"{k},{k + 0.5}\n" for k in (300, 1000, 2000, 3000))
# what the text beside a command says of the car it is run on
VERDICT = {
    "check sample_data/straight_saloon": 0, "check sample_data/pulled_rail": 1, "check sample_data/rushed_job": 3,
    "check sample_data/photo_car": 1, "check sample_data/charted_saloon": 1, "pattern sample_data/pulled_rail": 1,
    "corrections sample_data/charted_saloon": 1, "compare sample_data/repaired_sill": 1,
    "axle sample_data/axle_setting": 1, "acceptance sample_data/acceptance_bars": 0,
}  # fmt: skip
SHOWN = {
    "acceptance", "axle", "board", "camera", "check", "compare", "corrections", "drill", "driveline", "find", "history",
    "new", "pattern", "plan", "report", "serve", "sheet", "tape", "targets", "verify",
}  # fmt: skip


@dataclass(frozen=True)
class Block:
    """A fenced block: commands, or one command after `$ ` with what it prints."""

    text: str

    @property
    def commands(self) -> list[str]:
        return [line for line in self.text.splitlines() if line.startswith("plumbsquare ")]

    @property
    def pasted(self) -> tuple[str, list[str]] | None:
        first, *rest = self.text.splitlines()
        return (first.removeprefix("$ "), rest) if first.startswith("$ plumbsquare ") else None


def blocks(text: str) -> list[Block]:
    return [Block(found) for found in FENCED.findall(text)]


def all_commands() -> list[str]:
    found = []
    for block in blocks(README.read_text(encoding="utf-8")):
        found += block.commands
        if block.pasted is not None:
            found.append(block.pasted[0])
    return found


def run(command: str) -> tuple[int, str]:
    result = CliRunner().invoke(main, shlex.split(command)[1:])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.output


def measured(job: Path) -> None:
    """Play the hour at the car: the new job's tables filled in, here with those of the straight sample."""
    shutil.copy(SAMPLE_DATA / "straight_saloon" / "points.csv", job)
    for table in (SAMPLE_DATA / "straight_saloon" / "before").iterdir():
        shutil.copy(table, job / "before")
    (job / "before" / "levels.csv").unlink(missing_ok=True)


@pytest.fixture
def newcomer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder like a fresh clone, with the shell in it."""
    shutil.copytree(SAMPLE_DATA, tmp_path / "sample_data")
    (tmp_path / "known_lengths.csv").write_text(KNOWN_LENGTHS)
    (tmp_path / "board_pictures").mkdir()
    shoot(tmp_path / "board_pictures", CODED, 6, np.random.default_rng(1))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_readme_shows_each_command() -> None:
    shown = {command.split()[1] for command in all_commands()}
    assert shown == SHOWN
    assert {" ".join(c.split()[1:3]) for c in all_commands()} >= set(VERDICT)


def test_every_command_works_in_the_order_of_the_walk(newcomer: Path) -> None:
    for command in all_commands():
        name, target = command.split()[1:3]
        if name == "serve":
            continue  # runs until it is stopped; tests/web tries it
        if name == "check" and not target.startswith("sample_data/"):
            measured(newcomer / target)
        status, output = run(command)
        expected = VERDICT.get(f"{name} {target}", 0)
        assert status == expected, f"{command}\n{output}"
        for out in re.findall(r"--out (\S+)", command):
            made = newcomer / out
            assert made.stat().st_size > 0 if made.is_file() else any(made.iterdir())


def pasted() -> Iterator[tuple[str, list[str]]]:
    return (block.pasted for block in blocks(README.read_text(encoding="utf-8")) if block.pasted is not None)


def test_every_pasted_output_is_what_is_printed(newcomer: Path) -> None:
    for command, shown in pasted():
        assert any(line.strip() for line in shown), f"{command}: no output pasted"
        printed = [line.rstrip() for line in run(command)[1].splitlines()]
        at = 0
        for line in (line.rstrip() for line in shown):
            if line.strip() in ("...", "…"):
                continue  # something left out
            assert line in printed[at:], f"{command} does not print, in this place:\n{line}"
            at = printed.index(line, at) + 1


def test_a_wrong_excerpt_would_be_noticed() -> None:
    text = "```\nplumbsquare check a\n```\n\n```\n$ plumbsquare check a\nOUT nothing\n```\n"
    assert [b.commands for b in blocks(text)] == [["plumbsquare check a"], []]
    assert [b.pasted for b in blocks(text)] == [None, ("plumbsquare check a", ["OUT nothing"])]


def test_every_file_the_readme_points_to_is_there() -> None:
    for target in re.findall(r"\]\(([^)#:]+)\)", README.read_text(encoding="utf-8")):
        assert (README.parent / target).exists(), target
