"""What is not held is said: which points, which way, and tapes that hold them; pieces, and heights in two sets."""

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measure.adjust.held import bodies, pieces
from measure.adjust.stage import Solved, adjust_stage
from measure.readings.reading import Reading
from tests.adjust.cars import STAGE, adjusted, floor_job, lengths
from tests.synthetic import make_car, survey

CAR = {
    f"{key}{side}": (x, y if side == "L" else -y - 4.0)
    for key, x, y in (
        ("a", 0.0, 600.0),
        ("b", -500.0, 430.0),
        ("c", -1100.0, 520.0),
        ("d", -1600.0, 400.0),
        ("e", -2300.0, 350.0),
    )
    for side in "LR"
}
FULL = [(a, b) for i, a in enumerate(CAR) for b in list(CAR)[i + 1 :]]
Leg = tuple[str, str]


def solve(legs: Sequence[Leg], more: Sequence[Reading] = (), noise: int | None = None) -> Solved:
    scatter = None if noise is None else np.random.default_rng(noise).normal(0.0, 0.5, len(legs)).tolist()
    return adjust_stage(floor_job(list(CAR)), STAGE, [*lengths(CAR, legs, noise=scatter), *more])


def suggested(solved: Solved) -> list[Leg]:
    tapes = [fix for part in solved.loose for fix in part.fix]
    assert all(t.startswith("floor tape ") for t in tapes)
    return [tuple(t.removeprefix("floor tape ").split(" to ")) for t in tapes]  # type: ignore[misc]


def without(*names: str) -> list[Leg]:
    return [leg for leg in FULL if not set(leg) & set(names)]


def inside(names: Sequence[str]) -> list[Leg]:
    return [leg for leg in FULL if set(leg) <= set(names)]


def test_all_taped_is_all_held() -> None:
    solved = solve(FULL, noise=1)
    assert solved.held.all() and not solved.loose and len(solved.pieces) == 1
    assert len(bodies(solved.final)) == 1


WAYS = {
    0: "forward and back",
    45: "towards front left and rear right",
    90: "sideways",
    135: "towards front right and rear left",
}


@pytest.mark.parametrize(
    ("point", "to"),
    [("eL", "eR"), ("cL", "cR"), ("cL", "dL"), ("eR", "dR"), ("bR", "cL"), ("bL", "cR"), ("aL", "eL"), ("aR", "eL")],
)
def test_a_point_on_one_tape_is_loose_across_it_and_one_tape_holds_it(point: str, to: str) -> None:
    solved = solve([*without(point), (point, to)], noise=2)
    (part,) = solved.loose
    assert part.points == (point,)
    u, xy = solved.site.unknowns, solved.final.state.positions[:, :2]
    along = xy[u.point_idx[point]] - xy[u.point_idx[to]]  # it is free square to its tape
    free = np.degrees(np.arctan2(along[1], along[0])) + 90.0
    off = {angle: abs((free - angle + 90.0) % 180.0 - 90.0) for angle in WAYS}
    assert part.direction in {WAYS[angle] for angle in WAYS if off[angle] < 23.0}
    assert len(part.fix) == 1
    assert [n for n, h in zip(u.points, solved.held, strict=True) if not h] == [point]
    again = solve([*without(point), (point, to), *suggested(solved)], noise=2)
    assert all("mirror" in part.direction for part in again.loose) and again.final.factor.defect == 3


def test_a_point_on_no_tape_at_all_but_a_height_is_not_in_plan() -> None:
    solved = solve(without("eL"), [Reading("heights", "heights.csv:2", ("eL",), (100.0,), 1.0)])
    assert "eL" not in {n for part in solved.loose for n in part.points}
    assert not solved.held[solved.site.unknowns.point_idx["eL"]]
    assert solved.held.sum() == len(CAR) - 1


def test_two_halves_in_one_point_turn_against_each_other() -> None:
    front, rear = ["aL", "aR", "bL", "bR", "cL"], ["cL", "cR", "dL", "dR", "eL", "eR"]
    solved = solve([*inside(front), *inside(rear)], noise=3)
    (part,) = solved.loose
    assert set(part.points) in ({"aL", "aR", "bL", "bR"}, {"cR", "dL", "dR", "eL", "eR"})
    assert len(part.fix) == 1, "a turn is one freedom, however long the gaps of the drops"
    assert not solve([*inside(front), *inside(rear), *suggested(solved)], noise=3).loose


def test_two_halves_with_second_drops_turn_against_each_other_all_the_same() -> None:
    """The two drops of a point gape by a millimetre or two: that is no lever to hold a turn with."""
    front, rear = ["aL", "aR", "bL", "bR"], ["cL", "cR", "dL", "dR", "eL", "eR"]
    again = [("aL#2", "bR"), ("aL#2", "bL"), ("aL#2", "aR"), ("eL#2", "cR"), ("eL#2", "dL"), ("eL#2", "eR")]
    place = CAR | {"aL#2": (1.5, 599.0), "eL#2": (-2301.0, 348.5)}
    readings = lengths(place, [*inside(front), *inside(rear), *again])
    solved = adjust_stage(floor_job(list(CAR)), STAGE, readings)
    assert solved.final.factor.defect == 6
    (part,) = solved.loose
    assert len(part.fix) == 3


def test_two_pieces_are_named_and_three_tapes_join_them() -> None:
    front, rear = ["aL", "aR", "bL", "bR"], ["cL", "cR", "dL", "dR", "eL", "eR"]
    solved = solve([*inside(front), *inside(rear)], noise=4)
    assert [set(piece) for piece in solved.pieces] == [set(rear), set(front)]
    (part,) = solved.loose
    assert set(part.points) == set(front) and part.direction == "any way"
    assert len(part.fix) == 3, "two shifts and a turn"
    assert not solve([*inside(front), *inside(rear), *suggested(solved)], noise=4).loose


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 2**32), kept=st.integers(27, 40))
def test_with_the_tapes_suggested_nothing_is_loose(seed: int, kept: int) -> None:
    """And they are the fewest: one for each freedom that the network has too many."""
    rng = np.random.default_rng(seed)
    legs = [FULL[i] for i in sorted(rng.choice(len(FULL), kept, replace=False))]
    for name in rng.choice(list(CAR), 2, replace=False):  # and two points that hang on one or two tapes
        mine = [leg for leg in legs if name in leg]
        legs = [leg for leg in legs if name not in leg or leg in mine[: int(rng.integers(1, 3))]]
    solved = solve(legs)
    mirrored = [part for part in solved.loose if "mirror" in part.direction]
    named = {n for leg in legs for n in leg}
    held = {n for n, h in zip(solved.site.unknowns.points, solved.held, strict=True) if h}
    assert held | {n for part in solved.loose for n in part.points} == named
    tapes = suggested(solved)
    if not mirrored:
        assert not set(tapes) & set(legs)
    again = solve([*legs, *sorted(set(tapes))])
    assert not [part for part in again.loose if "mirror" not in part.direction]
    assert again.final.factor.defect == 3
    if not mirrored:
        assert len(set(tapes)) == solved.final.factor.defect - 3


def test_pieces_that_merge_and_begin_by_turns_stay_apart() -> None:
    ties = ["ab", "cd", "ef", "gh", "ij", "ac", "ce", "eg", "kl"]
    made = pieces([Reading("floor", "tape.csv:2", tuple(t), (1.0,), 0.5) for t in ties])
    assert [set(p) for p in made] == [set("abcdefgh"), set("ij"), set("kl")]


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.sampled_from("abcdefghijklmnop"), st.sampled_from("abcdefghijklmnop")), max_size=24))
def test_pieces_are_the_connected_parts(ties: list[Leg]) -> None:
    ties = [t for t in ties if t[0] != t[1]]
    made = pieces([Reading("floor", "tape.csv:2", t, (1.0,), 0.5) for t in ties])
    parent = {n: n for t in ties for n in t}

    def root(n: str) -> str:
        while parent[n] != n:
            n = parent[n]
        return n

    for a, b in ties:
        parent[root(a)] = root(b)
    expected = {frozenset(n for n in parent if root(n) == r) for r in map(root, parent)}
    assert {frozenset(p) for p in made} == expected
    assert [len(p) for p in made] == sorted((len(p) for p in made), reverse=True)


def test_the_base_line_and_a_setup_tie_their_points_and_heights_tie_none() -> None:
    def names(*readings: Reading) -> list[set[str]]:
        return [set(p) for p in pieces(readings)]

    def of(kind: str, name: str, via: str = "") -> Reading:
        return Reading(kind, f"{kind}.csv:2", (name,), (0.0, 0.0, 0.0), 1.0, via)

    assert names(of("marks", "a"), of("marks", "b#2"), of("marks", "b")) == [{"a", "b"}]
    assert names(of("xyz", "a", "x"), of("xyz", "b", "x"), of("xyz", "c", "y")) == [{"a", "b"}, {"c"}]
    assert names(of("xyz", "a", "x"), of("xyz", "a", "y"), of("xyz", "b", "y"), of("heights", "z")) == [{"a", "b"}]


def test_heights_in_two_sets_leave_the_plan_held_and_the_rise_between_them_open() -> None:
    rng = np.random.default_rng(6)
    car = make_car(rng)
    sheet = survey(car, rng, heights=False, levels=True)
    front = set(car.names[:6])
    sheet.levels = [r for r in sheet.levels if (r["from"] in front) == (r["to"] in front)]
    _, solved = adjusted(car, sheet)
    sets = {n: int(s) for n, s in zip(solved.site.unknowns.points, solved.site.level_sets, strict=True)}
    assert len({sets[n] for n in front}) == 1
    assert len({s for n, s in sets.items() if n not in front}) == 1
    assert sets["outriggerL"] != sets["tailL"]
    assert solved.final.factor.defect == 3 + 2  # the plan's, and one height for each set
    assert solved.held.all() and not solved.loose


def test_two_setups_that_share_nothing_are_two_bodies() -> None:
    rng = np.random.default_rng(7)
    car = make_car(rng)
    _, solved = adjusted(car, survey(car, rng, tapes=0, heights=False, xyz={"f": car.names[:7], "r": car.names[7:]}))
    assert {frozenset(p) for p in solved.pieces} == {frozenset(car.names[:7]), frozenset(car.names[7:])}
    (part,) = solved.loose
    assert set(part.points) == set(car.names[:7]) and part.direction == "any way"
