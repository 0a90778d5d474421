"""The commands `pattern` and `corrections`: words, JSON, drawing, exit status."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from measure.cli import main
from tests.make_charted_car import NAME
from tests.make_sample_data import SAMPLE_DATA


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


@pytest.mark.parametrize(
    ("command", "name", "status", "says"),
    [
        ("pattern", "pulled_rail", 1, "the rear from rail4 rearward stands 11."),
        ("pattern", NAME, 1, "the right side from rail4 rearward stands 1"),
        ("pattern", "straight_saloon", 0, "No pattern: nothing says that a part of this body moved."),
        ("corrections", "pulled_rail", 1, "Settle first which it is"),
        ("corrections", NAME, 1, "1. Bring the right side from rail4 rearward out by 1"),
        ("corrections", "straight_saloon", 0, "Nothing to correct."),
    ],
)
def test_the_words_for_the_shop(command: str, name: str, status: int, says: str) -> None:
    made = run(command, str(SAMPLE_DATA / name))
    assert made.exit_code == status, made.output
    assert says in " ".join(made.output.split())


def test_corrections_carry_the_caution() -> None:
    assert "licensed work in many places" in " ".join(run("corrections", str(SAMPLE_DATA / NAME)).output.split())


@pytest.mark.parametrize("command", ["pattern", "corrections"])
def test_one_json_document(command: str) -> None:
    made = run(command, str(SAMPLE_DATA / "pulled_rail"), "--json")
    assert json.loads(made.stdout)["stage"] == "before"


@pytest.mark.parametrize("command", ["pattern", "corrections"])
@pytest.mark.parametrize("suffix", [".svg", ".png"])
def test_the_drawing_is_the_same_each_time(tmp_path: Path, command: str, suffix: str) -> None:
    for name in ("a", "b"):
        made = run(command, str(SAMPLE_DATA / "pulled_rail"), "--out", str(tmp_path / f"{name}{suffix}"))
        assert made.exit_code == 1 and f"wrote {tmp_path / name}{suffix}" in made.output
    assert (tmp_path / f"a{suffix}").read_bytes() == (tmp_path / f"b{suffix}").read_bytes()


def test_a_drawing_of_another_kind_is_refused(tmp_path: Path) -> None:
    made = run("pattern", str(SAMPLE_DATA / NAME), "--out", str(tmp_path / "plan.bmp"))
    assert made.exit_code == 2 and "end the name in .svg or .png" in made.output


def test_a_job_that_is_not_there_is_refused(tmp_path: Path) -> None:
    made = run("corrections", str(tmp_path / "nothing"))
    assert made.exit_code == 2 and "Traceback" not in made.output
