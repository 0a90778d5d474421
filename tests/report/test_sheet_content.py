"""What a sheet says."""

from __future__ import annotations

import dataclasses

import pytest

from measure.job.limits import FAMILIES
from measure.job.points import Point
from measure.job.settings import StageInfo
from measure.report.certificate.content import BLANKS, NOT_RECORDED, sheet
from measure.report.certificate.parts import Items, Paragraph, Section, Sheet, Table, shown
from measure.report.sources import by_file, place, unchecked
from measure.result import Document, PointResult, ReadingResult
from tests.documents import check, loose_car, pulled_car
from tests.report.sheets import job, repaired


def section(made: Sheet, start: str) -> Section:
    return next(s for s in made.sections if s.title.startswith(start))


def words(made: Section) -> str:
    told = []
    for part in made.parts:
        if isinstance(part, Table):
            told += [part.caption, *(text for row in part.rows for cell in row for text in (cell.text, *cell.below))]
        elif isinstance(part, Items):
            told += [part.lead, *part.items]
        else:
            told.append(part.text)
    return "\n".join(told)


def test_everything_out_is_named_worst_first_with_its_warning() -> None:
    more = [check(f"chart.p{i}.y", 3.0 + i, limit=2.0, verdict="outside") for i in range(30)]
    worst = check("axle.front.thrust", 9.0, unit="deg", limit=0.2, verdict="outside")
    fine = [check(f"pair.f{i}.offset", 0.1, limit=3.0, verdict="within") for i in range(40)]
    made = sheet(pulled_car(checks=[*pulled_car().checks, *more, worst, *fine]), job())
    out, undecided, good = made.answers
    assert (out.key, undecided.key, good.key) == ("OUT", "UNDECIDED", "FINE")
    assert out.items[0].startswith("axle front, rolling direction")
    placed = [next(i for i, item in enumerate(out.items) if f"p{k} " in item) for k in range(30)]
    assert placed == sorted(placed, reverse=True)
    tail = out.items.index("pair tail, sideways: 8.2 mm to the left")
    assert placed[2] > tail > placed[3]  # 8.2 of 3 is more than 5 of 2, and less than 6 of 2
    assert out.items[32] == "Single drops of the bob carry pair tail, sideways: drop again before cutting"
    assert len(undecided.items) == 1 and "pair arm, sideways; pair kick, sideways" in undecided.items[0]
    assert good.items[0].endswith(" more") and len(good.items[0]) <= 100


def test_where_all_that_is_out_rests_on_single_drops_that_is_said_once() -> None:
    out = sheet(pulled_car(), job()).answers[0]
    assert out.items[1:] == ("All of it rests on single drops of the bob: drop again before cutting",)


def test_every_check_of_the_document_stands_on_the_sheet_once() -> None:
    doc = pulled_car()
    tables = [p for p in section(sheet(doc, job()), "Figures").parts if isinstance(p, Table)]
    listed = [row[0].text for table in tables for row in table.rows]
    assert len(listed) == len(set(listed))
    judged = [row for table in tables for row in table.rows if len(row) == 6 and row[5].text != "–"]
    assert len(judged) == sum(c.limit is not None for c in doc.checks)
    widths = next(t for t in tables if "left against right" in t.caption)
    assert len(widths.rows) == len({c.name.split(".")[1] for c in doc.checks if c.name.startswith("pair.")})


def test_a_wheel_face_and_a_chart_have_tables_of_their_own() -> None:
    more = [check("face.rear.L.toe", 0.1, unit="deg"), check("chart.hornL.x", 2.0, limit=3.0, verdict="within")]
    figures = section(sheet(pulled_car(checks=[*pulled_car().checks, *more]), job()), "Figures")
    captions = [p.caption for p in figures.parts if isinstance(p, Table)]
    assert "Wheel faces" in captions and "Against the factory's chart" in captions


def test_how_the_car_stood_is_on_top_and_what_nobody_wrote_down_is_said() -> None:
    facts = dict(sheet(pulled_car(), job()).facts)
    assert facts["measured on"] == "2026-03-14" and facts["temperature of the body"] == "21.5 °C"
    for unsaid in ({}, {"before": StageInfo()}):
        facts = dict(sheet(pulled_car(), job(stage_info=unsaid)).facts)
        assert [facts[f"{words}"] for words in ("measured on", "measured by", "car supported on")] == [NOT_RECORDED] * 3
        assert "temperature of the body" not in facts


def test_the_car_is_identified_by_hand() -> None:
    assert sheet(pulled_car(), job()).blanks == BLANKS
    assert "registration or chassis number" in BLANKS and "mileage" in BLANKS


def test_suspects_and_pairs_set_aside_are_named_with_the_reason() -> None:
    told = words(section(sheet(pulled_car(), job()), "Suspects"))
    assert "two digits swapped" in told and "set aside and moves nothing" in told
    assert "because they do not agree with the others: tail" in told
    assert "No reading looks wrong" in words(section(sheet(pulled_car(suspects=[]), job()), "Suspects"))


def test_what_is_not_held_is_said() -> None:
    told = words(section(sheet(loose_car(), job()), "What was not measured"))
    assert "a tape from tailR to kickL" in told and "Heights" in told
    assert "levels.csv line 3 (tailL to tailR)" in told


def test_a_point_without_a_reading_is_no_figure_held() -> None:
    absent = job(points=[Point("hornL"), Point("dashR"), Point("fl")])
    fl = PointResult("fl", None, None, None, None, None, None)
    car = pulled_car(
        points=[*pulled_car().points, fl], checks=[], cautions=["Not measured in this stage: fl."],
        readings=[ReadingResult("t.csv:2", "floor", ["hornL#2", "dashR"], 1.0, 1.0, 0.0, 1.0, 0.5, 0.0, 1.0)],
    )  # fmt: skip
    told = words(section(sheet(car, absent), "What was not measured"))
    assert "Not measured in this stage: fl." in told and "Every figure" not in told and told.count("fl") == 1
    assert "fl." not in words(section(sheet(car, absent), "Mind"))


def test_limits_say_their_source() -> None:
    told = words(section(sheet(pulled_car(), job()), "Limits"))
    assert "common practice, no source" in told and "set for this job" not in told
    own = {**FAMILIES, "offset": 2.0, "axle.rear.offset": 1.0}
    told = words(section(sheet(pulled_car(), job(limits=own)), "Limits"))
    assert told.count("set for this job in job.toml") == 2 and "axle rear, sideways" in told


def test_the_limit_of_movements_is_there_where_stages_are_compared() -> None:
    assert "movement" not in words(section(sheet(pulled_car(), job()), "Limits"))
    made = section(sheet(pulled_car(), job(), repaired()), "Limits")
    table = next(p for p in made.parts if isinstance(p, Table))
    row = next(row for row in table.rows if "movement" in row[0].text)
    assert [cell.text for cell in row[1:]] == ["3", "mm", "common practice, no source"]
    assert "Moved: " in words(made) and "Held: " in words(made)


@pytest.mark.parametrize(
    ("kinds", "there", "absent"),
    [
        (("floor", "plumb", "heights"), ("plumb bob", "the tape", "heights"), ("target images", "bars")),
        (("target", "bar"), ("target images, and the lens", "bars"), ("bob", "tape", "smudged", "heights")),
        (("xyz",), ("measured in space",), ("bob", "tape", "target")),
    ],
)
def test_what_is_in_the_uncertainty_are_the_readings_that_were_taken(
    kinds: tuple[str, ...], there: tuple[str, ...], absent: tuple[str, ...]
) -> None:
    readings = [
        ReadingResult(f"t.csv:{i}", kind, ["a"], 1.0, 1.0, 0.0, 1.0, 0.5, 0.0, 1.0) for i, kind in enumerate(kinds)
    ]
    parts = section(sheet(pulled_car(readings=readings, tapes=[]), job()), "How sure").parts
    told = " ".join(p.text for p in parts[:2] if isinstance(p, Paragraph))
    assert all(word in told for word in there) and not any(word in told for word in absent)
    assert told.count("standard deviation") == 1


def test_a_sheet_that_fits_better_than_stated_does_not_alarm() -> None:
    network = dataclasses.replace(pulled_car().network, sigma0=0.4, scaled=[], sigma0_after=None)
    told = words(section(sheet(pulled_car(network=network), job()), "How sure"))
    assert "agree better than was assumed" in told and "passed" not in told


def test_what_only_the_keeper_of_the_files_can_do_is_not_on_the_sheet() -> None:
    turn = (
        "turn it half a turn, photograph once more as a stage of its own, and name that stage in [stage.b] as turned."
    )
    told = words(section(sheet(pulled_car(cautions=[turn]), job()), "Mind"))
    assert "as a stage of its own." in told and "[stage" not in told


def test_a_rails_own_shape_is_no_damage() -> None:
    bows = [check("rail.L.bow", 54.4, words="left rail bows 54.4 mm outward")]
    told = words(section(sheet(pulled_car(checks=bows), job()), "Figures"))
    assert "the design's own shape is in it" in told
    judged = [check("rail.L.bow", 54.4, limit=60.0, verdict="within")]
    assert "own shape" not in words(section(sheet(pulled_car(checks=judged), job()), "Figures"))


def test_cautions_fingerprint_and_lines_to_sign() -> None:
    made = sheet(pulled_car(), job())
    assert "jack alone" in words(section(made, "Mind"))
    assert "ab12" * 16 in words(section(made, "Method"))
    assert made.sign == ("name", "date", "signature")


def test_an_empty_document_still_makes_a_sheet() -> None:
    bare = dataclasses.replace(loose_car(), points=[], checks=[], readings=[], loose=[], pieces=[], cautions=[])
    made = sheet(bare, job())
    assert [a.items for a in made.answers] == [("nothing",)] * 3
    assert all(isinstance(p, Paragraph) or words(s) for s in made.sections for p in s.parts)


def test_lines_of_tables_are_told_in_runs() -> None:
    told = by_file(["a.csv:2", "a.csv:4", "a.csv:3", "a.csv:9", "b.csv:1", "the drop of the bob at x", "x:²"])
    assert told == ["a.csv lines 2 to 4, 9", "b.csv line 1", "the drop of the bob at x", "x:²"]


def test_what_nothing_checks_is_named_by_its_points_and_targets() -> None:
    def reading(source: str, kind: str, *names: str) -> ReadingResult:
        return ReadingResult(source, kind, list(names), 1.0, 1.0, 0.0, 1.0, 0.0, None, None)

    readings = [
        reading("tape.csv:9", "floor", "a", "b"), reading("heights.csv:2", "heights", "c"),
        reading("marks.csv:2", "marks", "d", "along"), reading("marks.csv:2", "marks", "d", "across"),
        reading("photos/IMG_0001.jpg:40", "target", "e", "across"),
    ]  # fmt: skip
    sources = [r.source for r in readings] + ["photos/IMG_0001.jpg:20"]
    doc: Document = pulled_car(readings=readings, unchecked=sources)
    assert unchecked(doc) == [
        "tape.csv line 9 (a to b)", "heights.csv line 2 (c)", "marks.csv line 2 (d)", "targets 20, 40 in IMG_0001",
    ]  # fmt: skip


def test_a_reading_is_named_as_people_call_it() -> None:
    assert place("photos/IMG_0001.jpg:40") == "target 40 in IMG_0001"
    assert place("tape.csv:12") == "tape.csv line 12" and place("x:²") == "x:²"


def test_no_line_ends_between_a_figure_and_its_unit() -> None:
    assert shown("± 2.1 mm, 95 %\x1b") == "±\xa02.1\xa0mm, 95\xa0% "
