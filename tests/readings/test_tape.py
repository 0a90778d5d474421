"""Taped lengths: what is corrected, how sure each is, and which tape a blank cell means."""

from math import hypot, sqrt
from pathlib import Path

import numpy as np
import pytest

from measure.job import Sd, Tape
from measure.readings.tape import HEIGHT_SPREAD, corrected, scale_sd, spread_in_height
from tests.readings.sites import analytic, job, one_block, random_state, read, reading

FLOOR = [reading("floor", "frontL", "tailR", values=(2500.0,), via="t")]
HEADER = "from,to,length,where,tape,sd,note\n"


def test_zero_temperature_pull_and_sag_are_taken_out() -> None:
    tape = Tape(zero=1.5, temperature=35.0, pull=80.0, area=3.0, weight=0.12)
    readings = [*FLOOR, reading("car", "frontL", "tailR", values=(2500.0,), via="t"), reading("bar", "frontL", "midL")]
    site, _ = one_block(readings, job(tapes={"t": tape}, body=20.0))
    raw = 2500.0 - 1.5
    warm = 1.16e-5 * raw * 15.0
    pulled = raw * (80.0 - 50.0) / (3.0 * 2.0e5)
    sag = -((0.12e-3) ** 2) * raw**3 / (24 * 80.0**2)
    assert sag < -1e-6
    floor, car, bar = corrected(readings, site)
    assert floor == pytest.approx(raw + warm + pulled, abs=1e-9)  # it lies on the floor: no sag
    assert car == pytest.approx(raw + warm + pulled + sag, abs=1e-9)
    assert bar == 1000.0


def test_without_the_body_s_temperature_or_the_section_nothing_is_corrected() -> None:
    for tape in (Tape(temperature=35.0), Tape(pull=80.0), Tape(area=3.0, weight=1.0)):
        site, _ = one_block(FLOOR, job(tapes={"t": tape}))
        assert corrected(FLOOR, site)[0] == 2500.0


def test_a_pull_lighter_than_the_standard_shortens() -> None:
    site, _ = one_block(FLOOR, job(tapes={"t": Tape(pull=20.0, standard_pull=50.0, area=3.0)}))
    assert corrected(FLOOR, site)[0] == pytest.approx(2500.0 - 2500.0 * 30.0 / 6e5)


def test_an_unnamed_tape_of_job_toml_does_not_touch_a_bar() -> None:
    readings = [reading("bar", "frontL", "midL"), reading("floor", "frontL", "tailR")]
    site, _ = one_block(readings, job(tapes={"": Tape(zero=2.0, temperature=40.0)}, body=0.0))
    bar, floor = corrected(readings, site)
    assert bar == 1000.0
    assert floor != 1000.0


def test_sd_is_the_reading_s_and_the_class_constant_s() -> None:
    tapes = {"checked": Tape(sd=1e-5, zero_sd=0.2), "three": Tape(tape_class="III")}
    for via, expected in (("checked", 0.5), ("three", hypot(0.5, 0.6 / sqrt(3))), ("", hypot(0.5, 0.3 / sqrt(3)))):
        _, blocks = one_block([reading("floor", "frontL", "tailR", via=via)], job(tapes=tapes))
        assert blocks[0].sd[0] == pytest.approx(expected), via
    _, blocks = one_block([reading("bar", "frontL", "tailR", sd=0.1)], job(heights={"frontL": 0.0, "tailR": 0.0}))
    assert blocks[0].sd[0] >= 0.1 and blocks[0].sd[0] < 0.15


def test_the_scale_s_prior_is_the_class_slope_over_root_three() -> None:
    assert scale_sd(job(), Tape()) == pytest.approx(0.2e-3 / sqrt(3))
    assert scale_sd(job(sd=Sd(tape_class="I")), Tape()) == pytest.approx(0.1e-3 / sqrt(3))
    assert scale_sd(job(), Tape(tape_class="none")) == 0.0
    assert scale_sd(job(), Tape(sd=3e-6)) == 3e-6
    site, blocks = one_block(FLOOR, job(tapes={"t": Tape(scale=2e-4, sd=3e-6)}))
    prior = next(b for b in blocks if b.rows[0].reading.kind == "scale")
    assert prior.observed[0] == 2e-4 and prior.sd[0] == 3e-6
    assert not prior.rows[0].tested
    assert site.unknowns.tapes == ("t",)


def test_a_zero_that_a_check_found_is_one_unknown_shared_by_all_readings_of_the_tape() -> None:
    readings = [*FLOOR, reading("car", "frontL", "midR", via="t"), reading("bar", "frontL", "midL")]
    site, blocks = one_block(readings, job(tapes={"t": Tape(zero=1.5, zero_sd=0.2)}))
    column = site.unknowns.tape_columns[0, 1]
    priors = [b for b in blocks if not b.rows[0].tested]
    zero = [(b.observed[i], b.sd[i]) for b in priors for i, r in enumerate(b.rows) if r.reading.kind == "zero"]
    assert column >= 0 and zero == [(0.0, 0.2)]  # the zero itself is taken off the readings already
    state = random_state(site, np.random.default_rng(1))
    with_it = {r.reading.kind: J[column] for b in blocks for r, J in zip(b.rows, analytic(b, state), strict=True)}
    assert with_it == {"floor": 1.0, "car": 1.0, "bar": 0.0, "scale": 0.0, "zero": 1.0, "plumb": 0.0}
    # a common offset found in the sheet itself is free: the check's word is what it contradicts
    _, blocks = one_block(readings, job(tapes={"t": Tape(zero=1.5, zero_sd=0.2)}), offset_tapes=frozenset("t"))
    assert all(r.reading.kind != "zero" for b in blocks for r in b.rows)


def test_a_straight_length_over_unknown_heights_is_shortened_and_less_sure() -> None:
    car = [reading("car", "frontL", "tailL", values=(2000.0,))]
    _, blocks = one_block(car, job(sd=Sd(tape_class="none")))
    spread = sqrt(2.0) * HEIGHT_SPREAD
    assert blocks[0].observed[0] == pytest.approx(2000.0 - spread**2 / 4000.0)
    assert blocks[0].sd[0] == pytest.approx(hypot(0.5, spread**2 / (sqrt(2.0) * 2000.0)))
    rng = np.random.default_rng(1)  # mean and scatter of what is taken off, by drawing the rises
    rise = rng.normal(0.0, spread, 400_000)
    drawn = 2000.0 - np.sqrt(2000.0**2 - rise[np.abs(rise) < 1900.0] ** 2)
    assert 2000.0 - blocks[0].observed[0] == pytest.approx(drawn.mean(), rel=0.05)
    assert blocks[0].sd[0] == pytest.approx(drawn.std(), rel=0.15)


def test_known_heights_and_twins_shorten_little() -> None:
    site, _ = one_block([reading("car", "frontL", "tailL")], job(heights={"frontL": 300.0, "tailL": 100.0}))
    assert spread_in_height("frontL", "tailL", site) == (200.0, pytest.approx(sqrt(2.0)))
    site, _ = one_block([reading("car", "frontL", "frontR")], job())
    rise, spread = spread_in_height("frontL", "frontR", site)
    assert rise == 0.0 and spread == pytest.approx(hypot(sqrt(2.0), np.radians(0.5) * 1000.0))
    readings = [reading("car", "frontL", "tailL", values=(2000.0,))]
    _, blocks = one_block(readings, job(heights={"frontL": 300.0, "tailL": 100.0}, sd=Sd(tape_class="none")))
    assert blocks[0].observed[0] == pytest.approx(2000.0 - (200.0**2 + 2.0) / 4000.0)


def test_measured_heights_put_the_chart_s_aside() -> None:
    readings = [reading("car", "frontL", "tailL"), reading("heights", "midL", values=(1.0,))]
    site, _ = one_block(readings, job(heights={"frontL": 300.0, "tailL": 100.0}))
    assert site.assumed_heights == {}


def test_a_blank_cell_means_the_only_tape_and_says_so_once(tmp_path: Path) -> None:
    text = HEADER + "frontL,frontR,1000,floor,,,\nfrontL,tailL,2000,floor,,,\nfrontL,tailR,2000,bar,,,\n"
    readings, findings = read(tmp_path, {"tape": text}, job(folder=tmp_path, tapes={"red": Tape()}))
    assert [r.via for r in readings] == ["red", "red", ""]
    assert not findings.errors
    assert len(findings.notes) == 1 and "red" in findings.notes[0].text()


def test_with_two_tapes_a_blank_cell_is_a_tape_without_a_name(tmp_path: Path) -> None:
    text = HEADER + "frontL,frontR,1000,floor,,,\nfrontL,tailL,2000,car,red,0.3,\n"
    tapes = {"red": Tape(), "blue": Tape()}
    readings, findings = read(tmp_path, {"tape": text}, job(folder=tmp_path, tapes=tapes))
    assert [(r.via, r.sd, r.kind) for r in readings] == [("", 0.5, "floor"), ("red", 0.3, "car")]
    assert not findings.errors


def test_a_blank_length_is_not_measured_yet(tmp_path: Path) -> None:
    text = HEADER + "frontL,frontR,,floor,,,\nfrontL,tailL,2000,floor,,,\nfrontL,tailR,,floor,,,\n"
    readings, findings = read(tmp_path, {"tape": text}, job(folder=tmp_path))
    assert [r.source for r in readings] == ["tape.csv:3"]
    assert not findings.errors and len(findings.notes) == 1
