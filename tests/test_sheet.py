"""The recording sheet and the list of tapes to run."""

import io

import pytest
from pypdf import PdfReader

from measure.job.points import Point
from measure.report.sheet import sections, sheet_bytes
from measure.report.sketch import sketch_places
from measure.tape_plan import groups, levels_to_read, tapes_to_run
from measure.template import default_points


def pages_of(data):
    return [page.extract_text() for page in PdfReader(io.BytesIO(data)).pages]


def test_seven_pairs_and_an_axle_take_about_sixty_tapes_and_none_twice():
    tapes = tapes_to_run(default_points())
    assert len(tapes) == 64
    assert len({frozenset(tape) for tape in tapes}) == 64
    assert all(a != b for a, b in tapes)
    assert tapes[:5] == [
        ("hornL", "hornR"),
        ("hornL", "cradleL"),
        ("hornR", "cradleR"),
        ("hornL", "cradleR"),
        ("hornR", "cradleL"),
    ]


def test_each_point_has_at_least_five_tapes():
    points = default_points()
    ends = [name for tape in tapes_to_run(points) for name in tape]
    assert min(ends.count(point.name) for point in points) >= 5


def test_lone_points_join_in_and_faces_and_mounts_do_not():
    points = [
        Point("aL", "L", "a"),
        Point("aR", "R", "a"),
        Point("hump"),
        Point("bL", "L", "b"),
        Point("bR", "R", "b"),
        Point("w1", "L", None, "face:rear"),
        Point("m1", "L", None, "mount:seat"),
    ]
    tapes = tapes_to_run(points)
    assert ("aL", "hump") in tapes and ("hump", "bR") in tapes
    assert not {"w1", "m1"} & {name for tape in tapes for name in tape}
    assert [len(g) for g in groups(points)] == [2, 1, 2]


def test_a_right_point_named_first_changes_nothing():
    points = [Point("aR", "R", "a"), Point("aL", "L", "a")]
    assert tapes_to_run(points) == [("aL", "aR")]
    assert levels_to_read(points) == [("aR", "aL")]


@pytest.mark.parametrize("points", [[], [Point("only")]])
def test_nothing_to_run(points):
    assert tapes_to_run(points) == []
    assert len(pages_of(sheet_bytes("empty", "before", points))) >= 1


def test_every_tape_has_a_row_in_order_and_every_page_its_number():
    points = default_points()
    pages = pages_of(sheet_bytes("Bench coupé", "before", points))
    lines = "\n".join(pages).splitlines()
    rows = []
    for number, (a, b) in enumerate(tapes_to_run(points), start=1):
        at = next(i for i in range(len(lines) - 2) if lines[i : i + 3] == [str(number), a, b])
        rows.append(at)
    assert rows == sorted(rows)
    for number, text in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in text and "Bench coupé, stage before" in text


def test_the_first_page_has_room_for_the_day_and_says_what_is_dangerous():
    text = " ".join(pages_of(sheet_bytes("car", "before", default_points()))[0].split())
    for words in (
        "date",
        "measured by",
        "supported on",
        "temperature of body",
        "FRONT",
        "Fuel lines",
        "local codes",
    ):
        assert words in text


def test_own_tapes_replace_the_list():
    tables = sections(default_points(), "mm", [("tailL", "hornR")])
    assert tables[0].rows[0][:3] == ("1", "tailL", "hornR")
    assert tables[0].rows[1][:3] == ("2", "", "")


@pytest.mark.parametrize(("paper", "size"), [("A4", (595.3, 841.9)), ("Letter", (612.0, 792.0))])
def test_paper(paper, size):
    reader = PdfReader(io.BytesIO(sheet_bytes("car", "before", default_points(), "in", paper)))
    box = reader.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(size, abs=0.1)
    assert reader.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None"
    assert "length, in" in reader.pages[1].extract_text()


def test_type_is_embedded():
    page = PdfReader(io.BytesIO(sheet_bytes("± ″ é ≤", "before", default_points()))).pages[0]
    fonts = [font.get_object() for font in page["/Resources"]["/Font"].values()]
    used = [font for font in fonts if "PlumbsquareSans" in str(font["/BaseFont"])]
    assert len(used) >= 2
    assert all("/FontFile2" in font["/FontDescriptor"] for font in used)
    assert "± ″ é ≤, stage before" in page.extract_text()


def test_same_bytes():
    assert sheet_bytes("car", "before", default_points()) == sheet_bytes("car", "before", default_points())


def test_long_names_and_many_points_still_print():
    points = [Point(f"a very long name of a point, number {i} {s}", s, f"p{i}") for i in range(40) for s in ("L", "R")]
    pages = pages_of(sheet_bytes("title " * 40, "before", points))
    assert len(pages) > 10 and "page 1 of" in pages[0]


def test_the_sketch_is_to_scale_only_where_all_positions_are_known():
    places, to_scale = sketch_places(default_points())
    assert not to_scale and places["hornL"] == (-0.6, 1.0) and places["axleR"][0] == 1.0
    known = [
        Point("aL", "L", "a", x=0.0, y=400.0),
        Point("aR", "R", "a", x=0.0, y=-400.0),
        Point("bL", "L", "b", x=-1000.0, y=200.0),
    ]
    places, to_scale = sketch_places(known)
    assert to_scale and places == {"aL": (-1.0, 1.0), "aR": (1.0, 1.0), "bL": (-0.5, 0.0)}
