"""The shop's text."""

import dataclasses
import io

import pytest
from rich.console import Console

from measure.report.lines import shop_console
from measure.report.text import render
from measure.report.words import SAFETY, chance, decimals, figure, label, plain, signed
from measure.result import Centreline, ReadingResult
from tests.documents import check, loose_car, pulled_car


def text_of(document, verbose=False, width=100):
    stream = io.StringIO()
    console = shop_console(stream)
    console.width = width
    render(document, verbose, console)
    return stream.getvalue()


def flat(text):
    return " ".join(text.split())


def test_three_lines_say_what_is_out_undecided_and_fine():
    lines = text_of(pulled_car()).splitlines()
    assert lines[0] == "Bench coupé, stage before"
    assert (
        lines[1]
        == "OUT        pair tail, sideways: 8.2 mm to the left; All of it rests on single drops of the bob: drop"
    )
    assert lines[2] == "           again before cutting"
    assert lines[3].startswith("UNDECIDED  pair arm, sideways; pair kick, sideways")
    assert lines[5].startswith("FINE       pair horn, sideways;")
    assert "more" not in lines[4] and lines[6] == ""


def test_what_is_out_is_named_in_full_the_farthest_beyond_its_limit_first():
    out = [check(f"pair.p{i}.offset", 4.0 + i, limit=3.0, verdict="outside") for i in range(20)]
    answer = flat(text_of(pulled_car(checks=out)).split("UNDECIDED")[0])
    places = [answer.index(f"pair p{i}, sideways") for i in range(20)]
    assert places == sorted(places, reverse=True) and "more" not in answer


def test_a_square_car_has_nothing_out():
    document = pulled_car(checks=[check("pair.horn.offset", 0.2, limit=3.0, verdict="within")])
    lines = text_of(document).splitlines()
    assert lines[1:4] == ["OUT        nothing", "UNDECIDED  nothing", "FINE       pair horn, sideways"]


def test_piped_text_is_plain_narrow_and_without_trailing_blanks():
    for document in (pulled_car(), loose_car()):
        for line in text_of(document, verbose=True).splitlines():
            assert line == line.rstrip() and len(line) <= 100 and "\x1b" not in line


def test_every_judged_check_has_its_words_its_figure_and_its_verdict_as_a_word():
    text = text_of(pulled_car())
    row = next(line for line in text.splitlines() if "+8.2 ± 1.6 mm" in line)
    assert flat(row) == "pair tail, sideways 8.2 mm to the left +8.2 ± 1.6 mm 3 mm OUTSIDE"
    assert text.count("  UNDECIDED") == 4 and text.count("  within") == 5


def test_outside_on_single_drops_says_drop_again_before_cutting():
    assert "drop again before cutting" in flat(text_of(pulled_car()))
    twice = [dataclasses.replace(c, single_drops=False) for c in pulled_car().checks]
    assert "drop again before cutting" not in flat(text_of(pulled_car(checks=twice)))


def test_an_inch_job_gets_inches_beside():
    assert "+8.2 ± 1.6 mm (+0.32 ± 0.06 in)" in flat(text_of(pulled_car(units="in")))


def test_a_suspect_is_named_with_its_hint_and_its_double():
    text = flat(text_of(pulled_car()))
    assert "tape.csv line 12 (hornL, dashR) reads about 9.0 mm short." in text
    assert "1834 reads like 1843 with two digits swapped" in text
    assert "Cannot tell which: it may as well be tape.csv line 14." in text
    assert "set aside" in text


def test_what_to_measure_next_names_the_act_and_what_it_gains():
    text = flat(text_of(pulled_car()))
    assert "drop the bob again at kickL and kickR." in text
    assert "± 1.6 would become ± 1.1 mm; 81 % of it comes from the bob at kickL and kickR." in text


def test_loose_points_and_pieces_are_named():
    text = flat(text_of(loose_car()))
    assert "No centreline can be had" in text
    assert "fall into 2 pieces" in text and "hornL, hornR" in text
    assert "tailR: free to swing about kickR. What would hold it: a tape from tailR to kickL." in text
    assert "not held" in text and "None" not in text and "nan" not in text


def test_an_ambiguous_centreline_gives_the_alternatives_before_any_figure():
    line = Centreline(["horn"], [], True, ["either the tail stands 11 mm left, or the front does"], None, None)
    text = text_of(pulled_car(centreline=line))
    assert text.index("either the tail stands 11 mm left") < text.index("What was judged")


def test_cautions_notes_and_safety_are_always_there():
    text = flat(text_of(pulled_car()))
    assert "A spirit level across two pairs" in text and "decimal comma" in text
    for sentence in SAFETY:
        assert sentence in text


def test_statistics_only_when_asked():
    short, long = text_of(pulled_car()), text_of(pulled_car(), verbose=True)
    assert "sigma0" not in short and "pair horn, width" not in short
    for words in (
        "sigma0 1.27; 0.77 to 1.23 holds 95 % of sheets where all is as stated: NOT passed.",
        "sigma0 after the scaling below: 1.04.",
        "tape readings scatter 1.31 times",
        "0.21 mm a metre long (sd 0.12)",
        "0.62 deg out of level sideways, left side high",
        "nose high",
        "pair horn, width",
        "factory scatter 15 %",
        "levels.csv line 3",
        "ab12" * 16,
    ):
        assert words in long


def test_the_title_cannot_steer_the_terminal():
    text = text_of(pulled_car(job="[bold]x[/bold]\x1b[2J\x07"))
    assert text.startswith("[bold]x[/bold] [2J , stage before")


def test_an_encoding_without_plus_minus_gets_it_in_ascii():
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding="ascii")
    render(pulled_car(), True, Console(file=stream, width=100))
    stream.flush()
    assert b"+8.2 +/- 1.6 mm" in raw.getvalue()


def test_colour_only_repeats_the_words():
    stream = io.StringIO()
    render(pulled_car(), False, Console(file=stream, width=100, force_terminal=True, color_system="standard"))
    assert "\x1b[" in stream.getvalue() and "OUTSIDE" in stream.getvalue()


def test_a_narrow_terminal_keeps_the_verdicts():
    text = text_of(pulled_car(), width=64)
    assert text.count("OUTSIDE") == 1 and max(map(len, text.splitlines())) <= 64


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("pair.tail.offset", "pair tail, sideways"),
        ("pair.v1.2.rise", "pair v1.2, left above right"),
        ("axle.rear.thrust", "axle rear, rolling direction"),
        ("face.rear.L.toe", "wheel face rear left, toe"),
        ("rail.R.bow", "rail right, bow"),
        ("rails.asymmetry", "rails, left against right"),
        ("cross.horn.dash", "diagonals, horn to dash"),
        ("chart.hornL.x", "hornL against the chart, fore and aft"),
        ("body.twist", "body, twist"),
        ("something.new", "something.new"),
    ],
)
def test_labels(name, words):
    assert label(name) == words


def test_rounding_never_contradicts_the_verdict():
    just = check("pair.a.offset", 4.64, u95=1.63, limit=3.0, verdict="outside")
    assert figure(just) == "+4.64 ± 1.63 mm"
    just = check("pair.a.offset", -1.26, u95=1.67, limit=2.95, verdict="within")
    assert figure(just) == "-1.26 ± 1.67 mm"
    assert decimals(check("pair.a.offset", 3.04, u95=0.02, limit=3.0, verdict="outside")) == 2
    assert decimals(check("pair.a.offset", 3.04, u95=1.0, limit=3.0, verdict="undecided")) == 1


def test_nought_has_no_sign():
    assert signed(-0.04, 1) == "0.0" and signed(0.06, 1) == "+0.1"
    assert plain(-0.04, 1) == "0.0" and plain(-0.06, 1) == "-0.1" and plain(0.06, 1) == "0.1"


def test_a_targets_figures_are_pixels_and_nothing_reads_minus_nought():
    seen = ReadingResult(
        "photos/IMG_1.jpg:7", "target", ["a", "across"], 3222.8704, 3222.8, -0.0004, 0.051, 0.4, -0.02, 0.6
    )
    row = next(
        line for line in text_of(pulled_car(readings=[seen]), verbose=True, width=140).splitlines() if "3222" in line
    )
    assert flat(row) == "target 7 in IMG_1 target a - across 3222.87 0.000 0.051 px 0.40 0.0 0.60"


def test_chances_are_never_all_or_nothing():
    told = [chance(share) for share in (1.0, 0.9, 0.123, 0.0123, 0.000_000_1)]
    assert told == ["more than 99 %", "90 %", "12 %", "1.2 %", "less than 0.01 %"]
