"""What a sheet says."""

from __future__ import annotations

import dataclasses

from measure.job.limits import FAMILIES
from measure.report.certificate.content import _by_file, sheet
from measure.report.certificate.parts import Items, Paragraph, Section, Sheet, Table, shown
from tests.documents import check, loose_car, pulled_car
from tests.report.sheets import job


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


def test_the_answer_is_three_lines_worst_first() -> None:
    out, undecided, fine = sheet(pulled_car(), job()).answers
    assert (out.key, undecided.key, fine.key) == ("OUT", "UNDECIDED", "FINE")
    assert "tail" in out.text and "arm" in undecided.text + fine.text
    assert not any("\n" in a.text for a in (out, undecided, fine))


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


def test_how_the_car_stood_is_on_top_and_blank_where_unsaid() -> None:
    facts = dict(sheet(pulled_car(), job()).facts)
    assert facts["measured on"] == "2026-03-14" and facts["temperature of the body"] == "21.5 °C"
    assert "measured on" not in dict(sheet(pulled_car(), job(stage_info={})).facts)


def test_suspects_and_pairs_set_aside_are_named_with_the_reason() -> None:
    told = words(section(sheet(pulled_car(), job()), "Suspects"))
    assert "two digits swapped" in told and "set aside and moves nothing" in told
    assert "because they do not agree with the others: tail" in told
    assert "No reading looks wrong" in words(section(sheet(pulled_car(suspects=[]), job()), "Suspects"))


def test_what_is_not_held_is_said() -> None:
    told = words(section(sheet(loose_car(), job()), "What was not measured"))
    assert "a tape from tailR to kickL" in told and "Heights" in told and "levels.csv line 3" in told


def test_limits_say_their_source() -> None:
    told = words(section(sheet(pulled_car(), job()), "Limits"))
    assert "common practice, no source" in told and "set for this job" not in told
    own = {**FAMILIES, "offset": 2.0, "axle.rear.offset": 1.0}
    told = words(section(sheet(pulled_car(), job(limits=own)), "Limits"))
    assert told.count("set for this job in job.toml") == 2 and "axle rear, sideways" in told


def test_a_job_in_inches_has_inches_below() -> None:
    told = words(section(sheet(pulled_car(units="in"), job(units="in")), "Figures"))
    assert " in\n" in told and "0.06 in" in told


def test_cautions_fingerprint_and_lines_to_sign() -> None:
    made = sheet(pulled_car(), job())
    assert "jack alone" in words(section(made, "Mind"))
    assert "ab12" * 16 in words(section(made, "Method"))
    assert made.sign == ("name", "date", "signature")


def test_an_empty_document_still_makes_a_sheet() -> None:
    bare = dataclasses.replace(loose_car(), points=[], checks=[], readings=[], loose=[], pieces=[], cautions=[])
    made = sheet(bare, job())
    assert [a.text for a in made.answers] == ["nothing"] * 3
    assert all(isinstance(p, Paragraph) or words(s) for s in made.sections for p in s.parts)


def test_lines_of_tables_are_told_in_runs() -> None:
    told = _by_file(["a.csv:2", "a.csv:4", "a.csv:3", "a.csv:9", "b.csv:1", "the drop of the bob at x", "x:²"])
    assert told == ["a.csv lines 2 to 4, 9", "b.csv line 1", "the drop of the bob at x", "x:²"]


def test_no_line_ends_between_a_figure_and_its_unit() -> None:
    assert shown("± 2.1 mm, 95 %\x1b") == "±\xa02.1\xa0mm, 95\xa0% "
