"""The least a mount must move and turn to go between its rails, against a search of every offset and turn."""

from __future__ import annotations

import numpy as np
import pytest

from measure.job import Mount, MountHole
from measure.setup.between_rails import conditions, least_off, shortfall
from measure.setup.existing_use import use_of
from measure.setup.mounts import Wanted
from measure.setup.rails_beside import Rail, rail_beside

LIMITS = 3.0, 0.2


def wanted(**settings: object) -> Wanted:
    holes = tuple(MountHole("box", n, x, y, None, 12.0, 10.0) for n, x, y in (("a", 60.0, 400.0), ("b", -60.0, -400.0)))
    return Wanted("box", Mount.model_validate(settings, context={"unit": "mm"}), holes)


def rails(rng: np.random.Generator) -> dict[str, Rail]:
    return {
        side: Rail((0, 1), -500.0, out * 415.0 + rng.normal(0, 6), 1000.0, rng.normal(0, 0.006))
        for side, out in (("L", 1.0), ("R", -1.0))
    }


@pytest.mark.parametrize("seed", range(12))
def test_the_least_is_the_least(seed):
    rng = np.random.default_rng(seed)
    mount, beside = wanted(clearance=2.0), rails(rng)
    found = least_off(mount, 0.0, beside, *LIMITS)
    A, b = conditions(mount, 0.0, beside)
    y, yaw = np.meshgrid(np.linspace(-25, 25, 401), np.radians(np.linspace(-2, 2, 401)))
    fits = np.all(A[:, :1] * y.ravel() + A[:, 1:] * yaw.ravel() <= b[:, None], axis=0)
    if found is None:
        assert not fits.any()
        return
    assert np.all(A @ found <= b + 1e-6)
    cost = (y.ravel() / LIMITS[0]) ** 2 + (np.degrees(yaw.ravel()) / LIMITS[1]) ** 2
    mine = (found[0] / LIMITS[0]) ** 2 + (np.degrees(found[1]) / LIMITS[1]) ** 2
    assert mine <= cost[fits].min() + 1e-9 if fits.any() else True


def test_a_mount_with_room_stays_where_it_belongs():
    beside = {side: Rail((0, 1), -500.0, y, 1000.0, 0.0) for side, y in (("L", 450.0), ("R", -450.0))}
    assert least_off(wanted(), 0.0, beside, *LIMITS) == (0.0, 0.0)
    assert shortfall(wanted(), 0.0, beside) == pytest.approx(812.0 - 900.0)
    assert least_off(wanted(width=910.0), 0.0, beside, *LIMITS) is None
    assert least_off(wanted(clearance=60.0), 0.0, {"L": beside["L"]}, *LIMITS) is not None


class _Job:
    def __init__(self, names: list[str]) -> None:
        self.points = [type("P", (), {"name": n, "part": "rail", "side": "L"}) for n in names]


@pytest.mark.parametrize(("x", "ends"), [(50.0, (1, 0)), (-50.0, (2, 1)), (250.0, (1, 0)), (-350.0, (2, 1))])
def test_the_rail_beside_a_mount_runs_through_the_points_next_to_it(x, ends):
    xyz = np.array([(100.0, 5.0, 0.0), (0.0, 0.0, 0.0), (-100.0, 3.0, 0.0)])
    rail = rail_beside(_Job(["a", "b", "c"]), ("a", "b", "c"), xyz, "L", x)  # type: ignore[arg-type]
    assert rail is not None and rail.ends == ends
    line = np.polyfit(xyz[list(ends), 0], xyz[list(ends), 1], 1)
    assert rail.y(x) == pytest.approx(np.polyval(line, x))


def test_a_rail_is_not_followed_far_beyond_its_ends():
    xyz = np.array([(100.0, 5.0, 0.0), (0.0, 0.0, 0.0)])
    job = _Job(["a", "b"])
    assert rail_beside(job, ("a", "b"), xyz, "L", 401.0) is None  # type: ignore[arg-type]
    assert rail_beside(job, ("a",), xyz[:1], "L", 0.0) is None  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("off", "sd", "settings", "verdict", "words"),
    [
        ((0.3, 0.2), 0.1, {}, "use", "as it is"),
        ((0.0, -2.5), 0.1, {"slot": 3.0}, "slot", "1.5 mm longer towards the left"),
        ((-2.5, 0.0), 0.1, {"slot": 3.0}, "slot", "towards the front"),
        ((0.0, 2.0), 0.1, {"oversize": 3.0}, "slot", "opened to"),
        ((0.9, 0.0), 0.2, {"slot": 2.0}, "slot", "try the bolt"),
        ((0.9, 0.0), 0.2, {}, "undecided", "measure it again"),
        ((8.0, 0.0), 0.2, {"slot": 3.0}, "redrill", "welded shut"),
        ((25.0, 0.0), 0.2, {"slot": 3.0}, "redrill", "13.0 mm of metal"),
    ],
)
def test_what_can_be_done_with_a_hole(off, sd, settings, verdict, words):
    mount = wanted(**settings)
    found = use_of(mount, mount.holes[0], "a", None, np.array(off), sd * np.eye(2), np.full(2, np.inf))
    assert found.verdict == verdict and words in found.words, found.words
