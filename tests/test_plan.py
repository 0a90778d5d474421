"""The plan drawing and its layout."""

import dataclasses
import math
import subprocess
import sys
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from measure.cli import main
from measure.report import plan, plan_layout
from measure.report.plan import COLOURS, MARKERS, draw
from measure.result import PointResult
from tests.documents import FACE_CENTRES, OFFSETS, check, faced_car, loose_car, pulled_car


@pytest.mark.parametrize("kind", ["svg", "png"])
def test_the_same_document_gives_the_same_bytes_and_no_date(tmp_path, kind):
    draw(pulled_car(), tmp_path / f"a.{kind}")
    draw(pulled_car(), tmp_path / f"b.{kind}")
    drawn = (tmp_path / f"a.{kind}").read_bytes()
    assert drawn == (tmp_path / f"b.{kind}").read_bytes()
    assert b"dc:date" not in drawn and b"Software" not in drawn


def test_the_png_is_a_sheet_with_something_on_it(tmp_path):
    draw(pulled_car(), tmp_path / "plan.png")
    grey = np.asarray(Image.open(tmp_path / "plan.png").convert("L"))
    assert 1.40 < grey.shape[0] / grey.shape[1] < 1.43
    assert 0.01 < (grey < 128).mean() < 0.2


def test_the_svg_names_points_and_verdicts(tmp_path):
    draw(pulled_car(), tmp_path / "plan.svg")
    text = (tmp_path / "plan.svg").read_text()
    ET.fromstring(text)
    for words in ("tailL", "tail  OUTSIDE", "arm  UNDECIDED", "horn  within", "15 times as large", "1 : 20"):
        assert f"<!-- {words}" in text or words in text


@pytest.mark.parametrize("name", ["plan.pdf", "plan", "plan.jpg"])
def test_another_ending_is_refused_before_the_job_is_read(tmp_path, name):
    made = CliRunner().invoke(main, ["plan", str(tmp_path / "no_job"), "--out", str(tmp_path / name)])
    assert made.exit_code == 2 and f'"{name}": end the name in .svg or .png' in made.output
    assert not list(tmp_path.iterdir())


def test_hostile_names_stay_text(tmp_path):
    name = 'a$\\frac{1}{2}$ <script>--> & "x"\x1b'
    points = [dataclasses.replace(p, name=name) for p in pulled_car().points]
    draw(pulled_car(job=name, points=points), tmp_path / "plan.svg")
    root = ET.parse(tmp_path / "plan.svg").getroot()
    assert not [element for element in root.iter() if element.tag.endswith("script")]


def test_the_persons_own_settings_change_nothing(tmp_path):
    import matplotlib

    draw(pulled_car(), tmp_path / "a.svg")
    with matplotlib.rc_context({"lines.linewidth": 9, "svg.fonttype": "none", "savefig.bbox": "tight"}):
        draw(pulled_car(), tmp_path / "b.svg")
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()


def test_matplotlib_is_imported_only_to_draw():
    code = "import measure.report.plan, sys; sys.exit('matplotlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_what_nothing_holds_is_not_drawn_but_named(tmp_path):
    draw(loose_car(), tmp_path / "plan.svg")
    assert "Not held, not drawn: tailR." in (tmp_path / "plan.svg").read_text()


def test_no_points_many_points_and_one_point_all_draw(tmp_path):
    draw(pulled_car(points=[]), tmp_path / "none.png")
    one = PointResult("only", 5.0, 5.0, None, None, None, None)
    draw(pulled_car(points=[one], frame="network"), tmp_path / "one.png")
    many = [
        PointResult(f"p{i}{s}", -10.0 * i, y, 0.0, 1.0, 1.0, 1.0, 0.0, s, f"p{i}", "rail")
        for i in range(300)
        for s, y in (("L", 400.0), ("R", -400.0))
    ]
    draw(pulled_car(points=many), tmp_path / "many.png")


def test_shapes_and_lightness_tell_the_verdicts_apart_without_colour():
    def lightness(colour):  # relative luminance to CIE L*
        channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
        y = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
        return 116 * y ** (1 / 3) - 16 if y > 0.008856 else 903.3 * y

    values = sorted(lightness(COLOURS[v]) for v in ("within", "undecided", "outside"))
    assert min(np.diff(values)) > 18
    assert len(set(MARKERS.values())) == 4
    styles = [plan.RAIL, plan.SYMMETRIC, plan.SET_ASIDE, plan.CENTRELINE, plan.PAIR, plan.AXLE]
    assert len({(str(s["linestyle"]), s["linewidth"]) for s in styles}) == len(styles)


def test_a_pairs_displacement_is_its_offset_check():
    tail = next(s for s in plan_layout.stations(pulled_car()) if s.name == "tail")
    left, right = tail.places
    assert left.off_y == right.off_y == OFFSETS["tail"]
    assert left.y == pytest.approx(-right.y)


def test_an_axle_takes_its_worst_verdict_and_shows_its_lead():
    checks = [
        *pulled_car().checks,
        check("axle.rear.square", 0.5, unit="deg", limit=0.2, verdict="outside", words="0.50 degrees"),
    ]
    axle = next(s for s in plan_layout.stations(pulled_car(checks=checks)) if s.kind == "axle")
    assert {place.verdict for place in axle.places} == {"outside"}
    left, right = axle.places
    assert left.off_x == -right.off_x > 0
    assert left.x == pytest.approx(right.x) and left.y == pytest.approx(-right.y)


def test_an_axle_known_by_its_faces_stands_between_their_centres(tmp_path):
    axle = next(s for s in plan_layout.stations(faced_car()) if s.kind == "axle")
    assert [p.point.name for p in axle.places] == ["left face", "right face"]
    assert [(p.point.x, p.point.y) for p in axle.places] == [pytest.approx(c, abs=0.5) for c in FACE_CENTRES]
    draw(faced_car(), tmp_path / "plan.svg")
    assert "axle rear" in (tmp_path / "plan.svg").read_text()


def test_an_axle_that_has_ends_is_not_drawn_twice():
    both = [*pulled_car().points, *(p for p in faced_car().points if p.part == "face:rear")]
    axles = [s for s in plan_layout.stations(pulled_car(points=both)) if s.kind == "axle"]
    assert [[p.point.name for p in axle.places] for axle in axles] == [["axleL", "axleR"]]
    two = [p for p in faced_car().points if p.name not in ("face3L", "face3R")]  # no plane, no figure of the axle
    no_figure = [c for c in faced_car().checks if not c.name.startswith("axle.")]
    assert not plan_layout.face_centres(faced_car(checks=no_figure))
    assert len(plan_layout.face_points(pulled_car(points=two))) == 2


def test_the_title_block_lists_the_worst_first_and_counts_the_rest(tmp_path):
    more = [check(f"chart.p{i}.y", 3.0 + i, limit=2.0, verdict="outside", words=f"p{i} is off") for i in range(30)]
    draw(pulled_car(checks=[*pulled_car().checks, *more]), tmp_path / "plan.svg")
    text = (tmp_path / "plan.svg").read_text()
    assert text.index("p29 is off") < text.index("p28 is off") and "p3 is off" not in text
    shown = sum(f"p{i} is off" in text for i in range(30))
    assert f"and {31 - shown} more: see the tables" in text  # the rails' direction is among them


def test_statements_are_whole_or_counted():
    assert plan_layout.statements(["one", "two"], most=2) == ["one", "two"]
    assert plan_layout.statements(["one", "two", "three"], most=2) == ["one", "and 2 more: see the tables"]
    assert plan_layout.statements([" ".join(["long"] * 60)], most=2) == ["and 1 more: see the tables"]


def test_points_that_carry_no_verdict_have_no_leader_and_hide_nothing(tmp_path):
    alone = [PointResult(f"spot{i}", -900.0, 20.0 * i, 0.0, 1.0, 1.0, 1.0) for i in range(3)]
    draw(pulled_car(points=[*pulled_car().points, *alone]), tmp_path / "plan.svg")
    assert "spot2" in (tmp_path / "plan.svg").read_text()
    middle = plan_layout.beside([(50.0, 50.0)], ["spot"], [(50.0, 50.0)], 5.0)[0]
    assert middle == (51.2, 50.0)
    crowd = [(50.0 + x, 50.0 + y) for x in range(-9, 10) for y in range(-9, 10)]
    assert plan_layout.beside([(50.0, 50.0)], ["spot"], crowd, 5.0) == [None]
    first, second = plan_layout.beside(
        [(50.0, 50.0), (50.5, 50.0)], ["spot", "spot"], [(50.0, 50.0), (50.5, 50.0)], 5.0
    )
    assert first is not None and second is not None and abs(first[0] - second[0]) > 2.0


def test_the_scale_is_that_of_the_paper_it_is_on():
    scale = plan_layout.Scale(20.0, 10, -1000.0, 0.0)
    assert scale.told("A4") == "Scale 1 : 20 on A4." and scale.told("Letter") == "Scale 1 : 21.3 on Letter."
    assert "1 :" not in scale.told(None)


def test_front_is_up_and_left_is_left():
    scale = plan_layout.Scale(20.0, 10, -1000.0, 0.0)
    (x1, y1), (x2, y2) = scale.paper(0.0, 400.0), scale.paper(-2000.0, -400.0)
    assert x1 < x2 and y1 > y2


def test_the_ellipse_holds_95_percent_and_lies_the_right_way():
    rng = np.random.default_rng(5)
    point = PointResult("p", 0.0, 0.0, None, 1.0, 2.0, None, 1.2)
    drawn = rng.multivariate_normal([0, 0], [[1.0, 1.2], [1.2, 4.0]], 40_000)
    along, across, angle = plan_layout.ellipse(point)
    paper = np.stack([-drawn[:, 1], drawn[:, 0]])  # the car's y to the left, its x up
    turn = math.radians(angle)
    u = paper[0] * math.cos(turn) + paper[1] * math.sin(turn)
    v = -paper[0] * math.sin(turn) + paper[1] * math.cos(turn)
    assert ((u / along) ** 2 + (v / across) ** 2 <= 1).mean() == pytest.approx(0.95, abs=0.005)


def test_words_never_overlap_and_stay_near():
    wanted = [100.0, 99.0, 98.5, 40.0, 39.0, 0.0]
    heights = [6.0, 12.0, 6.0, 5.0, 5.0, 8.0]
    places = plan_layout.spread_out(wanted, heights)
    for (a, ha), (b, hb) in zip(
        zip(places, heights, strict=True), list(zip(places, heights, strict=True))[1:], strict=False
    ):
        assert a - b >= (ha + hb) / 2 - 1e-9
    assert places[5] == 0.0
    assert np.mean(places[3:5]) == pytest.approx(39.5)


def test_a_long_name_keeps_both_its_ends():
    name, size = plan_layout.shortened("front crossmember bolt hole number two L", 6.5, 18.5)
    assert name.startswith("front") and name.endswith("L") and "…" in name and size == 4.5
    assert plan_layout.shortened("hornL", 6.5, 18.5) == ("hornL", 6.5)
