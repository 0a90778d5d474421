"""What a person most likely did: each slip planted in a sheet gets its own hint, in words that name it."""

import numpy as np
import pytest

from measure.adjust.explain import explain
from tests.adjust.cars import adjusted
from tests.synthetic import Survey, make_car, plant, survey

ROW = 40


def sheet_of(seed: int = 11, units: str = "mm", **how: object) -> tuple[object, Survey]:
    rng = np.random.default_rng(seed)
    car = make_car(rng)
    return car, survey(car, rng, tapes=64, units=units, round_to=25.4 / 16 if units == "in" else 1.0, **how)  # type: ignore[arg-type]


def first_hint(car: object, sheet: Survey, row: int | None = None) -> str:
    """The worst suspect's hint; `row` of the tape table it must belong to."""
    job, solved = adjusted(car, sheet)  # type: ignore[arg-type]
    assert solved.suspects
    worst = solved.suspects[0]
    if row is not None:
        rows = solved.as_stated.network.rows
        named = [rows[i].reading.source for i in (worst.rows[0], *worst.cannot_tell_from)]
        assert f"tape.csv:{row + 2}" in named
    return explain(solved.as_stated, worst, job)


def typed(sheet: Survey, row: int, text: str) -> Survey:
    sheet.tape[row]["length"] = text
    return sheet


@pytest.mark.parametrize("seed", range(4))
def test_two_digits_swapped(seed: int) -> None:
    car, sheet = sheet_of(seed)
    right = str(int(sheet.tape[ROW]["length"]))
    k = next(k for k in (2, 1, 0) if len(right) > k + 1 and abs(int(right[k]) - int(right[k + 1])) >= 2 - (k < 2))
    k = min(k, len(right) - 2)
    wrong = right[:k] + right[k + 1] + right[k] + right[k + 2 :]
    hint = first_hint(car, typed(sheet, ROW, wrong), ROW)
    assert hint.startswith(f"{wrong} reads like {right} with two digits swapped")
    assert "that would fit to" in hint


@pytest.mark.parametrize(
    ("size", "words"),
    [
        (100.0, "burnt at 100 mm"), (254.0, "burnt at 10 in"), (304.8, "burnt at 1 ft"), (10.0, "is 10 mm too much"),
        (-10.0, "is 10 mm too little"), (-100.0, "is 100 mm too little"), (1000.0, "is 1000 mm too much"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("row", [30, 47])
def test_burnt_or_out_by_a_power_of_ten(size: float, words: str, row: int) -> None:
    car, sheet = sheet_of()
    sheet.tape[row]["length"] = round(sheet.tape[row]["length"] + size)
    assert words in first_hint(car, sheet, row)


@pytest.mark.parametrize("sign", [1, -1])
def test_an_inch_fraction_off_by_one_division(sign: int) -> None:
    car, sheet = sheet_of(units="in", tape_sd=0.2, tape_class="I", plumb=0.2)
    quarters = [
        r["length"] / 25.4 * 4 for r in sheet.tape
    ]  # a row that truly ends at a quarter, and at one after the slip
    row = next(
        k for k, q in enumerate(quarters) if k > 30 and abs(q - round(q)) < 0.05 and (round(q) + sign) % 4 in (1, 3)
    )
    whole, rest = divmod(round(quarters[row]) + sign, 4)
    hint = first_hint(car, typed(sheet, row, f"{whole} {rest}/4"), row)
    assert f"is one 1/4 in too {'much' if sign > 0 else 'little'}" in hint


@pytest.mark.parametrize(
    ("units", "how", "words"),
    [
        ("mm", "{inches:.2f}", "inches written down as millimetres"),
        ("mm", "{inches:.2f} cm", "inches written down as centimetres"),
        ("mm", "{ten_inches:.1f}", "inches taken for centimetres"),
        ("mm", "{cm:.1f}", "centimetres written down as millimetres"),
        ("in", "{mm:.0f}", "millimetres written down as inches"),
        ("in", "{cm:.1f}", "centimetres written down as inches"),
    ],
)
def test_the_wrong_unit(units: str, how: str, words: str) -> None:
    car, sheet = sheet_of(units=units)
    mm = float(sheet.tape[ROW]["length"])
    text = how.format(mm=mm, cm=mm / 10, inches=mm / 25.4, ten_inches=mm / 2.54)
    assert words in first_hint(car, typed(sheet, ROW, text), ROW)


@pytest.mark.parametrize("row", [33, 40, 52])
def test_written_against_the_twin(row: int) -> None:
    car, sheet = sheet_of(3)
    planted = plant(sheet, "twin", row, np.random.default_rng(row))
    if abs(planted.size) < 15.0:
        pytest.skip("the twin lies as far off")
    hint = first_hint(car, planted.survey, row)
    start, end = sheet.tape[row]["from"], sheet.tape[row]["to"]
    twins = [f"{start[:-1]}{'LR'[start[-1] == 'L']}-{end}", f"{start}-{end[:-1]}{'LR'[end[-1] == 'L']}"]
    assert "written against the wrong point?" in hint
    assert any(f"fits {t}" in hint for t in twins)


def test_typed_twice() -> None:
    car, sheet = sheet_of(4)
    row = next(k for k in range(30, 64) if 60 < abs(sheet.tape[k]["length"] - sheet.tape[k - 1]["length"]) % 100 < 90)
    planted = plant(sheet, "typed twice", row, np.random.default_rng(1))
    hint = first_hint(car, planted.survey, row)
    assert f"stands in line {row + 1} as well: the same reading typed twice" in hint


@pytest.mark.parametrize(
    ("size", "words"),
    [
        (100.0, "all burnt at 100 mm"),
        (254.0, "all burnt at 10 in"),
        (304.8, "all burnt at 1 ft"),
        (6.0, "look at its hook"),
    ],
)
def test_a_whole_tape_is_off(size: float, words: str) -> None:
    car, sheet = sheet_of(6, tape_names=["red", "blue"])
    for row in sheet.tape:
        row["length"] += size if row["tape"] == "blue" else 0.0
    hint = first_hint(car, sheet)
    assert 'every reading of tape "blue"' in hint and words in hint


def test_no_slip_that_fits_is_said_so_with_the_size_and_the_side() -> None:
    car, sheet = sheet_of(7)
    sheet.tape[ROW]["length"] += 57.0
    hint = first_hint(car, sheet, ROW)
    assert "long; no common slip explains it: measure it again" in hint
    assert f"{sheet.tape[ROW]['length']:.0f} reads 5" in hint


def test_two_drops_that_disagree_cannot_be_told_apart() -> None:
    car, sheet = sheet_of(8, drops={"rail3R": 2})
    for row in sheet.tape:
        if "rail3R#2" in (row["from"], row["to"]):
            other = row["from"] if row["to"] == "rail3R#2" else row["to"]
            leg = sheet.floor["rail3R#2"] - sheet.floor[other]
            row["length"] += float(np.linalg.norm(leg + np.array([25.0, 0.0])) - np.linalg.norm(leg))
    hint = first_hint(car, sheet)
    assert "drop it again" in hint
    assert "cannot tell which: the drop at rail3R" in hint and "rail3R#2" in hint


def test_an_inch_tape_has_no_steps_of_ten_millimetres() -> None:
    car, sheet = sheet_of(units="in")
    sheet.tape[ROW]["length"] += 10.0
    assert "10 mm" not in first_hint(car, sheet, ROW)
    car, sheet = sheet_of(units="in")
    sheet.tape[ROW]["length"] += 25.4
    assert "is 1 in too much" in first_hint(car, sheet, ROW)


@pytest.mark.parametrize("left", [3.8, -3.8])
def test_a_slip_that_leaves_half_of_the_misfit_explains_nothing(left: float) -> None:
    car, sheet = sheet_of(7)
    sheet.tape[ROW]["length"] += 10.0 + left
    job, solved = adjusted(car, sheet)  # type: ignore[arg-type]
    worst = solved.suspects[0]
    hint = explain(solved.as_stated, worst, job)
    fits = abs(abs(worst.size) - 10.0) <= min(2 * worst.sd, abs(worst.size) / 2)
    assert ("is 10 mm too much" in hint) == fits
    assert not fits or "that would fit to" in hint


def test_lengths_are_told_in_the_job_s_unit() -> None:
    car, sheet = sheet_of(units="in")
    sheet.tape[ROW]["length"] += 57.0
    hint = first_hint(car, sheet, ROW)
    assert '"' in hint and " mm)" in hint  # inches, and mm beside them


def test_a_mark_off_the_base_line_tells_its_own_figure() -> None:
    car, sheet = sheet_of(9, marks=True)
    sheet.marks[3]["across"] += 100.0
    job, solved = adjusted(car, sheet)  # type: ignore[arg-type]
    hint = explain(solved.as_stated, solved.suspects[0], job)
    assert hint.startswith(f"{sheet.marks[3]['across']:.0f} ") and "100 mm" in hint
