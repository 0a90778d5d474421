"""Movements between two shapes: what is found, what is left open, what follows from what."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from measure.compare.congruence import congruent, global_test, moves_together
from measure.compare.movement import movements
from measure.compare.overlay import Pair
from measure.compare.shape import Shape
from tests.compare.shapes import car_points, measured, shape
from tests.synthetic.survey import rotation


def laid(before: Shape, after: Shape):  # type: ignore[no-untyped-def]
    overlay, agreement = congruent(Pair(before, after))
    return overlay, agreement, movements(overlay, agreement.best)


def moved(points: np.ndarray, shifts: dict[int, tuple[float, float, float]]) -> np.ndarray:
    changed = points.copy()
    for k, shift in shifts.items():
        changed[k] += shift
    return changed


@pytest.mark.parametrize("number", range(6))
def test_exact_points_give_back_the_movement_whatever_the_pose(number: int) -> None:
    rng = np.random.default_rng(number)
    points = car_points()
    shifts = {10: (1.0, 8.0, 2.0), 12: (-3.0, 0.0, 5.0)}
    turn = rotation(*rng.uniform(-0.02, 0.02, 2), rng.uniform(-3.1, 3.1))
    after = moved(points, shifts) @ turn.T + rng.uniform(-3000.0, 3000.0, 3)
    _, agreement, found = laid(shape(points, 0.01), shape(after, 0.01))
    assert set(range(len(points))) - set(agreement.best) == set(shifts)
    for k, m in enumerate(found):
        assert m is not None
        assert m.vector == pytest.approx(shifts.get(k, (0.0, 0.0, 0.0)), abs=1e-4)
        assert m.verdict(3.0) == ("moved" if k in shifts else "held")


def test_in_plan_where_heights_are_missing() -> None:
    points = car_points()
    after = moved(points, {12: (0.0, 9.0, 0.0)})
    flat = shape(after @ rotation(0.0, 0.0, 2.0).T + [500.0, 0.0, 80.0], 0.3, heights=False)
    overlay, agreement, found = laid(shape(points, 0.3), flat)
    assert overlay.plan_only
    assert overlay.design.shape[1] == 3
    assert 12 not in agreement.best
    m = found[12]
    assert m is not None
    assert m.vector == pytest.approx([0.0, 9.0], abs=1e-6)


def test_one_point_without_height_is_compared_in_plan() -> None:
    points = car_points()
    known = np.ones(len(points), dtype=bool)
    known[3] = False
    overlay, _, found = laid(shape(points), replace(shape(points), height_known=known))
    assert not overlay.plan_only
    assert [len(m.vector) for m in found if m is not None] == [2 if k == 3 else 3 for k in range(len(points))]


def test_no_figure_depends_on_the_pose_or_on_the_order_of_points() -> None:
    rng = np.random.default_rng(4)
    before = measured(shape(car_points()), rng)
    after = measured(shape(moved(car_points(), {12: (0.0, 7.0, 0.0)})), rng)
    _, agreement, found = laid(before, after)
    turn = rotation(0.01, -0.02, 2.5)
    turned = replace(
        after, xyz=after.xyz @ turn.T + [1000.0, -400.0, 30.0],
        effects=(turn @ after.effects.reshape(-1, 3, after.effects.shape[1])).reshape(after.effects.shape),
    )  # fmt: skip
    order = rng.permutation(len(after.names))
    rows = (3 * order[:, None] + np.arange(3)).ravel()
    shuffled = replace(
        turned, names=tuple(turned.names[k] for k in order), xyz=turned.xyz[order], effects=turned.effects[rows]
    )
    _, again, found_again = laid(before, shuffled)
    assert again.best == agreement.best
    for a, b in zip(found, found_again, strict=True):
        assert a is not None and b is not None
        assert b.vector == pytest.approx(a.vector, abs=1e-4)
        assert (b.could_be, b.smallest_seen) == pytest.approx((a.could_be, a.smallest_seen), abs=1e-4)


def test_front_against_rear_is_left_open() -> None:
    points = car_points(6)[:12]
    rear = dict.fromkeys(range(6, 12), (0.0, 12.0, 0.0))
    _, agreement, _ = laid(shape(points, 0.3), shape(moved(points, rear), 0.3))
    sets = {agreement.best, *agreement.rivals}
    assert {tuple(range(6)), tuple(range(6, 12))} <= sets


def test_what_moved_as_one_piece_is_told() -> None:
    points = car_points()
    rear = dict.fromkeys((8, 9, 10, 11, 12, 13), (1.0, 12.0, -2.0))
    overlay, agreement, _ = laid(shape(points, 0.3), shape(moved(points, rear), 0.3))
    apart = [k for k in range(len(points)) if k not in agreement.best]
    assert set(apart) == set(rear)
    assert moves_together(overlay, apart) == tuple(rear)
    assert moves_together(overlay, apart[:2]) == ()


def test_the_sum_of_squares_is_that_of_a_plain_least_squares_fit() -> None:
    rng = np.random.default_rng(9)
    before, after = measured(shape(car_points(), 0.4), rng), measured(shape(car_points(), 0.7), rng)
    overlay = congruent(Pair(before, after))[0]
    white = overlay.design / np.hypot(0.4, 0.7)
    y = overlay.difference / np.hypot(0.4, 0.7)
    rest = y - white @ np.linalg.lstsq(white, y, rcond=None)[0]
    test = global_test(overlay)
    assert test.square == pytest.approx(float(rest @ rest), rel=1e-6)
    assert test.freedom == 3 * len(overlay.names) - 6


def test_a_point_is_not_its_own_witness() -> None:
    """The movement of a point is what it is against the others, with or without it among the stable ones."""
    rng = np.random.default_rng(11)
    before, after = measured(shape(car_points()), rng), measured(shape(car_points()), rng)
    overlay, agreement, found = laid(before, after)
    without = [k for k in agreement.best if k != 5]
    a, b = found[5], movements(overlay, without)[5]
    assert a is not None and b is not None
    assert b.vector == pytest.approx(a.vector, abs=1e-9)
    assert b.could_be == pytest.approx(a.could_be, abs=1e-9)


def test_an_estimated_sd_widens_the_region() -> None:
    rng = np.random.default_rng(12)
    before, after = measured(shape(car_points()), rng), measured(shape(car_points()), rng)
    few = replace(after, freedom=np.full(after.effects.shape[1], 6.0))
    stated, estimated = laid(before, after)[2][0], laid(before, few)[2][0]
    assert stated is not None and estimated is not None
    assert estimated.could_be > stated.could_be
    assert estimated.smallest_seen > stated.smallest_seen
    assert (estimated.u95 > stated.u95).all()


def test_three_points_in_space_judge_nothing() -> None:
    points = car_points()[:3]
    _, _, found = laid(shape(points), shape(points))
    assert found == [None, None, None]
