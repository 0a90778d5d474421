"""The sample car with a crossmember: what its maker writes, and what the command says of it."""

from __future__ import annotations

import tomllib

import pytest

from measure.setup.drill import drill
from measure.setup.drill_result import exit_status
from tests.make_drilled_car import NAME, main
from tests.make_sample_data import SAMPLE_DATA


def test_the_sample_is_what_the_script_writes(tmp_path):
    main(tmp_path)
    made = {path.relative_to(tmp_path): path.read_bytes() for path in tmp_path.rglob("*.*")}
    assert len(made) >= 7
    for name, data in made.items():
        assert (SAMPLE_DATA / name).read_bytes() == data, f"{name}: run python -m tests.make_drilled_car"


def test_before_any_hole_it_may_be_drilled():
    plan = drill(SAMPLE_DATA / NAME)
    assert exit_status(plan) == 0 and plan.mounts[0].why == "central"


def test_the_other_side_follows_the_pilot():
    plan = drill(SAMPLE_DATA / NAME, "pilot")
    truth = tomllib.loads((SAMPLE_DATA / NAME / "truth.toml").read_text())["pilot"]
    (mount,) = plan.mounts
    assert mount.why == "pilot" and mount.offset == pytest.approx(truth["aside"], abs=mount.offset_u95)
    assert exit_status(plan) in (0, 3)
