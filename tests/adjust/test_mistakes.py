"""Misreadings found, none invented, nothing set aside without being listed; a rough sheet is scaled, not shredded."""

import numpy as np
import pytest

from measure.adjust.mistakes import find, standardised, without_gross
from measure.adjust.solver import solve
from measure.adjust.stage import Solved, adjust_stage
from measure.adjust.starting import starting_state
from measure.readings.reading import Reading
from tests.adjust.cars import STAGE, adjusted, floor_job, lengths, loaded, misfit, network
from tests.synthetic import Survey, make_car, survey

PLACES = {"aL": (0.0, 600.0), "aR": (5.0, -590.0), "bL": (-900.0, 430.0), "bR": (-890.0, -440.0), "c": (-1700.0, 20.0)}
ALL = [(a, b) for i, a in enumerate(PLACES) for b in list(PLACES)[i + 1 :]]


def sources(solved: Solved) -> list[str]:
    """What is named, worst first, with what each cannot be told from."""
    rows = solved.as_stated.network.rows
    named = [rows[i].reading for s in solved.suspects for i in (s.rows[0], *s.cannot_tell_from)]
    return list(dict.fromkeys(r.source or f"plumb:{r.names[0]}" for r in named))


def nothing_hidden(solved: Solved) -> None:
    """Every reading set aside is a suspect that says so, and the other way round."""
    group, active = solved.as_stated.network.group, solved.as_stated.active
    told = {int(group[i]) for s in solved.suspects if s.set_aside and s.tape is None for i in s.rows}
    assert told == set(group[~active].tolist())
    assert not (set(group[active].tolist()) & set(group[~active].tolist()))


def a_car(seed: int, **how: object) -> tuple[object, Survey, np.random.Generator]:
    rng = np.random.default_rng(seed)
    car = make_car(rng)
    return car, survey(car, rng, **how), rng  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", range(6))
def test_several_mistakes_are_all_named_and_nothing_is_hidden(seed: int) -> None:
    car, sheet, rng = a_car(seed, tapes=70)
    planted = rng.choice(len(sheet.tape), 3, replace=False)
    for k, size in zip(planted, (100.0, -40.0, 15.0), strict=True):
        sheet.tape[k]["length"] += size
    _, solved = adjusted(car, sheet)  # type: ignore[arg-type]
    nothing_hidden(solved)
    assert {f"tape.csv:{k + 2}" for k in planted} <= set(sources(solved))
    assert len(solved.suspects) <= 5
    assert [abs(s.w) for s in solved.suspects] == sorted((abs(s.w) for s in solved.suspects), reverse=True)
    assert np.max(misfit(solved, sheet.positions)) < 10.0
    by_source = {solved.as_stated.network.rows[s.rows[0]].reading.source: s for s in solved.suspects}
    for k, size in zip(planted, (100.0, -40.0, 15.0), strict=True):
        suspect = by_source.get(f"tape.csv:{k + 2}")
        if suspect is not None and suspect.set_aside:
            assert abs(suspect.size - size) < 4.0 * suspect.sd
            assert suspect.w == pytest.approx(suspect.size / suspect.sd)


@pytest.mark.parametrize("table", ["heights", "levels"])
def test_a_wrong_height_or_rise_is_found(table: str) -> None:
    car, sheet, _ = a_car(3, levels=True)
    column = {"heights": "height", "levels": "rise"}[table]
    getattr(sheet, table)[4][column] += 25.0
    _, solved = adjusted(car, sheet)  # type: ignore[arg-type]
    assert f"{table}.csv:6" in sources(solved)  # with the twin's height, where only the two hold it
    suspect = next(
        s for s in solved.suspects if solved.as_stated.network.rows[s.rows[0]].reading.source == f"{table}.csv:6"
    )
    assert suspect.size == pytest.approx(25.0, abs=5.0)
    nothing_hidden(solved)


def test_a_wrong_coordinate_sets_its_whole_point_aside() -> None:
    car, _, _ = a_car(3, tapes=60)
    car2, joined, _ = a_car(3, tapes=60, xyz={"arm": car.names})  # type: ignore[attr-defined]
    joined.xyz[5]["y"] += 40.0
    _, solved = adjusted(car2, joined)  # type: ignore[arg-type]
    assert set(sources(solved)) == {"xyz.csv:7", "plumb:rail2R"}  # the arm or the bob: nobody can tell
    whole = next(s for s in solved.suspects if len(s.rows) == 3)
    assert not solved.as_stated.active[list(whole.rows)].any()
    nothing_hidden(solved)


def test_two_drops_that_disagree_are_both_left_out() -> None:
    car, sheet, _ = a_car(2, tapes=70, drops={"rail2L": 2})
    shift = np.array([0.0, 30.0])
    for row in sheet.tape:
        if "rail2L#2" in (row["from"], row["to"]):
            other = row["from"] if row["to"] == "rail2L#2" else row["to"]
            leg = sheet.floor["rail2L#2"] - sheet.floor[other]
            row["length"] += np.linalg.norm(leg + shift) - np.linalg.norm(leg)
    _, solved = adjusted(car, sheet)  # type: ignore[arg-type]
    assert set(sources(solved)) == {"plumb:rail2L", "plumb:rail2L#2"}
    assert all(s.cannot_tell_from and s.set_aside for s in solved.suspects)
    nothing_hidden(solved)
    assert not solved.held[solved.site.unknowns.point_idx["rail2L"]]  # neither is believed


def test_a_gross_misreading_at_a_point_with_three_tapes_cannot_be_told_from_the_others() -> None:
    """Left out from the very start, it must not pass for the guilty one."""
    car, sheet, _ = a_car(4, tapes=70, heights=False)
    mine = [k for k, r in enumerate(sheet.tape) if "tailL" in (r["from"], r["to"])]
    keep = mine[:3]
    sheet.tape = [r for k, r in enumerate(sheet.tape) if k not in mine or k in keep]
    wrong = next(k for k, r in enumerate(sheet.tape) if "tailL" in (r["from"], r["to"]))
    sheet.tape[wrong]["length"] += 400.0
    _, solved = adjusted(car, sheet)  # type: ignore[arg-type]
    three = {f"tape.csv:{k + 2}" for k, r in enumerate(sheet.tape) if "tailL" in (r["from"], r["to"])}
    assert f"tape.csv:{wrong + 2}" in sources(solved)
    assert set(sources(solved)) == three
    nothing_hidden(solved)


@pytest.mark.parametrize(("tapes", "freedom"), [(8, 1), (9, 2), (10, 3)])
@pytest.mark.parametrize("size", [12.0, 300.0])
def test_with_few_redundancies_nothing_is_set_aside(tapes: int, freedom: int, size: float) -> None:
    legs = ALL[:tapes]
    solved = adjust_stage(floor_job(list(PLACES)), STAGE, lengths(PLACES, legs, wrong={1: size}))
    assert solved.as_stated.degrees_of_freedom == freedom
    assert solved.as_stated.active.all()
    assert not any(s.set_aside for s in solved.suspects)
    assert solved.suspects, "it is named all the same"


def test_a_common_offset_of_one_tape_is_one_suspect_and_no_reading_is_lost() -> None:
    car, sheet, _ = a_car(5, tapes=60, tape_names=["red", "blue"])
    for row in sheet.tape:
        if row["tape"] == "blue":
            row["length"] += 100.0
    _, solved = adjusted(car, sheet)  # type: ignore[arg-type]
    (suspect,) = solved.suspects
    assert suspect.tape == "blue" and suspect.size == pytest.approx(100.0, abs=4 * suspect.sd)
    assert solved.as_stated.active.all()
    u = solved.site.unknowns
    assert solved.final.state.tapes[u.tapes.index("blue"), 1] == pytest.approx(100.0, abs=2.0)
    assert np.max(misfit(solved, sheet.positions)) < 10.0


@pytest.mark.parametrize("size", [304.8, 7.0])
def test_a_common_offset_of_the_only_tape(size: float) -> None:
    car, sheet, _ = a_car(6, tapes=60)
    for row in sheet.tape:
        row["length"] += size
    _, solved = adjusted(car, sheet)  # type: ignore[arg-type]
    assert solved.suspects[0].tape == "" and solved.suspects[0].size == pytest.approx(size, abs=3.0)
    assert len(solved.suspects) == 1


def test_a_common_offset_and_one_misreading() -> None:
    car, sheet, _ = a_car(7, tapes=60, tape_names=["red", "blue"])
    for row in sheet.tape:
        if row["tape"] == "blue":
            row["length"] += 254.0
    sheet.tape[33]["length"] -= 90.0
    _, solved = adjusted(car, sheet)  # type: ignore[arg-type]
    assert {s.tape for s in solved.suspects} == {"blue", None}
    assert "tape.csv:35" in sources(solved)
    assert sum(s.tape is None for s in solved.suspects) == 1


def test_w_is_the_residual_over_its_own_sd() -> None:
    """Against the definition: the misfit against the rest, with that one reading left out."""
    car, sheet, _ = a_car(8)
    job, readings = loaded(car, sheet)  # type: ignore[arg-type]
    net = network(job, readings)
    start = starting_state(adjust_stage(job, STAGE, readings).site, readings).state
    full = solve(net, start)
    w = standardised(full)
    for row in (0, 17, 40):
        left_out = np.arange(len(net.rows)) != row
        rest = solve(net, full.state, active=left_out)
        spread = np.hypot(net.sd[row], np.sqrt(rest.adjusted_variance[row]))
        assert w[row] == pytest.approx(rest.residual[row] / spread, rel=0.01, abs=0.01)


def test_the_search_leaves_a_clean_adjustment_as_it_is() -> None:
    net = network(floor_job(list(PLACES)), lengths(PLACES, ALL))
    start = starting_state(
        adjust_stage(floor_job(list(PLACES)), STAGE, lengths(PLACES, ALL)).site, lengths(PLACES, ALL)
    ).state
    adjustment = solve(net, start)
    assert without_gross(net, start) is None
    assert find(adjustment).adjustment is adjustment and find(adjustment).suspects == ()


@pytest.mark.parametrize("seed", range(12))
def test_anything_at_all_is_a_result_or_a_contradiction(seed: int) -> None:
    """Half the sheet nonsense: no traceback, and still nothing hidden."""
    from measure.adjust.stage import ContradictionError

    rng = np.random.default_rng(seed)
    car = make_car(rng, pairs=4)
    sheet = survey(
        car, rng, tapes=25, drops={"tailL": 2}, heights=bool(seed % 2), xyz={"arm": car.names[:5]} if seed % 3 else None
    )
    for k in rng.choice(len(sheet.tape), len(sheet.tape) // 2, replace=False):
        sheet.tape[k]["length"] = float(10.0 ** rng.uniform(0, 6))
    job, readings = loaded(car, sheet)
    readings.append(Reading("bar", "tape.csv:99", ("tailL", "outriggerR"), (50.0,), 0.0))
    try:
        solved = adjust_stage(job, STAGE, readings)
    except ContradictionError:
        return
    nothing_hidden(solved)
    assert np.all(np.isfinite(solved.final.state.positions))


def test_a_rough_sheet_is_scaled_and_its_intervals_hold() -> None:
    """The tape scatters three times more than stated: 60 sheets, distances of four points against the truth."""
    names = ("outriggerL", "rail2R", "axleL", "tailR")
    errors, lost, scaled = [], 0, 0
    for seed in range(60):
        rng = np.random.default_rng(1000 + seed)
        car = make_car(rng, build=0.0)
        sheet = survey(car, rng, tapes=60, heights=False, tape_sd=1.5, tape_class="none", plumb=0.2)
        sheet.settings["sd"]["tape"] = 0.5
        _, solved = adjusted(car, sheet)
        nothing_hidden(solved)
        lost += int((~solved.as_stated.active).sum())
        scaled += any(s.kind == "tape" for s in solved.scaled)
        u, state, Q = solved.site.unknowns, solved.final.state, solved.final.Q
        for i, a in enumerate(names):
            for b in names[i + 1 :]:
                p, q = u.point_idx[a], u.point_idx[b]
                leg = state.positions[q, :2] - state.positions[p, :2]
                g = np.zeros(u.size)
                g[u.point_columns[q, :2]] = leg / np.linalg.norm(leg)
                g[u.point_columns[p, :2]] = -leg / np.linalg.norm(leg)
                true = np.linalg.norm(sheet.positions[a][:2] - sheet.positions[b][:2])
                errors.append((np.linalg.norm(leg) - true) / np.sqrt(g @ Q @ g))
    assert scaled >= 57
    assert lost <= 15  # of 3600 readings
    held = np.mean(np.abs(errors) < 2.0)
    assert 0.90 < held < 0.985
