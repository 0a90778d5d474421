"""Starting values from readings alone: the right arrangement out of all that lengths allow, on its right side."""

from collections.abc import Mapping, Sequence

import numpy as np
import pytest

from measure.adjust.in_line import adjust_what_is_held
from measure.adjust.stage import ContradictionError, Solved, adjust_stage
from measure.job import Job, Point
from measure.readings.reading import Reading
from measure.rigid_fit import rigid_fit
from tests.adjust.cars import STAGE, adjusted, floor_job, lengths, misfit
from tests.synthetic import Car, Survey, make_car, survey

NEAR = 10.0
"""mm; noise moves a point by some 3 mm, a wrong arrangement by 100 and more."""


def bare(
    places: Mapping[str, Sequence[float]], legs: Sequence[tuple[str, str]], wrong: Mapping[int, float] | None = None
) -> Solved:
    return adjust_stage(floor_job(list(places)), STAGE, lengths(places, legs, wrong=wrong))


def misfit_3d(solved: Solved, survey: Survey) -> np.ndarray:
    u = solved.site.unknowns
    true = np.array([survey.positions[n] for n in u.points])
    R, t = rigid_fit(solved.final.state.positions, true)
    return np.asarray(np.linalg.norm(solved.final.state.positions @ R.T + t - true, axis=1))


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("pairs", "tapes"), [(7, 60), (7, 36), (4, 25), (12, 120)])
def test_a_car_by_lengths_alone(seed: int, pairs: int, tapes: int) -> None:
    rng = np.random.default_rng(seed)
    car = make_car(rng, pairs=pairs)
    sheet = survey(car, rng, tapes=tapes, heights=False)
    _, solved = adjusted(car, sheet)
    assert np.max(misfit(solved, sheet.positions)) < NEAR  # a mirrored car would be off by its width
    assert not solved.suspects and not solved.loose and solved.held.all()


def test_the_car_points_forward_and_its_left_is_left() -> None:
    rng = np.random.default_rng(5)
    car = make_car(rng)
    _, solved = adjusted(car, survey(car, rng, heights=False, yaw_deg=140.0))
    u, xy = solved.site.unknowns, solved.final.state.positions[:, :2]
    front, tail = (xy[[u.point_idx[f"{k}{s}"] for s in "LR"]] for k in ("outrigger", "tail"))
    assert front.mean(axis=0)[0] - tail.mean(axis=0)[0] > 2400.0
    assert front[0, 1] - front[1, 1] > 1100.0


def bipartite(pairs: int, rng: np.random.Generator) -> dict[str, tuple[float, float]]:
    """Pairs that stand askew. (Six points on one conic, as three pairs dead in line are, do not hold each other.)"""
    places = {}
    for k in range(pairs):
        places[f"p{k}L"] = (-500.0 * k + rng.uniform(-180, 180), 450.0 + rng.uniform(-150, 150))
        places[f"p{k}R"] = (-500.0 * k + rng.uniform(-180, 180), -450.0 + rng.uniform(-150, 150))
    return places


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("pairs", [4, 5, 7])
def test_lengths_across_only_hold_a_car_without_one_triangle(pairs: int, seed: int) -> None:
    """K4,4 and larger: rigid, yet no point can be placed from two others."""
    places = bipartite(pairs, np.random.default_rng(seed))
    legs = [(a, b) for a in places for b in places if a[-1] == "L" and b[-1] == "R"]
    solved = bare(places, legs)
    assert not solved.suspects
    assert np.max(misfit(solved, places)) < 0.01


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("tapes", [42, 60])
@pytest.mark.parametrize("wrong", [1000.0, -700.0, 300.0, 10_000.0])
def test_one_gross_misreading_is_found_and_drags_nothing_along(wrong: float, tapes: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    car = make_car(rng)
    sheet = survey(car, rng, tapes=tapes, heights=False)
    k = int(rng.integers(len(sheet.tape)))
    before = float(sheet.tape[k]["length"])
    sheet.tape[k]["length"] = abs(before + wrong)
    _, solved = adjusted(car, sheet)
    assert np.max(misfit(solved, sheet.positions)) < NEAR
    rows = solved.as_stated.network.rows
    named = {rows[i].reading.source for s in solved.suspects for i in (s.rows[0], *s.cannot_tell_from)}
    assert f"tape.csv:{k + 2}" in named
    if not solved.suspects[0].cannot_tell_from:
        assert solved.suspects[0].size == pytest.approx(abs(before + wrong) - before, abs=8.0)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("shared", [3, 4])
def test_two_setups_join_through_shared_points(shared: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    car = make_car(rng)
    names = car.names
    sheet = survey(car, rng, tapes=0, heights=False, xyz={"front": names[: 8 + shared], "rear": names[8:]})
    _, solved = adjusted(car, sheet)
    assert np.max(misfit_3d(solved, sheet)) < 4.0
    assert solved.held.all() and not solved.suspects


@pytest.mark.parametrize("seed", range(4))
def test_two_setups_join_through_floor_tapes_where_heights_say_how_they_lean(seed: int) -> None:
    rng = np.random.default_rng(seed)
    car = make_car(rng)
    sheet = survey(car, rng, tapes=60, xyz={"front": car.names[:8], "rear": car.names[8:]})
    sheet.tape = crossing(car, sheet, rng, 6)
    _, solved = adjusted(car, sheet)
    assert np.max(misfit_3d(solved, sheet)) < NEAR
    assert solved.held.all()


def crossing(car: Car, sheet: Survey, rng: np.random.Generator, tapes: int) -> list[dict[str, object]]:
    """Some of the tapes from the front half to the rear half."""
    rows = [r for r in sheet.tape if (car.idx(r["from"]) < 8) != (car.idx(r["to"]) < 8)]
    return [rows[i] for i in rng.choice(len(rows), tapes, replace=False)]


@pytest.mark.parametrize("seed", range(4))
def test_two_setups_join_through_tapes_from_point_to_point(seed: int) -> None:
    rng = np.random.default_rng(seed)
    car = make_car(rng)
    sheet = survey(car, rng, tapes=0, heights=False, car_tapes=40, xyz={"front": car.names[:8], "rear": car.names[8:]})
    sheet.tape = crossing(car, sheet, rng, 12)
    _, solved = adjusted(car, sheet)
    assert np.max(misfit_3d(solved, sheet)) < 40.0  # weakly held in height, but not elsewhere


@pytest.mark.parametrize("seed", range(4))
def test_marks_for_some_and_tapes_for_the_others(seed: int) -> None:
    rng = np.random.default_rng(seed)
    car = make_car(rng)
    marked = car.names[:6]
    sheet = survey(car, rng, tapes=70, heights=False, marks=marked)
    sheet.tape = [r for r in sheet.tape if not {r["from"], r["to"]} <= set(marked)]
    _, solved = adjusted(car, sheet)
    assert np.max(misfit(solved, sheet.positions)) < NEAR
    u = solved.site.unknowns  # and in the base line's own axes
    for name in marked:
        place = solved.final.state.positions[u.point_idx[name], :2]
        assert place == pytest.approx(sheet.positions[name][:2], abs=6.0)


def test_marks_alone_keep_the_base_line_s_axes() -> None:
    rng = np.random.default_rng(1)
    car = make_car(rng)
    sheet = survey(car, rng, tapes=0, heights=False, marks=True)
    _, solved = adjusted(car, sheet)
    u = solved.site.unknowns
    true = np.array([sheet.positions[n][:2] for n in u.points])
    assert np.max(np.abs(solved.final.state.positions[:, :2] - true)) < 8.0
    assert solved.final.factor.defect == 0


@pytest.mark.parametrize("seed", range(6))
def test_a_point_held_by_two_lengths_stands_on_its_side_or_is_told(seed: int) -> None:
    rng = np.random.default_rng(seed)
    car = make_car(rng)
    sheet = survey(car, rng, tapes=50, heights=False)
    who = str(rng.choice(car.names))
    mine = [i for i, r in enumerate(sheet.tape) if who in (r["from"], r["to"])]
    keep = set(rng.choice(mine, 2, replace=False).tolist())
    sheet.tape = [r for i, r in enumerate(sheet.tape) if i not in mine or i in keep]
    _, solved = adjusted(car, sheet)
    told = {n for part in solved.loose for n in part.points}
    held = [n for n, h in zip(solved.site.unknowns.points, solved.held, strict=True) if h]
    assert told <= {who} and set(held) == set(car.names) - told
    assert np.max(misfit(solved, sheet.positions, only=held)) < 4 * NEAR


CROSS = {"aL": (0.0, 400.0), "aR": (0.0, -400.0), "bL": (-900.0, 420.0), "bR": (-905.0, -415.0)}
WEB = [(a, b) for i, a in enumerate(CROSS) for b in list(CROSS)[i + 1 :]]


@pytest.mark.parametrize("y", [700.0, 150.0])
def test_a_left_point_on_two_lengths_is_put_to_the_left(y: float) -> None:
    places = CROSS | {"endL": (-450.0, y)}
    solved = bare(places, [*WEB, ("aR", "endL"), ("bR", "endL")])
    assert np.max(misfit(solved, places)) < 0.01
    assert not solved.loose


def test_a_point_without_a_side_on_two_lengths_is_told_to_have_a_mirror_image() -> None:
    places = CROSS | {"peg": (-450.0, 150.0)}
    solved = bare(places, [*WEB, ("aL", "peg"), ("bL", "peg")])
    (part,) = solved.loose
    assert part.points == ("peg",) and "mirror" in part.direction
    (fix,) = part.fix
    assert fix in {f"floor tape peg to {n}" for n in ("aR", "bR")}
    assert not solved.held[solved.site.unknowns.point_idx["peg"]]
    solved = bare(places, [*WEB, ("aL", "peg"), ("bL", "peg"), tuple(fix[11:].split(" to "))])  # type: ignore[list-item]
    assert not solved.loose and np.max(misfit(solved, places)) < 0.01


def test_a_whole_tail_that_hangs_on_two_points_is_turned_to_the_rear() -> None:
    places = CROSS | {"cL": (-1700.0, 380.0), "cR": (-1690.0, -390.0)}
    tail = [("bL", "cL"), ("bR", "cR"), ("bL", "cR"), ("bR", "cL"), ("cL", "cR")]
    solved = bare(places, [*WEB, *tail])
    assert np.max(misfit(solved, places)) < 0.01 and not solved.loose


def test_factory_places_serve_where_no_pairs_say_which_way() -> None:
    places = {"p": (0.0, 500.0), "q": (-800.0, 300.0), "r": (-1500.0, -200.0), "s": (-300.0, -600.0)}
    points = [Point(n, x=x, y=y) for n, (x, y) in places.items()]
    job = Job(floor_job([]).folder, stages=[STAGE], points=points, sd=floor_job([]).sd)
    legs = [(a, b) for i, a in enumerate(places) for b in list(places)[i + 1 :]]
    solved = adjust_stage(job, STAGE, lengths(places, legs))
    assert np.max(misfit(solved, places)) < 0.01
    leg = np.subtract(*solved.final.state.positions[:2, :2])
    assert leg == pytest.approx((800.0, 200.0), abs=1.0)  # forward as the chart has it


def test_a_single_length_is_a_start() -> None:
    job = floor_job(["aL", "aR"])
    solved = adjust_stage(job, STAGE, [Reading("floor", "tape.csv:2", ("aL", "aR"), (800.0,), 0.5)])
    a, b = solved.final.state.positions[:, :2]
    assert np.linalg.norm(a - b) == pytest.approx(800.0, abs=1e-6)


def test_sheets_with_hardly_a_length_too_many_find_their_place() -> None:
    """Ten points on 19 to 22 exact lengths drawn at random (17 are the least)."""
    places = {n: (x, y) for n, (x, y) in bipartite(5, np.random.default_rng(1)).items()}
    every = [(a, b) for i, a in enumerate(places) for b in list(places)[i + 1 :]]
    lost = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        legs = [every[i] for i in sorted(rng.choice(len(every), int(rng.integers(19, 23)), replace=False))]
        try:
            solved = adjust_what_is_held(floor_job(list(places)), STAGE, lengths(places, legs))
        except ContradictionError:
            lost.append(seed)
            continue
        held = [n for n, h in zip(solved.site.unknowns.points, solved.held, strict=True) if h]
        if len(held) > 2 and (solved.suspects or np.max(misfit(solved, places, only=held)) > 1.0):
            lost.append(seed)
    assert not lost


def shape_misfit(solved: Solved, sheet: Survey, *, in_space: bool) -> float:
    """Largest distance of a held point from its true place; in space the lean of the whole does not count."""
    u = solved.site.unknowns
    held = [n for n, on in zip(u.points, solved.held, strict=True) if on]
    if not in_space:
        return float(np.max(misfit(solved, sheet.positions, only=held)))
    found = solved.final.state.positions[[u.point_idx[n] for n in held]]
    true = np.array([sheet.positions[n] for n in held])
    R, t = rigid_fit(found, true)
    return float(np.max(np.linalg.norm(found @ R.T + t - true, axis=1)))


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(("where", "tapes"), [("floor", 12), ("car", 8), ("car", 12)])
def test_two_setups_without_heights_join_through_tapes_alone(where: str, tapes: int, seed: int) -> None:
    """How each leans and how high it stands is found by trying; seven unknowns for floor tapes, six for others."""
    rng = np.random.default_rng(seed)
    car = make_car(rng)
    taped = {"tapes": 80} if where == "floor" else {"tapes": 0, "car_tapes": 60}
    setups = {"front": car.names[:8], "rear": car.names[8:]}
    sheet = survey(car, rng, heights=False, xyz=setups, **taped)  # type: ignore[arg-type]
    sheet.tape = crossing(car, sheet, rng, tapes)
    _, solved = adjusted(car, sheet)
    assert shape_misfit(solved, sheet, in_space=where == "car") < 1.5 * NEAR
    assert solved.held.sum() >= 8 and not solved.suspects
    assert solved.held.all() or solved.loose


@pytest.mark.parametrize("seed", range(5))
def test_two_setups_on_one_tape_too_few_are_told_apart_not_refused(seed: int) -> None:
    """Six floor tapes hold six of the seven ways in which two setups without heights may stand to each other."""
    rng = np.random.default_rng(seed)
    car = make_car(rng)
    sheet = survey(car, rng, tapes=80, heights=False, xyz={"front": car.names[:8], "rear": car.names[8:]})
    sheet.tape = crossing(car, sheet, rng, 6)
    _, solved = adjusted(car, sheet)
    assert solved.held.sum() == 8 and solved.loose


@pytest.mark.parametrize("seed", range(20))
def test_three_pairs_taped_only_across_are_right_or_named(seed: int) -> None:
    """Nine lengths for nine unknowns: up to eight arrangements fit, and only points.csv tells some of them apart."""
    places = bipartite(3, np.random.default_rng([33, seed]))
    legs = [(a, b) for a in places for b in places if a[-1] == "L" and b[-1] == "R"]
    solved = bare(places, legs)
    held = [n for n, on in zip(solved.site.unknowns.points, solved.held, strict=True) if on]
    assert len(held) < 3 or np.max(misfit(solved, places, only=held)) < 1.0
    assert len(held) == len(places) or solved.loose
