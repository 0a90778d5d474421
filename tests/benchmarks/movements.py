"""Two surveys of one car, compared: false alarms, what is seen, what hides, whether 95 % regions hold the truth.

Most pairs are simulated at the level of points: the shapes of two real sheets, every source of their uncertainty drawn
anew, laid down anywhere. A smaller number goes the whole way through files.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from measure.compare.congruence import congruent, global_test
from measure.compare.document import compare_stages
from measure.compare.movement import Movement, movements
from measure.compare.overlay import Pair
from measure.compare.shape import Shape, shape_of
from measure.compare.significance import critical_square
from measure.survey import survey as surveyed
from tests.benchmarks.simulated import many
from tests.make_compared_car import repaired_car, surveys, write
from tests.synthetic import make_car, survey
from tests.synthetic.survey import rotation

HIDDEN = 5.0
LIMIT = 3.0


@dataclass(frozen=True)
class Run:
    """What became of many pairs of surveys."""

    pairs: int
    global_alarms: float  # share of pairs, nothing moved
    single_alarms: float  # share of pairs with any point significant, nothing moved
    false_moved: int  # points called moved, nothing moved
    held: float  # share of points called held, nothing moved
    regions: float  # share of 95 % regions that hold the truth, nothing moved
    seen: float  # share of movements of the stated smallest size that were significant
    missed_hidden: int  # points that moved HIDDEN mm and were called held
    found_hidden: float  # share of those called moved
    ambiguous: float


def sheets() -> tuple[Shape, Shape]:
    """The shapes of the two stages of the sample car, before the repair both times."""
    before, _ = repaired_car()
    with tempfile.TemporaryDirectory() as folder:
        job = write(Path(folder) / "job", *surveys(before, before), {}, "two sheets")
        return shape_of(surveyed(job, "before")), shape_of(surveyed(job, "after"))


def drawn(shape: Shape, truth: np.ndarray, rng: np.random.Generator) -> Shape:
    """The shape measured once more: every source drawn anew, laid down anywhere, a little out of level."""
    noise = (shape.effects @ rng.standard_normal(shape.effects.shape[1])).reshape(-1, 3)
    turn = rotation(*np.radians(rng.uniform(-0.5, 0.5, 2)), float(rng.uniform(-np.pi, np.pi)))
    effects = (turn @ shape.effects.reshape(-1, 3, shape.effects.shape[1])).reshape(shape.effects.shape)
    return replace(shape, xyz=(truth + noise) @ turn.T + rng.uniform(-2000.0, 2000.0, 3), effects=effects)


def judged(before: Shape, after: Shape) -> tuple[list[Movement], bool, bool]:
    """(movement of every point, whether the global test passed, whether ambiguous)."""
    overlay, agreement = congruent(Pair(before, after))
    under = [movements(overlay, kept) for kept in (agreement.best, *agreement.rivals[:20])]
    found = [
        replace(first, significant=all(m is not None and m.significant for m in others))
        for first, *others in zip(under[0], *under, strict=True)
        if first is not None
    ]
    return found, global_test(overlay).passed, bool(agreement.rivals)


def one(seed: int, first: int, shapes: tuple[Shape, Shape]) -> tuple[bool, list[Movement], bool, bool, str]:
    """(global alarm, movements, ambiguous) where nothing moved; then (seen, verdict on a hidden movement)."""
    rng = np.random.default_rng([first, seed])
    truth = shapes[0].xyz
    before = replace(
        shapes[0], xyz=truth + (shapes[0].effects @ rng.standard_normal(shapes[0].effects.shape[1])).reshape(-1, 3)
    )
    found, passed, ambiguous = judged(before, drawn(shapes[1], truth, rng))
    k = int(rng.integers(len(truth)))
    worst = np.linalg.eigh(found[k].covariance)[1][:, -1] * rng.choice([-1.0, 1.0])
    verdicts = []
    for shift in (found[k].smallest_seen * worst, HIDDEN * unit(rng)):
        moved = truth.copy()
        moved[k] += shift
        verdicts.append(judged(before, drawn(shapes[1], moved, rng))[0][k])
    return not passed, found, ambiguous, verdicts[0].significant, verdicts[1].verdict(LIMIT)


def unit(rng: np.random.Generator) -> np.ndarray:
    """A direction in space."""
    vector = rng.standard_normal(3)
    return vector / np.linalg.norm(vector)


def run(pairs: int, workers: int = 1, first: int = 2026) -> Run:
    """Simulate pairs at the level of points."""
    shapes = sheets()
    made = many(partial(one, first=first, shapes=shapes), range(pairs), workers)
    found = [m for _, movements_, *_ in made for m in movements_]
    inside = [
        m.vector @ np.linalg.solve(m.covariance, m.vector) <= critical_square(len(m.vector), np.inf, 0.05)
        for m in found
    ]
    return Run(
        pairs,
        float(np.mean([alarm for alarm, *_ in made])),
        float(np.mean([any(m.significant for m in each) for _, each, *_ in made])),
        sum(m.verdict(LIMIT) == "moved" for m in found),
        float(np.mean([m.verdict(LIMIT) == "held" for m in found])),
        float(np.mean(inside)),
        float(np.mean([seen for *_, seen, _ in made])),
        sum(verdict == "held" for *_, verdict in made),
        float(np.mean([verdict == "moved" for *_, verdict in made])),
        float(np.mean([ambiguous for _, _, ambiguous, *_ in made])),
    )


def through_files(seed: int, first: int, moved: float) -> tuple[bool, bool, str]:
    """(global alarm, any point significant, verdict on the point that moved) of one pair, the whole way."""
    rng = np.random.default_rng([first, seed])
    car = make_car(rng)
    after = make_car(np.random.default_rng(0))
    after.points = car.points.copy()
    name = str(rng.choice([m.name for m in car.meta]))
    after.points[after.idx(name)] += moved * unit(rng)
    lean = rng.uniform(-1.0, 1.0, 4)
    sheets_ = (
        survey(car, rng, tapes=60, drops=2, roll_deg=float(lean[0]), pitch_deg=float(lean[1])),
        survey(after, rng, tapes=60, drops=2, roll_deg=float(lean[2]), pitch_deg=float(lean[3]), stage="after"),
    )
    with tempfile.TemporaryDirectory() as folder:
        found = compare_stages(write(Path(folder) / "job", *sheets_, {}, "a pair"), "before", "after")
    verdict = next((m.verdict for m in found.movements if m.name == name), "not held in both")
    return not found.global_test.passed, any(m.significant for m in found.movements), verdict


def table(pairs: int = 1000, files: int = 100, workers: int = 1) -> list[str]:
    """Run and say what came out."""
    r = run(pairs, workers)
    error = 100 * (0.05 * 0.95 / pairs) ** 0.5
    still = many(partial(through_files, first=7, moved=0.0), range(files), workers)
    hidden = many(partial(through_files, first=8, moved=HIDDEN), range(files), workers)
    return [
        f"movements ({pairs} pairs of surveys at the level of points, a careful sheet, limit {LIMIT:g} mm)",
        f"  nothing moved: global test raises an alarm in {100 * r.global_alarms:.1f} % (5 +- {error:.1f})",
        f"  nothing moved: some point significant in {100 * r.single_alarms:.1f} % (family-wise 5)",
        f"  nothing moved: 95 % regions hold the truth in {100 * r.regions:.1f} %, ambiguous {100 * r.ambiguous:.1f} %",
        f"  nothing moved: held {100 * r.held:.0f} % of points, called moved {r.false_moved}",
        f"  a movement of the stated smallest size is significant in {100 * r.seen:.1f} % (80 or more)",
        f"  a point moved {HIDDEN:g} mm: called held {r.missed_hidden} times, moved {100 * r.found_hidden:.0f} %",
        f"movements ({files} pairs through files, 60 tapes, two drops, heights)",
        f"  nothing moved: global alarm {np.mean([a for a, *_ in still]) * 100:.0f} %, "
        f"some point significant {np.mean([s for _, s, _ in still]) * 100:.0f} %",
        f"  a point moved {HIDDEN:g} mm: called held {sum(v == 'held' for *_, v in hidden)} times, "
        f"moved {sum(v == 'moved' for *_, v in hidden)}, significant {np.mean([s for _, s, _ in hidden]) * 100:.0f} %",
    ]


if __name__ == "__main__":
    print("\n".join(table()))
