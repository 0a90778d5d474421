"""Wheels half a turn on, as a second stage: what is taken from faces is free of how the sheets sit on their hub."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import measure.readings.photographs as photographs
from measure.check import check
from measure.photo.find import FoundPicture
from measure.result import Document
from tests.synthetic import truth
from tests.synthetic.photos import observe
from tests.walkrounds import WalkRound, walked

SQUARE: dict[str, object] = {
    "axle_offset": 0.0, "axle_yaw_deg": 0.0, "toe_deg": (0.1, 0.1), "camber_deg": (-0.5, -0.5),
}  # fmt: skip
BESIDE = 6.0
"""mm ahead of the wheel's axis at which the left face's sheets are glued, and behind it half a turn on."""


@contextmanager
def seen(walk: WalkRound, ahead: dict[str, float]) -> Iterator[None]:
    """The finder finds the left face's sheets so much ahead in each stage."""
    found = {}
    for number, (stage, off) in enumerate(ahead.items()):
        sheets = tuple(
            replace(s, centre=s.centre + np.array([off, 0.0, 0.0])) if s.point in ("face1L", "face2L", "face3L") else s
            for s in walk.scene.sheets
        )
        pictures = observe(replace(walk.scene, sheets=sheets), walk.shots, 0.04, np.random.default_rng(number))
        found[stage] = {p.picture.path.name: p for p in pictures}
    before = photographs.find_in

    def find(paths: list[Path], numbers: object = None, *, progress: object = None) -> list[FoundPicture]:
        pictures = [found[path.parent.parent.name][path.name] for path in paths]
        return [replace(p, picture=replace(p.picture, path=path)) for p, path in zip(pictures, paths, strict=True)]

    photographs.find_in = find  # type: ignore[assignment]
    try:
        yield
    finally:
        photographs.find_in = before


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, float], Document, Document]:
    """The truth, the document of the first stage alone, and that with the wheels half a turn on."""
    walk = walked(6001, pictures=20, build=1.0, car=SQUARE)
    job = tmp_path_factory.mktemp("turned") / "car"
    for stage in ("before", "turned"):
        walk.write(job, sd={"build": 1.0}, stage=stage)
        for path in (job / stage / "photos").iterdir():
            path.write_text(stage, encoding="utf-8")  # no two stages may hold the same pictures
    table = job / "job.toml"
    alone = table.read_text(encoding="utf-8").replace('stages = ["turned"]', 'stages = ["before", "turned"]')
    with seen(walk, {"before": BESIDE, "turned": -BESIDE}):
        table.write_text(alone, encoding="utf-8")
        first = check(job, "before")
        table.write_text(alone + '\n[stage.before]\nturned = "turned"\n', encoding="utf-8")
        both = check(job, "before")
    return truth(walk.car), first, both


@pytest.mark.parametrize("name", ["axle.rear.square", "axle.rear.offset", "axle.rear.thrust"])
def test_what_the_middles_and_the_planes_of_faces_give_is_averaged(
    told: tuple[dict[str, float], Document, Document], name: str
) -> None:
    true, first, both = told
    one, mean = (next(c for c in doc.checks if c.name == name) for doc in (first, both))
    assert mean.value is not None and mean.u95 is not None and one.value is not None
    assert abs(mean.value - true[name]) < 1.5 * mean.u95
    if name.endswith("square"):
        assert abs(one.value - true[name]) > 3 * mean.u95 and mean.verdict != "outside"


def test_one_position_alone_is_cautioned_about(told: tuple[dict[str, float], Document, Document]) -> None:
    _, first, both = told
    assert any("never glued quite about its axis" in caution for caution in first.cautions)
    assert not any("never glued quite about its axis" in caution for caution in both.cautions)
