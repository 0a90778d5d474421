"""Photographs in two groups that share no target: lengths between them join them, or say that they cannot."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from measure.findings import BadInput, Findings
from measure.photo.find import TargetImage
from measure.refusals import refuse_a_wrong_arrangement
from measure.survey import Surveyed, survey
from tests.synthetic import truth
from tests.walkrounds import WalkRound, walked

FIGURES = ("axle.rear.offset", "axle.rear.thrust")


def front_and_rear(seed: int, job: Path, lengths: int) -> WalkRound:
    """Every other picture sees the front only, the rest the rear; straight tapes of 0.5 mm between them."""
    walk = walked(seed, pictures=24, build=1.0)
    walk.write(job, sd={"build": 1.0})
    stage = job / "before"
    point_of = {}
    for line in (stage / "targets.csv").read_text(encoding="utf-8").splitlines()[1:]:
        number, point, *_ = line.split(",")
        point_of[int(number)] = point
    middle = np.median([place[0] for place in walk.scene.points.values()])
    in_front = {name: bool(place[0] > middle) for name, place in walk.scene.points.items()}
    order = {picture.picture.path.name: i for i, picture in enumerate(walk.found)}

    def half(name: str, target: TargetImage) -> TargetImage | None:
        return target if in_front[point_of[target.number]] == (order[name] % 2 == 0) else None

    walk.spoil(half)
    draw = np.random.default_rng(seed)
    names = [name for name in walk.scene.points if not name.startswith("bar")]
    pairs = [(a, b) for a in names for b in names if in_front[a] and not in_front[b]]
    rows = []
    for i in draw.permutation(len(pairs))[:lengths]:
        a, b = pairs[i]
        length = np.linalg.norm(np.subtract(walk.scene.points[a], walk.scene.points[b])) + draw.normal(0.0, 0.5)
        rows.append(f"{a},{b},{length:.1f},car,\n")
    with (stage / "tape.csv").open("a", encoding="utf-8") as table:
        table.writelines(rows)
    return walk


@pytest.fixture(scope="module")
def joined(tmp_path_factory: pytest.TempPathFactory) -> tuple[WalkRound, Surveyed]:
    job = tmp_path_factory.mktemp("blocks") / "car"
    walk = front_and_rear(3000, job, 12)
    with walk.seen():
        return walk, survey(job)


def test_twelve_straight_tapes_join_two_groups_that_lean_against_each_other(
    joined: tuple[WalkRound, Surveyed],
) -> None:
    walk, surveyed = joined
    assert len({r.seen.block.name for r in surveyed.readings if r.seen}) == 2
    assert len(surveyed.solved.pieces) == 1 and surveyed.standing is not None
    true = truth(walk.car)
    told = {j.check.name: j for j in surveyed.standing.judged}
    for name in FIGURES:
        judged = told[name]
        assert judged.figure is not None and judged.u95 is not None
        assert abs(judged.figure.value - true[name]) < 1.5 * judged.u95, name


def test_an_absurd_figure_across_two_groups_is_refused_though_each_is_photographed(
    joined: tuple[WalkRound, Surveyed],
) -> None:
    """Within a group photographs place the points; between groups lengths alone do, and may fold."""
    _, surveyed = joined
    assert surveyed.standing is not None
    absurd = []
    for judged in surveyed.standing.judged:
        if judged.check.name == "axle.rear.thrust" and judged.figure is not None:
            judged = replace(judged, figure=replace(judged.figure, value=-69.0))
        absurd.append(judged)
    standing = replace(surveyed.standing, judged=tuple(absurd))
    with pytest.raises(BadInput, match="arrangement"):
        refuse_a_wrong_arrangement("before", surveyed.readings, standing, Findings())
    refuse_a_wrong_arrangement("before", surveyed.readings, surveyed.standing, Findings())


def test_without_a_tape_between_them_the_groups_are_named(tmp_path: Path) -> None:
    walk = front_and_rear(3001, tmp_path / "car", 0)
    with walk.seen(), pytest.raises(BadInput) as refused:
        survey(tmp_path / "car")
    words = str(refused.value)
    assert "photographs in 2 groups: IMG_" in words and "take more that show some of both" in words
    assert "pieces with no reading between them" not in words  # the bars reach from one to the other, and hold no turn
