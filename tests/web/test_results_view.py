"""The result document arranged for the page: what stands behind a figure, and names that can be read."""

from __future__ import annotations

from measure.result import PointResult
from measure.web.results_view import LETTER, LINE, NAME_OFF, plan, points_of, side_view
from tests.documents import pulled_car


def point(name: str, x: float, y: float, pair: str | None = None, side: str = "C") -> PointResult:
    return PointResult(name, x, y, 500.0, 0.5, 0.5, 0.5, 0.0, side, pair, "reference" if pair else "")


def test_the_readings_behind_a_figure_are_those_of_its_points() -> None:
    points = [
        point(f"{key}{side}", x, y, key, side)
        for key, x in (("nose", 0.0), ("tail", -2500.0), ("mid", -900.0)) for side, y in (("L", 400.0), ("R", -400.0))
    ]  # fmt: skip
    assert points_of("body.twist", points) == {"noseL", "noseR", "tailL", "tailR"}
    assert points_of("pair.mid.offset", points) == {"midL", "midR"}
    assert points_of("cross.nose.mid", points) == {"noseL", "noseR", "midL", "midR"}
    assert points_of("body.twist", []) == set()


def test_a_name_goes_inwards_where_another_point_stands() -> None:
    doc = pulled_car()
    (outward,) = [m for m in plan(doc).marks if m.name == "tailL"]  # type: ignore[union-attr]
    there = next(p for p in doc.points if p.name == "tailL")
    crowded = pulled_car(points=[*doc.points, point("bar", there.x or 0.0, (there.y or 0.0) + 450.0)])
    drawn = plan(crowded)
    assert drawn is not None and outward.named == "end"
    (mark,) = [m for m in drawn.marks if m.name == "tailL"]
    assert mark.named == "start"
    boxes = []
    for m in drawn.marks:
        x, y, wide = m.x + m.off_x * drawn.factor, m.y + m.off_y * drawn.factor, LETTER * len(m.name)
        left = x + NAME_OFF if m.named == "start" else x - NAME_OFF - wide
        boxes.append((left, left + wide, y))
    for i, (a, b, y) in enumerate(boxes):
        assert all(b < c or d < a or abs(y - v) > LINE for c, d, v in boxes[:i])


def test_the_side_view_names_one_side_and_no_faces() -> None:
    doc = pulled_car()
    seen = side_view(doc)
    assert seen is not None
    named = {name for name, _, _, _, named in seen["marks"] if named}
    assert "tailL" in named and "tailR" not in named


def test_the_name_of_a_point_that_is_not_judged_gives_way_where_there_is_no_room() -> None:
    doc = pulled_car()
    there = next(p for p in doc.points if p.name == "tailL")
    around = [point(f"bar{i}", (there.x or 0.0) + 4.0 * i, (there.y or 0.0)) for i in range(3)]
    drawn = plan(pulled_car(points=[*doc.points, *around]))
    assert drawn is not None
    assert all(m.named for m in drawn.marks if m.verdict != "no limit")
    assert "" in {m.named for m in drawn.marks if m.name.startswith("bar")}


def test_names_of_the_side_view_do_not_lie_over_each_other() -> None:
    doc = pulled_car()
    there = next(p for p in doc.points if p.name == "tailL")
    crowded = pulled_car(points=[*doc.points, point("bar", (there.x or 0.0) + 5.0, 0.0)])
    seen = side_view(crowded)
    assert seen is not None
    named = {name for name, _, _, _, named in seen["marks"] if named}
    assert "tailL" in named and "bar" not in named
