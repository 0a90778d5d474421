"""Names or target numbers changed about along the car: the readings fit, and only the pairs tell."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from measure.check import check
from measure.findings import BadInput
from tests.web.conftest import SAMPLES


def exchanged(job: Path, a: str, b: str) -> Path:
    """The photographed sample with the targets of two points changed about."""
    shutil.copytree(SAMPLES / "photo_car", job)
    table = job / "before" / "targets.csv"
    text = (
        table.read_text(encoding="utf-8").replace(f",{a},", ",*,").replace(f",{b},", f",{a},").replace(",*,", f",{b},")
    )
    table.write_text(text, encoding="utf-8")
    return job


@pytest.mark.parametrize(
    ("a", "b"), [("rail1L", "rail2L"), ("outriggerL", "rail1R"), ("stand1", "tailL"), ("rail4R", "tailR")]
)
def test_two_targets_changed_about_are_named_and_nothing_is_judged(tmp_path: Path, a: str, b: str) -> None:
    with pytest.raises(BadInput) as refused:
        check(exchanged(tmp_path / "car", a, b))
    told = str(refused.value)  # both members of a pair exchanged with those of another would look the same
    assert " and ".join(sorted((a, b))) in told and "the numbers of their targets changed about?" in told


def test_a_target_exchanged_with_a_bars_is_at_least_said_to_be_astray(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"rail1L stands \d+ mm ahead of rail1R"):
        check(exchanged(tmp_path / "car", "rail1L", "bar1a"))


def test_left_and_right_of_a_pair_are_asked_about(tmp_path: Path) -> None:
    doc = check(exchanged(tmp_path / "car", "rail3L", "rail3R"))
    assert any("rail3L stands to the right of rail3R: are the two changed about?" in told for told in doc.cautions)


def test_a_pair_far_to_one_side_is_refused_though_photographs_place_it(tmp_path: Path) -> None:
    """A bar's end taken for a point abreast of it: nothing is ahead, and the pair a hand's breadth to one side."""
    job = exchanged(tmp_path / "car", "rail4L", "bar1b")
    table = job / "before" / "tape.csv"
    lines = table.read_text(encoding="utf-8").splitlines(keepends=True)
    table.write_text("".join(line for line in lines if "bar1b" not in line), encoding="utf-8")
    with pytest.raises(
        BadInput, match=r"rail4L and rail4R stand \d+ mm to the left; bar1b and rail4L: are their names"
    ):
        check(job)
