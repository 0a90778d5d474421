"""The sketch to tap: the plan's tapes, what was read and how it fits, and what would help most."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from measure.check import check
from measure.findings import Findings
from measure.job import Job, load_job
from measure.result import ActKind, CheckResult, Document, NextAct
from measure.web.entering import FORMS, rows_of
from measure.web.fit import fits, size
from measure.web.sketch import Line, sketch
from tests.web.conftest import SAMPLES

CAR = SAMPLES / "rushed_job"


def loaded(folder: Path = CAR) -> Job:
    job = load_job(folder, Findings())
    assert job is not None
    return job


def asking(doc: Document, kind: ActKind | None, *names: str) -> Document:
    """The document, whose first check asks for one act; its words are in no language."""
    act = NextAct("⟦what to do⟧", 1.0, kind, list(names))
    checks: list[CheckResult] = [replace(doc.checks[0], next=act), *doc.checks[1:]]
    return replace(doc, checks=[checks[0], *(replace(c, next=None) for c in checks[1:])])


def test_every_reading_is_a_line_with_its_fit() -> None:
    job, doc = loaded(), check(CAR)
    made = sketch(job, rows_of(job, "before", FORMS["tape"]), doc, fits(doc), "tape.csv")
    assert not made.todo and made.next is None
    worst = made.read[0]
    assert worst.state == "off" and worst.line == 22 and "two digits swapped" in worst.words
    assert {line.state for line in made.read} >= {"off", "fits", "unchecked"}
    left, right = (next(s for s in made.spots if s.name == name) for name in ("rail1L", "rail1R"))
    assert left.x < right.x and abs(left.y - right.y) < 3


def test_a_new_car_shows_the_plan_and_begins_at_the_front() -> None:
    made = sketch(loaded(), [], None, {}, "tape.csv")
    assert made.next is not None and (made.next.start, made.next.end) == ("outriggerL", "outriggerR")
    assert len(made.todo) > 40 and not made.read


def test_the_tape_that_would_help_most_is_thick_and_next() -> None:
    job, doc = loaded(), asking(check(CAR), "tape", "rail1L", "tailR")
    made = sketch(job, rows_of(job, "before", FORMS["tape"]), doc, fits(doc), "tape.csv")
    helping = [line for line in made.lines if line.helps]
    assert [(line.start, line.end) for line in helping] == [("rail1L", "tailR")] and made.next == helping[0]
    assert made.advice == ["⟦what to do⟧"] and not any(spot.again for spot in made.spots)
    doc = asking(doc, "drop", "axleL")
    made = sketch(job, rows_of(job, "before", FORMS["tape"]), doc, fits(doc), "tape.csv")
    assert [spot.name for spot in made.spots if spot.again] == ["axleL"] and not any(line.helps for line in made.lines)


def test_a_tape_of_the_plan_that_would_help_is_drawn_once_whichever_way_round() -> None:
    job, doc = loaded(), asking(check(CAR), "tape", "outriggerR", "outriggerL")
    made = sketch(job, [], doc, {}, "tape.csv")
    helping = [line for line in made.lines if line.helps]
    assert [(line.start, line.end) for line in helping] == [("outriggerL", "outriggerR")] and not helping[0].again


def test_a_second_reading_of_a_tape_that_was_run_is_a_line_of_its_own() -> None:
    job, doc = loaded(), asking(check(CAR), "tape", "outriggerR", "outriggerL")
    made = sketch(job, rows_of(job, "before", FORMS["tape"]), doc, fits(doc), "tape.csv")
    (helping,) = [line for line in made.lines if line.helps]
    assert helping.again and helping.line == 0 and made.next == helping


def test_an_act_of_no_kind_is_only_told() -> None:
    job, doc = loaded(), asking(check(CAR), None)
    made = sketch(job, [], doc, {}, "tape.csv")
    assert made.advice == ["⟦what to do⟧"] and not any(line.helps for line in made.lines)
    assert not any(spot.again for spot in made.spots)


def test_sizes_are_said_in_the_cars_unit() -> None:
    assert size(0.64, "mm") == "0.6 mm" and size(9.0, "in") == '23/64" (9.0 mm)' and size(0.1, "in") == "0.1 mm"


def test_lines_know_their_row() -> None:
    job = loaded()
    made = sketch(job, rows_of(job, "before", FORMS["tape"]), None, {}, "tape.csv")
    first: Line = made.lines[0]
    assert first.key == "2:outriggerL:outriggerR:floor" and first.typed == "47 5/16" and first.state == "unsolved"


def test_points_stand_where_the_car_was_solved() -> None:
    job, doc = loaded(), check(CAR)
    listed = {s.name: s.y for s in sketch(job, [], None, {}, "tape.csv").spots}
    solved = {s.name: s.y for s in sketch(job, [], doc, {}, "tape.csv").spots}
    x = {p.name: p.x for p in doc.points if p.x is not None}
    top, bottom = solved["outriggerL"], max(solved.values())
    shares = {n: (solved[n] - top) / (bottom - top) for n in ("rail3L", "axleL", "rail4L")}
    length = x["outriggerL"] - min(x.values())
    assert all(abs(share - (x["outriggerL"] - x[n]) / length) < 0.01 for n, share in shares.items())
    assert shares["rail3L"] < shares["axleL"] < shares["rail4L"] and listed.keys() == solved.keys()
    assert listed["axleL"] != solved["axleL"]


def test_a_point_that_is_not_held_stands_between_its_neighbours() -> None:
    job, doc = loaded(), check(CAR)
    assert next(p for p in doc.points if p.name == "crossbarR").x is None
    at = {s.name: s.y for s in sketch(job, [], doc, {}, "tape.csv").spots}
    assert at["rail2R"] < at["crossbarR"] < at["rail3R"]


def test_what_is_off_lies_over_what_fits() -> None:
    job, doc = loaded(), check(CAR)
    lines = sketch(job, rows_of(job, "before", FORMS["tape"]), doc, fits(doc), "tape.csv").lines
    assert lines[-1].state == "off" and "off" not in {line.state for line in lines[: len(lines) // 2]}
