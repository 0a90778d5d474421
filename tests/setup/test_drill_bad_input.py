"""What cannot be drilled is said in words, all at once, with exit status 2, and nothing is lost."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from measure.findings import BadInput
from measure.setup.drill import drill
from tests.odd_jobs import snapshot
from tests.setup.drilled_car import Hole, drilled_car

X = -1140.0


def refused(folder: Path, **kinds: Any) -> str:
    drilled_car(folder, np.random.default_rng(5), **kinds)
    return refused_as_it_is(folder)


def refused_as_it_is(folder: Path) -> str:
    before = snapshot(folder)
    with pytest.raises(BadInput) as bad:
        drill(folder)
    assert snapshot(folder) == before
    return str(bad.value)


def two(y: float, x: float = 0.0, diameter: float = 12.0) -> list[Hole]:
    return [("a", x, y, 0.0, diameter, 10.0), ("b", x, -y, 0.0, diameter, 10.0)]


CASES: dict[str, tuple[dict[str, Any], tuple[str, ...]]] = {
    "wider than the rails": ({"mount": {"width": 930.0}}, ("mounts.csv line 2", "mm wider than the rails leave")),
    "wider by its holes": ({"holes": two(700.0)}, ("wider than the rails leave",)),
    "on the rail's edge": ({"holes": two(460.0)}, ("edge of the left rail", "edge of the right rail", "on_rails")),
    "on the edge of a rail it is bolted to": (
        {"holes": two(500.0), "mount": {"on_rails": True, "rail_width": 40.0}}, ("on an edge of the left rail",),
    ),
    "arcs that cannot cross": (
        {"mount": {"from": "outrigger", "ahead": 3000.0}}, ("no two plumb marks", "the best cross"),
    ),
    "a pilot far off": ({"pilots": {"fl": (X + 140.0, 410.0, -20.0)}}, ("points.csv line 18", "mm from where hole")),
    "a pilot on the wrong side": ({"pilots": {"fl": (X + 40.0, -410.0, -20.0)}}, ("changed about",)),
    "no mirror image though symmetric": (
        {"holes": [*two(300.0), ("c", 50.0, 300.0, 0.0, 12.0, 10.0)], "mount": {"symmetric": True}}, ("mirror image",),
    ),
    "holes that cut into each other": (
        {"holes": [*two(300.0), ("c", 5.0, 300.0, 0.0, 12.0, 10.0)]}, ("cut into hole",),
    ),
    "no place given": ({"mount": {"from": None}}, ("from = ", "outrigger")),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_refused_in_words(case, tmp_path):
    kinds, words = CASES[case]
    told = refused(tmp_path, **kinds)
    for each in words:
        assert each in told, told


def edited(folder: Path, file: str, old: str, new: str) -> str:
    drilled_car(folder, np.random.default_rng(5), pilots={"fl": (X + 40.0, 411.0, -20.0)})
    path = folder / file
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))
    return refused_as_it_is(folder)


@pytest.mark.parametrize(
    ("file", "old", "new", "words"),
    [
        ("job.toml", "[mount.crossmember]", "[mount.crosmember]", "crossmember"),
        ("job.toml", 'from = "crossbar"', 'from = "crosbar"', 'did you mean "crossbar"'),
        ("job.toml", 'from = "crossbar"', 'from = "axle:front"', "axle:NAME"),
        ("job.toml", 'from = "crossbar"', 'from = "crossbar"\nclearence = 3', 'did you mean "clearance"'),
        ("job.toml", 'from = "crossbar"', 'from = "crossbar"\ndrops = 0', "drops"),
        ("mounts.csv", "crossmember,fl", "crosmember,fl", "from"),
        ("points.csv", "mount:crossmember", "mount:crossmembre", 'did you mean "crossmember"'),
    ],
)
def test_names_that_do_not_meet(file, old, new, words, tmp_path):
    assert words in edited(tmp_path, file, old, new)


def test_a_point_named_like_no_hole_is_told_the_nearest(tmp_path):
    drilled_car(tmp_path, np.random.default_rng(5), pilots={"fl": (X + 40.0, 411.0, -20.0)})
    table = tmp_path / "mounts.csv"
    table.write_text(table.read_text().replace(",fl,", ",leftfront,"))
    told = refused_as_it_is(tmp_path)
    assert 'from hole "leftfront"' in told and "crossmember.HOLE" in told


def test_a_point_may_carry_the_name_of_its_mount(tmp_path):
    drilled_car(tmp_path, np.random.default_rng(5), pilots={"fl": (X + 40.0, 411.0, -20.0)})
    for path in tmp_path.rglob("*.csv"):
        if path.name != "mounts.csv":
            path.write_text(path.read_text().replace("fl,", "crossmember.fl,"))
    assert drill(tmp_path).mounts[0].why == "pilot"


def test_no_table_of_holes(tmp_path):
    drilled_car(tmp_path, np.random.default_rng(5))
    (tmp_path / "mounts.csv").unlink()
    assert "no holes" in refused_as_it_is(tmp_path)


def test_no_centreline(tmp_path):
    drilled_car(tmp_path, np.random.default_rng(5))
    table = (tmp_path / "points.csv").read_text()
    (tmp_path / "points.csv").write_text(table.replace(",L,reference", ",C,").replace(",R,reference", ",C,")
                                         .replace(",L,rail", ",C,").replace(",R,rail", ",C,"))  # fmt: skip
    assert "no centreline" in refused_as_it_is(tmp_path) or "from" in refused_as_it_is(tmp_path)
