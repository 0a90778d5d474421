"""`compare` from files to words, and what it refuses."""

from __future__ import annotations

import json
import shutil
from copy import deepcopy
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from measure.cli import main
from measure.compare.document import compare_folders, compare_stages
from measure.compare.result import exit_status
from measure.findings import BadInput
from tests.make_compared_car import MOVED, repaired_car, surveys, write
from tests.make_compared_car import main as make_sample
from tests.make_sample_data import SAMPLE_DATA
from tests.synthetic import Car, make_car, survey, write_job

SAMPLE = SAMPLE_DATA / "repaired_sill"
KEYS = ["job", "before", "after", "stable", "ambiguous", "alternatives", "movements", "version", "inputs_sha256"]
MOVEMENT_KEYS = ["name", "dx", "dy", "dz", "length", "u95", "significant", "could_be", "smallest_seen", "verdict"]


def run(*words: object) -> Result:
    result = CliRunner().invoke(main, ["compare", *map(str, words)])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return Path(shutil.copytree(SAMPLE, tmp_path / "job"))


def xyz_survey(car: Car, seed: int, stage: str, sd: float = 0.2, **more: object):  # type: ignore[no-untyped-def]
    names = [m.name for m in car.meta]
    return survey(
        car, np.random.default_rng(seed), tapes=0, heights=False, xyz={"here": names}, xyz_sd=sd, stage=stage, **more
    )  # type: ignore[arg-type]


def plain(car: Car, moved: dict[str, tuple[float, float, float]]) -> Car:
    changed = deepcopy(car)
    for name, shift in moved.items():
        changed.points[changed.idx(name)] += shift
    return changed


def test_the_sample_is_what_its_maker_writes(tmp_path: Path) -> None:
    make_sample(tmp_path)
    made = {p.relative_to(tmp_path): p.read_bytes() for p in tmp_path.rglob("*.*") if p.is_file()}
    assert len(made) == 7
    for name, data in made.items():
        assert (SAMPLE_DATA / name).read_bytes() == data, f"{name}: run python -m tests.make_compared_car"


def test_the_sample_says_what_was_built_in() -> None:
    found = compare_stages(SAMPLE, "before", "after")
    by_name = {m.name: m for m in found.movements}
    assert {n for n, m in by_name.items() if m.verdict == "moved"} == set(MOVED)
    assert sum(m.verdict == "held" for m in by_name.values()) >= 8
    assert set(found.stable).isdisjoint(MOVED)
    assert found.frame == "car" and not found.plan_only and not found.ambiguous and not found.global_test.passed
    for name, m in by_name.items():
        off = np.array([m.dx, m.dy, m.dz]) - MOVED.get(name, (0.0, 0.0, 0.0))
        # the car's axes are turned a little from the design's: 0.3 degrees of 10 mm
        assert (np.abs(off) <= 1.6 * np.array(m.u95) + 0.1).all(), name
    assert by_name["rail4L"].words.startswith("the rear end of the left rail (rail4L) moved 6.3 mm to the left")
    assert "could be as much as" in by_name["tailL"].words


def test_the_commands_answer_and_touch_nothing(job: Path, tmp_path: Path) -> None:
    before = {p: p.read_bytes() for p in job.rglob("*.*") if p.is_file()}
    text, document = run(job, "before", "after", "-v"), run(job, "before", "after", "--json")
    assert (text.exit_code, document.exit_code) == (1, 1)
    assert "MOVED      tailL, rail4L" in text.stdout
    assert "degrees of freedom" in text.stdout
    figures = json.loads(document.stdout)
    assert set(KEYS) <= set(figures)
    assert all(set(MOVEMENT_KEYS) <= set(m) for m in figures["movements"])
    assert figures["inputs_sha256"]["before"] != figures["inputs_sha256"]["after"]
    assert run(job, "before", "after", "--json").stdout == document.stdout
    assert {p: p.read_bytes() for p in job.rglob("*.*") if p.is_file()} == before
    for name in ("moves.svg", "moves.png"):
        assert run(job, "before", "after", "--out", tmp_path / name).exit_code == 1
        assert (tmp_path / name).stat().st_size > 10_000
        first = (tmp_path / name).read_bytes()
        run(job, "before", "after", "--out", tmp_path / name)
        assert (tmp_path / name).read_bytes() == first
    odd = run(job, "before", "after", "--out", tmp_path / "moves.gif")
    assert odd.exit_code == 2 and ".svg or .png" in odd.stderr
    assert not (tmp_path / "moves.gif").exists()


def test_the_other_way_round_everything_moves_back(job: Path) -> None:
    there, back = compare_stages(job, "before", "after"), compare_stages(job, "after", "before")
    assert set(there.stable) == set(back.stable)
    for a in there.movements:
        b = next(m for m in back.movements if m.name == a.name)
        assert a.verdict == b.verdict
        assert b.length == pytest.approx(a.length, abs=0.05)
        assert b.dy == pytest.approx(-(a.dy or 0.0), abs=0.15)


def test_nothing_moved_and_all_held(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(1))
    folder = write(tmp_path / "job", xyz_survey(car, 2, "before"), xyz_survey(car, 3, "after"), {}, "still")
    found = compare_stages(folder, "before", "after")
    assert {m.verdict for m in found.movements} == {"held"}
    assert exit_status(found) == 0
    assert found.global_test.passed
    assert all(m.could_be is not None and m.could_be < 3.0 for m in found.movements)


def test_two_folders_with_a_stage_each_and_other_instruments(tmp_path: Path) -> None:
    """Tape and heights before, points in space after; another datum, another order, one point more."""
    car = make_car(np.random.default_rng(5))
    after = plain(car, {"tailR": (0.0, -12.0, 0.0)})
    one = write_job(tmp_path / "one", car, survey(car, np.random.default_rng(6), tapes=75, drops=2))
    sheet = xyz_survey(after, 7, "later", 0.4)
    sheet.points.append({"name": "extraL", "side": "L", "part": ""})
    sheet.xyz.append({"setup": "here", "point": "extraL", "x": 1.0, "y": 2.0, "z": 3.0})
    two = write_job(tmp_path / "two", after, sheet)
    found = compare_folders(one, two)
    assert [m.name for m in found.movements if m.verdict == "moved"] == ["tailR"]
    assert (found.before, found.after) == ("one/before", "two/later")
    assert found.only_after == ["extraL"]
    assert "supported" in found.differences[0]
    assert run(one, two).exit_code == 1


def test_without_heights_the_answer_is_in_plan(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(8))
    after = plain(car, {"tailL": (0.0, 25.0, 0.0)})
    sheets = (
        survey(car, np.random.default_rng(9), tapes=75, drops=2, heights=False),
        survey(after, np.random.default_rng(10), tapes=75, drops=2, heights=False, stage="after"),
    )
    found = compare_stages(write(tmp_path / "job", *sheets, {}, "flat"), "before", "after")
    assert found.plan_only
    assert all(m.dz is None and m.u95[2] is None for m in found.movements)
    assert [m.name for m in found.movements if m.verdict == "moved"] == ["tailL"]
    assert any("in plan" in caution for caution in found.cautions)


def test_a_lean_that_nobody_measured_is_no_movement(tmp_path: Path) -> None:
    """Plan against plan: a car that leans by 0.7 degrees more shows 3 mm at points 300 mm higher."""
    car = make_car(np.random.default_rng(8))
    sheets = (
        survey(car, np.random.default_rng(9), tapes=75, drops=3, plumb=0.3, heights=False, roll_deg=0.4),
        survey(
            car, np.random.default_rng(10), tapes=75, drops=3, plumb=0.3, heights=False, roll_deg=-0.3, stage="after"
        ),
    )
    found = compare_stages(write(tmp_path / "job", *sheets, {}, "leans"), "before", "after")
    assert {m.verdict for m in found.movements} <= {"held", "undecided"}
    assert not any(m.significant for m in found.movements)


def test_without_pairs_the_network_is_the_frame(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(11), axle=False)
    after = plain(car, {"rail4L": (0.0, 0.0, 14.0)})
    sheets = xyz_survey(car, 12, "before", 0.3), xyz_survey(after, 13, "after", 0.3)
    for sheet in sheets:
        for row in sheet.points:
            row["side"] = "C"
    found = compare_stages(write(tmp_path / "job", *sheets, {}, "no pairs"), "before", "after")
    assert found.frame == "network"
    assert [m.name for m in found.movements if m.verdict == "moved"] == ["rail4L"]


def test_front_or_rear(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(14), 6, axle=False)
    rear = {m.name: (0.0, 15.0, 0.0) for m in car.meta[6:]}
    sheets = xyz_survey(car, 15, "before", 0.3), xyz_survey(plain(car, rear), 16, "after", 0.3)
    found = compare_stages(write(tmp_path / "job", *sheets, {}, "bent"), "before", "after")
    assert found.ambiguous
    told = " ".join(found.alternatives)
    assert "the front (" in told and "the rear (" in told
    assert {m.verdict for m in found.movements} == {"undecided"}
    assert exit_status(found) == 3
    text = run(tmp_path / "job", "before", "after")
    assert text.exit_code == 3
    assert "The readings leave a choice" in text.stdout


def test_two_parts_of_one_size_are_left_open_whichever_fits_better(tmp_path: Path) -> None:
    """Eight points against eight: how well each part kept its shape says nothing of which of them moved."""
    car = make_car(np.random.default_rng(14))
    rear = {m.name: (3.0, 25.0, -8.0) for m in car.meta[6:14]}
    sheets = (
        survey(car, np.random.default_rng(1), tapes=60, roll_deg=0.4),
        survey(plain(car, rear), np.random.default_rng(2), tapes=60, roll_deg=-0.4, stage="after"),
    )
    found = compare_stages(write(tmp_path / "job", *sheets, {}, "halves"), "before", "after")
    assert found.ambiguous
    assert not any(m.verdict == "moved" for m in found.movements)


def test_how_the_car_stood_is_told_first(job: Path) -> None:
    toml = (job / "job.toml").read_text(encoding="utf-8")
    head, tail = toml.rsplit("supported = ", 1)
    changed = f'{head}supported = "wheels"\nride_height = 390\ntemperature = 31\n'
    changed = changed.replace("[stage.before]", "[stage.before]\nride_height = 402\ntemperature = 9")
    assert "stands" in tail
    (job / "job.toml").write_text(changed, encoding="utf-8")
    out = run(job, "before", "after").stdout
    assert out.index("supported differently") < out.index("Ride height differs") < out.index("MOVED      ")
    assert "grows by 0.6 mm" in out
    (job / "job.toml").write_text(toml.replace("supported", "by_whom", 0).split("[stage.before]")[0], encoding="utf-8")
    assert "Neither stage says" in run(job, "before", "after").stdout


def test_a_single_drop_is_no_ground_to_cut_on(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(17))
    sheets = (
        survey(car, np.random.default_rng(18), tapes=75),
        survey(plain(car, {"tailL": (0.0, 25.0, 0.0)}), np.random.default_rng(19), tapes=75, stage="after"),
    )
    found = compare_stages(write(tmp_path / "job", *sheets, {}, "once"), "before", "after")
    tail = next(m for m in found.movements if m.name == "tailL")
    assert tail.verdict == "moved" and tail.single_drops
    assert any("Drop again before cutting" in caution for caution in found.cautions)


def test_two_names_changed_about_are_told(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(30))
    sheets = xyz_survey(car, 31, "before"), xyz_survey(car, 32, "after")
    other = {"rail4L": "rail4R", "rail4R": "rail4L"}
    for row in sheets[1].xyz:
        row["point"] = other.get(row["point"], row["point"])
    found = compare_stages(write(tmp_path / "job", *sheets, {}, "changed about"), "before", "after")
    assert found.cautions[0].startswith("rail4L lies where rail4R lay, and the other way round")
    assert {m.name for m in found.movements if m.verdict == "moved"} == set(other)


# --- what cannot be compared


def refused(*words: object) -> str:
    result = run(*words)
    assert result.exit_code == 2
    assert not result.stdout
    assert "in the way" in result.stderr
    return result.stderr


def test_left_and_right_changed_about(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(30))
    sheets = xyz_survey(car, 31, "before"), xyz_survey(car, 32, "after")
    for row in sheets[1].xyz:
        row["point"] = row["point"][:-1] + {"L": "R", "R": "L"}[row["point"][-1]]
    assert "left and right" in refused(write(tmp_path / "job", *sheets, {}, "mirrored"), "before", "after")


def test_two_cars_mixed_up(tmp_path: Path) -> None:
    one, other = make_car(np.random.default_rng(20)), make_car(np.random.default_rng(21))
    other.points = other.points * [0.8, 1.2, 0.7] + np.random.default_rng(22).normal(0.0, 30.0, other.points.shape)
    sheets = xyz_survey(one, 23, "before"), xyz_survey(other, 24, "after")
    told = refused(write(tmp_path / "job", *sheets, {}, "two cars"), "before", "after")
    assert "common points off" in told and "is it the same car?" in told


def test_no_point_in_common(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(25))
    one = write_job(tmp_path / "one", car, xyz_survey(car, 26, "before"))
    sheet = xyz_survey(car, 27, "before")
    for row in sheet.points:
        row["name"] = f"my_{row['name']}"
    for row in sheet.xyz:
        row["point"] = f"my_{row['point']}"
    told = refused(one, write_job(tmp_path / "two", car, sheet))
    assert "0 points held in both stages" in told
    assert "did you mean" in told


def test_a_stage_named_wrongly(job: Path) -> None:
    assert 'did you mean "after"' in refused(job, "before", "aftr")
    assert "compared with itself" in refused(job, "after", "after")
    assert "compared with itself" in refused(job, job)
    assert "name both" in refused(job, "after")
    assert "no such folder" in refused(job, job.parent / "nowhere")


def test_what_is_wrong_in_both_stages_is_told_at_once(job: Path) -> None:
    for stage in ("before", "after"):
        with (job / stage / "tape.csv").open("a", encoding="utf-8") as table:
            table.write("tailL,tailR,12x4,floor\n")
    told = refused(job, "before", "after")
    assert "before/tape.csv line" in told and "after/tape.csv line" in told


def test_each_of_two_folders_is_named(job: Path, tmp_path: Path) -> None:
    other = Path(shutil.copytree(job, tmp_path / "other"))
    (other / "points.csv").write_text("nonsense\n", encoding="utf-8")
    with pytest.raises(BadInput, match=r"other/points\.csv"):
        compare_folders(job, other)


def test_surveys_of_the_sample_share_the_factory_scatter() -> None:
    before, after = repaired_car()
    same = [m.name not in MOVED for m in before.meta]
    assert (before.points[same] == after.points[same]).all()
    assert surveys(before, after)[1].settings["stage"] == "after"
