"""Which pairs carry the centreline: a bent section must neither bend it nor be explained away."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from measure.body.agreement import largest_agreeing_set
from tests.body.judging import figures, in_space, judged, u95, value
from tests.synthetic import make_car, survey, tilt, truth


def test_a_pulled_section_does_not_bend_it(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    car = make_car(rng, axle_offset=5.0, axle_yaw_deg=0.4, damage={"rail4": (0.0, 11.0, 0.0), "tail": (0.0, 11.0, 0.0)})
    doc = judged(tmp_path / "job", car, survey(car, rng, tapes=60, roll_deg=0.5))
    assert doc.centreline.pairs_set_aside == ["rail4", "tail"]
    assert not doc.centreline.ambiguous
    assert any(c.startswith("Set aside from the centreline") and "rail4, tail" in c for c in doc.cautions)
    seen, true = figures(doc), truth(car)
    for name in ("pair.outrigger.offset", "pair.rail4.offset", "pair.tail.offset", "axle.rear.offset", "rails.yaw"):
        assert abs(value(seen[name]) - true[name]) <= 1.3 * u95(seen[name]), name
    assert seen["pair.tail.offset"].verdict == seen["pair.rail4.offset"].verdict == "outside"
    assert seen["pair.tail.offset"].side == "left"


@pytest.mark.parametrize("number", range(8))
def test_a_section_pushed_sideways_is_not_taken_for_a_rolled_car(tmp_path: Path, number: int) -> None:
    rng = np.random.default_rng([7, number])
    high, low = ("outrigger", "rail1", "rail4", "tail"), ("rail2", "crossbar", "rail3")
    pushed = high[:2] if number % 2 else high[2:]
    push = 10.0 if number < 4 else -10.0
    car = make_car(rng, damage=dict.fromkeys(pushed, (0.0, push, 0.0)))
    sheet = survey(car, rng, tapes=60, roll_deg=float(rng.uniform(-1.0, 1.0)), drops=2)
    doc = judged(tmp_path / "job", car, sheet)
    seen, true = figures(doc), truth(car)
    # were it explained away, the car would lean by 10 mm over 250 mm: 2 degrees
    assert doc.tilt.roll == pytest.approx(tilt(car, sheet)[0], abs=0.25)
    for key in pushed:
        assert seen[f"pair.{key}.offset"].verdict != "within", key
        if not doc.centreline.ambiguous:
            assert abs(value(seen[f"pair.{key}.offset"]) - true[f"pair.{key}.offset"]) < 3.0, key
    assert all(seen[f"pair.{key}.offset"].verdict != "outside" for key in low)


def test_pushed_sections_are_mostly_told_outright(tmp_path: Path) -> None:
    told = 0
    for number in range(12):
        rng = np.random.default_rng([8, number])
        car = make_car(rng, damage=dict.fromkeys(("rail4", "tail"), (0.0, 10.0, 0.0)))
        doc = judged(tmp_path / str(number), car, survey(car, rng, tapes=60, drops=2))
        told += doc.centreline.pairs_set_aside == ["rail4", "tail"] and not doc.centreline.ambiguous
    assert told >= 9


@pytest.mark.parametrize("twisted", [("rail3", "rail4", "tail"), ("outrigger", "rail1", "rail2")])
def test_front_twisted_against_rear_leaves_the_lean_open(tmp_path: Path, twisted: tuple[str, ...]) -> None:
    """Three rises say one lean, three another: neither is chosen, and what it does to the offsets is counted."""
    plain = make_car(np.random.default_rng(0), pairs=6, build=0.0)
    damage = {}
    for key in twisted:
        lift = float(np.tan(np.radians(2.0)) * plain.where(f"{key}L")[1])
        damage |= {f"{key}L": (0.0, 0.0, lift), f"{key}R": (0.0, 0.0, -lift)}
    held, told, wrong = [], 0, 0
    for number in range(12):
        rng = np.random.default_rng([5, number])
        car = make_car(rng, pairs=6, damage=damage)
        doc = judged(tmp_path / str(number), car, survey(car, rng, tapes=45, drops=2))
        seen, true = figures(doc), truth(car)
        for name in (n for n in seen if n.endswith(".offset")):
            held.append(abs(value(seen[name]) - true[name]) <= u95(seen[name]))
            wrong += seen[name].verdict == "outside" and abs(true[name]) < 3.0
        told += any("do not agree how far the car leans" in c for c in doc.cautions)
    assert told >= 9
    assert np.mean(held) > 0.88  # was 0.54 to 0.77 while one lean was chosen
    assert wrong <= 3  # of 84


def test_three_pairs_leave_a_choice(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(3), pairs=3, build=0.3, damage={"tail": (0.0, 11.0, 0.0)})
    doc = judged(tmp_path / "job", car, in_space(car))
    line = doc.centreline
    assert line.ambiguous
    assert len(line.alternatives) == 3
    assert len(set(line.alternatives)) == 3
    assert any(
        words.startswith("if outrigger and rail1 are true, tail stands 10.5 mm") and words.endswith("to the left")
        for words in line.alternatives
    )
    assert any("outrigger stands" in words for words in line.alternatives)
    caution = next(c for c in doc.cautions if "choice of centreline: either" in c)
    assert "A further pair settles it, or trusted = yes" in caution
    offsets = [c for c in doc.checks if c.name.endswith(".offset") and c.name.startswith("pair.")]
    assert {c.verdict for c in offsets} == {"undecided"}


def two_halves(build: float = 0.2) -> tuple[object, object]:
    car = make_car(
        np.random.default_rng(4), pairs=6, build=build, axle_yaw_deg=0.6,
        damage=dict.fromkeys(("rail3", "rail4", "tail"), (0.0, 20.0, 0.0)),
    )  # fmt: skip
    return car, in_space(car)


def test_front_half_against_rear_half_is_not_chosen(tmp_path: Path) -> None:
    car, sheet = two_halves()
    doc = judged(tmp_path / "job", car, sheet)  # type: ignore[arg-type]
    assert doc.centreline.ambiguous
    told = " ".join(doc.centreline.alternatives)
    assert "if outrigger and rail1 and rail2 are true, rail3 stands" in told
    assert "if rail3 and rail4 and tail are true, outrigger stands" in told
    assert "to the left" in told
    assert "to the right" in told
    seen = figures(doc)
    for key in ("outrigger", "tail"):
        assert seen[f"pair.{key}.offset"].verdict == "undecided"
    # both readings of the car run parallel: the axle is skewed whichever is true
    assert seen["axle.rear.square"].verdict == "outside"


def test_every_alternative_binds_the_verdict_also_those_not_told(tmp_path: Path) -> None:
    """Eight pairs and no three in line: 28 ways to read the car, the first seven all through the first pair."""
    keys = ["outrigger", *(f"rail{k}" for k in range(1, 7)), "tail"]
    pushed = np.random.default_rng(0).uniform(-40.0, 40.0, 8)
    damage = {key: (0.0, float(push), 0.0) for key, push in zip(keys, pushed, strict=True)}
    car = make_car(np.random.default_rng(1), pairs=8, build=0.1, damage=damage)
    doc = judged(tmp_path / "job", car, in_space(car))
    assert doc.centreline.ambiguous
    assert len(doc.centreline.alternatives) == 7
    assert any("or one of 21 other ways" in c for c in doc.cautions)
    assert {c.verdict for c in doc.checks if c.name.startswith("pair.") and c.limit is not None} == {"undecided"}


def test_trusted_pairs_settle_it(tmp_path: Path) -> None:
    car, sheet = two_halves()
    for row in sheet.points:  # type: ignore[attr-defined]
        row["trusted"] = "yes" if row["name"] in ("outriggerL", "rail1R", "rail2L") else ""
    doc = judged(tmp_path / "job", car, sheet)  # type: ignore[arg-type]
    assert not doc.centreline.ambiguous
    assert doc.centreline.pairs_used == ["outrigger", "rail1", "rail2"]
    seen = figures(doc)
    assert seen["pair.tail.offset"].verdict == "outside"
    assert value(seen["pair.tail.offset"]) == pytest.approx(20.0, abs=1.0)
    assert seen["pair.outrigger.offset"].verdict == "within"


def test_trusting_a_bent_section_makes_the_rest_stand_off(tmp_path: Path) -> None:
    car, sheet = two_halves()
    for row in sheet.points:  # type: ignore[attr-defined]
        row["trusted"] = "yes" if row["name"][:-1] in ("rail3", "rail4", "tail") else ""
    seen = figures(judged(tmp_path / "job", car, sheet))  # type: ignore[arg-type]
    assert value(seen["pair.outrigger.offset"]) == pytest.approx(-20.0, abs=1.0)
    assert seen["pair.outrigger.offset"].words.endswith("to the right")


def test_two_pairs_fit_any_line_and_it_is_said(tmp_path: Path) -> None:
    car = make_car(np.random.default_rng(5), pairs=2)
    doc = judged(tmp_path / "job", car, in_space(car))
    assert not doc.centreline.ambiguous
    assert any("rests on two pairs, which any line fits" in c for c in doc.cautions)


def test_the_factory_scatter_belongs_to_the_uncertainty(tmp_path: Path) -> None:
    """With exact points all that is left is what the factory left: check it against numbers worked by hand."""
    car = make_car(np.random.default_rng(6), build=1.0)
    exact = judged(tmp_path / "job", car, in_space(car, sd=0.001), sd={"build": 1.0})
    x = np.array([car.points[[i, j], 0].mean() for _, i, j in car.pairs()])
    station = car.points[[car.idx("axleL"), car.idx("axleR")], 0].mean()
    # the line through n midpoints, each of sd build/root 2, at the axle's station
    sd = np.sqrt(0.5 * (1 / len(x) + (station - x.mean()) ** 2 / np.sum((x - x.mean()) ** 2)))
    roll_part = 0.5  # the roll's share is small: the axle stands near the mean height
    assert u95(figures(exact)["axle.rear.offset"]) == pytest.approx(1.96 * sd, rel=roll_part * 0.3)
    car = make_car(np.random.default_rng(6), build=0.01)
    none = judged(tmp_path / "again", car, in_space(car, sd=0.001))
    assert u95(figures(none)["axle.rear.offset"]) < 0.05


def test_the_scatter_of_the_point_measured_is_not_counted(tmp_path: Path) -> None:
    """Where an axle end stands is the question: one sd of build at the axle would add root 2 times itself."""
    car = make_car(np.random.default_rng(6), build=1.0)
    doc = judged(tmp_path / "job", car, in_space(car, sd=0.001), sd={"build": 1.0})
    offset = figures(doc)["axle.rear.offset"]
    assert u95(offset) < 1.96 * 0.5
    assert all(share.what.startswith("factory scatter of pair") for share in offset.budget[:5])


def test_no_member_is_chosen_between_equal_rivals() -> None:
    observed = np.array([0.0, 0.0, 0.0, 10.0, 10.0, 10.0])
    agreement = largest_agreeing_set(observed, np.ones((6, 1)), np.eye(6))
    assert {agreement.best, *agreement.rivals} == {(0, 1, 2), (3, 4, 5)}


def test_many_members_lose_the_worst_one_first() -> None:
    observed = np.zeros(20)
    observed[[3, 11]] = 9.0
    agreement = largest_agreeing_set(observed, np.ones((20, 1)), np.eye(20))
    assert agreement.agrees
    assert set(range(20)) - set(agreement.best) == {3, 11}
