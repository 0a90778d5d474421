"""Where to drill: poses, verdicts, holes that are there already, arcs, and how sure it all is."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from measure.body.stand import Stand
from measure.result import as_json
from measure.setup.drill import drill, drill_plan
from measure.setup.drill_result import DrillPlan, exit_status
from measure.setup.plumb_marks import plumb_marks, seen_from_car
from measure.survey import survey as surveyed_stage
from tests.benchmarks.drilling import in_car, marked, outcome
from tests.setup.drilled_car import CROSSMEMBER, Drilled, drilled_car

X = -1180.0 + 40.0  # station of the mount in the design's axes


def made(folder: Path, seed: int = 5, **kinds: Any) -> tuple[Drilled, DrillPlan]:
    car = drilled_car(folder, np.random.default_rng(seed), **kinds)
    return car, drill(folder)


def test_a_straight_car_takes_the_mount_central_and_square(tmp_path):
    _, plan = made(tmp_path, mount={"template": True})
    (mount,) = plan.mounts
    assert (mount.offset, mount.square_deg, mount.why) == (0.0, 0.0, "central")
    assert mount.verdict == "within" and exit_status(plan) == 0
    assert mount.offset_u95 < 3 and (mount.square_u95 or 9) < 0.2 and mount.fit_u95 < (mount.fit_limit or 0)
    for hole, (name, x, y, *_) in zip(plan.holes, CROSSMEMBER, strict=True):
        assert (hole.hole, hole.y) == (name, pytest.approx(y)) and hole.x == pytest.approx(mount.x + x)
        assert hole.status == "drill" and 60 <= hole.crossing_deg <= 120
        assert all(arc.length % 0.5 == 0 for arc in hole.arcs) and len({arc.mark for arc in hole.arcs}) == 2
        assert hole.check is not None and hole.check.mark not in {arc.mark for arc in hole.arcs}
    first = plan.holes[0]
    assert first.z == pytest.approx(-20.0 - 300.0, abs=40) and first.u95[2] is not None


def test_the_arcs_lead_to_the_hole(tmp_path):
    """Struck with a perfect hand from where the marks truly are, checked against the third length."""
    car, plan = made(tmp_path)
    for hole in plan.holes:
        place = marked(car, hole, None)
        there = in_car(car, place, hole.z or 0.0)
        assert abs(there[0] - hole.x) < (hole.u95[0] or 0) and abs(there[1] - hole.y) < (hole.u95[1] or 0)
        assert hole.check is not None
        read = np.linalg.norm(place - car.sheet.floor[hole.check.mark])
        assert abs(read - hole.check.length) < hole.check.u95


def test_every_interval_holds_as_often_as_it_says(tmp_path):
    """25 cars here; python -m tests.benchmarks.drilling runs 300."""
    ones = []
    for seed in range(25):
        rng = np.random.default_rng([11, seed])
        car = drilled_car(tmp_path / str(seed), rng, round_to=None, roll_deg=0.8, pitch_deg=-0.5)
        ones.append(outcome(car, drill(tmp_path / str(seed)), rng))
    for rows, least in (("x", 0.88), ("y", 0.88), ("z", 0.84), ("check", 0.88)):
        table = np.array([row for one in ones for row in getattr(one, rows)])
        assert np.mean(np.abs(table[:, 0]) <= table[:, 1]) >= least, rows
    for rows in ("offset", "square"):
        table = np.array([getattr(one, rows) for one in ones])
        assert np.mean(np.abs(table[:, 0]) <= table[:, 1]) >= 0.84, rows
    assert np.mean([inside for one in ones for inside in one.in_ellipse]) >= 0.88


def test_the_axes_of_the_plan_are_those_of_the_check(tmp_path):
    drilled_car(tmp_path, np.random.default_rng(5))
    surveyed = surveyed_stage(tmp_path)
    standing = surveyed.standing
    assert isinstance(standing, Stand)
    marks = plumb_marks(surveyed, standing, np.zeros(2))
    (seen,) = seen_from_car(surveyed.job, standing, marks)
    count = len(standing.points.names)
    assert np.allclose(seen.frame.xyz[:count], standing.frame.xyz, atol=1e-9)
    ours, theirs = (f.sources.effects[: 3 * count] for f in (seen.frame, standing.frame))
    assert np.allclose(ours @ ours.T, theirs @ theirs.T, atol=1e-9)
    u = surveyed.solved.final.network.unknowns
    assert np.allclose(marks.xy, surveyed.solved.final.state.marks[[u.mark_idx[n] for n in marks.names]])


def test_one_drop_of_the_bob_a_hole_leaves_a_tight_bolt_undecided_and_says_what_to_do(tmp_path):
    _, plan = made(tmp_path)
    (mount,) = plan.mounts
    assert mount.fit_verdict == "undecided" and exit_status(plan) == 3
    assert {hole.status for hole in plan.holes} == {"not yet"} and all(len(hole.arcs) == 2 for hole in plan.holes)
    assert "template" in mount.next[0].act and (mount.next[0].u95 or 9) < (mount.fit_limit or 0)


def test_more_drops_a_slot_or_an_oversize_let_it_be_drilled(tmp_path):
    for i, mount in enumerate(({"drops": 4, "oversize": 2.0}, {"slot": 2.0})):
        _, plan = made(tmp_path / str(i), mount=mount)
        assert exit_status(plan) == 0, plan.mounts[0].words


def test_a_pulled_rail_takes_the_mount_off_centre_by_the_least_that_fits(tmp_path):
    damage = {"rail2L": (0, -10.0, 0), "rail3L": (0, -7.0, 0)}
    _, plan = made(tmp_path, mount={"width": 880.0, "clearance": 12.0, "template": True}, car={"damage": damage})
    (mount,) = plan.mounts
    assert mount.why == "rails" and mount.offset < -0.5 and "least that fits" in mount.words
    assert mount.gap_L == pytest.approx(12.0, abs=1e-6) and (mount.gap_R or 0) > 12.0
    assert mount.verdict != "within"


def test_a_mount_far_out_between_rails_may_not_be_drilled(tmp_path):
    damage = {"rail2L": (0, -25.0, 0), "rail3L": (0, -25.0, 0)}
    _, plan = made(tmp_path, mount={"width": 880.0, "clearance": 4.0, "template": True}, car={"damage": damage})
    assert exit_status(plan) == 1 and "may not be drilled" in plan.mounts[0].words


def test_the_other_side_follows_the_pilot_as_drilled(tmp_path):
    """Square to the centreline, shifted with the pilot; the offset that stays is told."""
    _, plan = made(tmp_path, pilots={"fl": (X + 42.0, 411.0, -20.0)}, drops=2, mount={"template": True})
    (mount,) = plan.mounts
    there = next(p for p in plan.points if p.name == "fl")
    by_name = {hole.hole: hole for hole in plan.holes}
    assert mount.why == "pilot" and mount.square_deg == 0.0
    assert mount.offset == pytest.approx(there.y - 410.0, abs=1e-9) and "mm to the left" in mount.words
    assert by_name["fr"].x == pytest.approx(there.x) and by_name["fr"].y == pytest.approx(there.y - 820.0)
    assert by_name["fl"].status == "there already" and by_name["fl"].existing is not None
    assert by_name["fl"].u95[1] != by_name["fr"].u95[1]


def test_a_pilot_far_to_one_side_of_limits_is_outside(tmp_path):
    _, plan = made(tmp_path, pilots={"fl": (X + 40.0, 418.0, -20.0)}, drops=2)
    assert exit_status(plan) == 1 and plan.mounts[0].offset == pytest.approx(8.0, abs=2.5)
    assert all(len(hole.arcs) == 2 for hole in plan.holes)


def test_holes_on_both_sides_are_used_slotted_or_drilled_anew(tmp_path):
    holes = {"fl": 410.5, "fr": -409.5, "rl": 410.5, "rr": -397.0}
    pilots = {n: (X + (40.0 if n[0] == "f" else -40.0), y, -20.0) for n, y in holes.items()}
    _, plan = made(tmp_path, pilots=pilots, drops=3, mount={"slot": 3.0}, plumb=0.3)
    use = {hole.hole: hole.existing.verdict for hole in plan.holes if hole.existing is not None}
    assert use["rr"] == "redrill" and {use[n] for n in ("fl", "fr", "rl")} <= {"use", "slot"}
    assert plan.mounts[0].why == "holes"
    anew = next(h.existing for h in plan.holes if h.hole == "rr")
    assert anew is not None and "welded shut" in anew.words and anew.off == pytest.approx(12.5, abs=2.5)


def test_holes_that_would_set_the_mount_out_of_limits_are_not_followed(tmp_path):
    pilots = {n: (X + x, y + 12.0, -20.0) for n, x, y, *_ in CROSSMEMBER}
    _, plan = made(tmp_path, pilots=pilots, drops=2)
    assert plan.mounts[0].why == "central" and plan.mounts[0].offset == 0.0
    assert {hole.existing.verdict for hole in plan.holes if hole.existing is not None} == {"redrill"}


def test_inches_come_in_32nds(tmp_path):
    _, plan = made(tmp_path, units="in", round_to=25.4 / 16)
    for hole in plan.holes:
        for arc in hole.arcs:
            assert (arc.length / 25.4 * 32) % 1 == pytest.approx(0, abs=1e-9) or arc.length / 25.4 * 32 % 1 > 1 - 1e-9
        assert '"' in hole.words


def test_without_heights_no_height_is_given(tmp_path):
    _, plan = made(tmp_path, heights=False)
    assert all(hole.z is None and hole.u95[2] is None for hole in plan.holes) and plan.mounts[0].z is None
    with_heights = made(tmp_path / "h")[1].mounts[0]
    assert plan.mounts[0].offset_u95 > with_heights.offset_u95
    assert any("heights" in step.act for step in plan.mounts[0].next)


def test_a_mount_may_be_placed_from_an_axle(tmp_path):
    holes = [("a", 0.0, 380.0, 0.0, 14.0, 10.0), ("b", 0.0, -380.0, 0.0, 14.0, 10.0)]
    _, plan = made(tmp_path, mount={"from": "axle:rear", "ahead": 100.0}, holes=holes)
    ends = [p for p in plan.points if p.part == "axle:rear"]
    assert plan.mounts[0].x == pytest.approx(np.mean([p.x for p in ends]) + 100.0)


def test_a_car_without_marks_is_told_to_drop_the_bob(tmp_path):
    names = [f"{key}{side}" for key in ("outrigger", "rail1", "rail2", "crossbar", "rail3", "rail4") for side in "LR"]
    _, plan = made(tmp_path, tapes=0, heights=False, xyz={"a": names})
    assert not plan.marks_dropped and any("no plumb marks" in caution for caution in plan.cautions)


def test_without_rails_gaps_are_null(tmp_path):
    made(tmp_path)
    table = (tmp_path / "points.csv").read_text().replace(",rail\n", ",reference\n")
    (tmp_path / "points.csv").write_text(table)
    plan = drill(tmp_path)
    assert plan.mounts[0].gap_L is None and plan.mounts[0].gap_R is None


def test_an_ambiguous_centreline_settles_nothing(tmp_path):
    """Three pairs, one of them pulled: any two of the three may be true."""
    car = {"pairs": 3, "build": 0.3, "damage": {"tail": (0.0, 11.0, 0.0)}}
    drilled_car(
        tmp_path, np.random.default_rng(3), car=car, mount={"from": "rail1", "ahead": 200.0, "template": True},
        tapes=27, plumb=0.2, tape_sd=0.1, heights_sd=0.2, round_to=None,
    )  # fmt: skip
    surveyed = surveyed_stage(tmp_path)
    assert surveyed.standing is not None and surveyed.standing.centreline.ambiguous
    plan = drill_plan(surveyed)
    assert exit_status(plan) == 3 and "two centrelines" in plan.mounts[0].words
    assert "not settled" in plan.mounts[0].next[0].act


def test_the_document_holds_what_design_names(tmp_path):
    _, plan = made(tmp_path)
    document = json.loads(as_json(plan))  # type: ignore[arg-type]
    assert set(document["mounts"][0]) >= {"name", "square_deg", "offset", "gap_L", "gap_R", "verdict", "words"}
    hole = document["holes"][0]
    assert set(hole) >= {"mount", "hole", "x", "y", "z", "u95", "arcs", "check", "side"}
    assert set(hole["arcs"][0]) == {"mark", "length"} and {"mark", "length"} <= set(hole["check"])
    assert hole["side"] in ("left", "right") and len(hole["u95"]) == 3
    assert as_json(plan) == as_json(drill(tmp_path))  # type: ignore[arg-type]


def test_the_usual_cautions_are_always_there(tmp_path):
    _, plan = made(tmp_path, mount={"template": True})
    told = " ".join(plan.cautions)
    for words in ("Pilot first", "crush sleeve", "load spreader", "fuel and brake lines", "local codes"):
        assert words in told


def test_two_pilots_that_do_not_belong_together_stop_the_job(tmp_path):
    pilots = {"fl": (X + 46.0, 410.0, -20.0), "rl": (X - 46.0, 410.0, -20.0)}
    _, plan = made(tmp_path, pilots=pilots, plumb=0.2, drops=2, mount={"template": True})
    assert plan.mounts[0].why == "pilot" and exit_status(plan) == 1
    assert {hole.existing.verdict for hole in plan.holes if hole.existing is not None} == {"redrill"}


def test_a_pilot_is_drilled_out(tmp_path):
    drilled_car(tmp_path, np.random.default_rng(5), plumb=0.2, drops=2,
                pilots={"fl": (X + 40.2, 410.2, -20.0), "rl": (X - 40.2, 410.2, -20.0)})  # fmt: skip
    table = (tmp_path / "points.csv").read_text().splitlines()
    table = [f"{row},{'hole' if i == 0 else 4 if 'mount:' in row else ''}" for i, row in enumerate(table)]
    (tmp_path / "points.csv").write_text("\n".join(table) + "\n")
    told = [hole.existing.words for hole in drill(tmp_path).holes if hole.existing is not None]
    assert len(told) == 2 and all("from 4 to 12.5 mm" in words for words in told)
