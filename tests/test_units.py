import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measure.units import LengthError, format_length, parse_length, parse_number

INCH = 25.4


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("1043", 1043.0),
        ("1043.5", 1043.5),
        (" 104.3 cm ", 1043.0),
        ("1.043 m", 1043.0),
        ("1.043m", 1043.0),
        ("0", 0.0),
        ("-12.5", -12.5),
        ("\N{MINUS SIGN}12.5", -12.5),
        ("+12.5 mm", 12.5),
        (".5", 0.5),
        ('41 5/16"', 41.3125 * INCH),
        ("41-5/16 in", 41.3125 * INCH),
        ("41\N{EN DASH}5/16 inches", 41.3125 * INCH),
        ("41 5\N{FRACTION SLASH}16\N{DOUBLE PRIME}", 41.3125 * INCH),
        ("5/16 in", 0.3125 * INCH),
        ('-5/16"', -0.3125 * INCH),
        ('41½"', 41.5 * INCH),
        ('⅝"', 0.625 * INCH),
        ("41.3125 in", 41.3125 * INCH),
        ("3' 5 5/16\"", 41.3125 * INCH),
        ("3'5\"", 41 * INCH),
        ("3\N{PRIME}5\N{DOUBLE PRIME}", 41 * INCH),
        ("3 ft 5 in", 41 * INCH),
        ("3 feet 5.5 inches", 41.5 * INCH),
        ("3'-5 1/2''", 41.5 * INCH),
        ("3'", 36 * INCH),
        ("2.5 ft", 30 * INCH),
        ("99999.9 m", 99_999_900.0),
    ],
)
def test_lengths_in_a_millimetre_job(text, mm):
    assert parse_length(text, "mm") == pytest.approx(mm, rel=1e-15, abs=0)


@pytest.mark.parametrize(("text", "mm"), [("41 5/16", 41.3125 * INCH), ("½", 12.7), ("41.5", 1054.1), ("9 mm", 9.0)])
def test_bare_figures_of_an_inch_job_are_inches(text, mm):
    assert parse_length(text, "in") == pytest.approx(mm, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "1043.5"),
        ("abc", "1043.5"),
        ("nan", "leave the line out"),
        ("-inf", "leave the line out"),
        ("Infinity", "leave the line out"),
        ("1e3", "write the number out"),
        ("1e300", "write the number out"),
        ("9" * 40, "100 km"),
        ("9" * 400, "too long"),
        ("100 000 m", "space"),
        ("100000 m", "100 km"),
        ("-100000 m", "100 km"),
        ("1,043", "comma"),
        ("104,3,2", "comma"),
        ("1 043", "space"),
        ("5/16", 'write 5/16" if inches'),
        ("5/16 mm", "only inches"),
        ('5/0"', "divided into"),
        ('5/6"', "divided into"),
        ('17/16"', "between 0 and 1"),
        ('0/16"', "between 0 and 1"),
        ("12 furlong", 'unknown unit "furlong"'),
        ("104.3 cm mm", "1043.5"),
        ("3' 14\"", "below 12"),
        ("--5", "1043.5"),
        ("5-", "1043.5"),
        ("٣", "1043.5"),
        ("1_000", "1043.5"),
        ("0x10", "1043.5"),
        ("=41+5/16", "1043.5"),
    ],
)
def test_everything_else_is_refused_with_words(text, says):
    with pytest.raises(LengthError) as raised:
        parse_length(text, "mm")
    assert says in str(raised.value)


def test_decimal_comma():
    assert parse_length("104,3 cm", "mm", decimal_comma=True) == 1043.0
    assert parse_length("1043", "mm", decimal_comma=True) == 1043.0
    assert parse_number("-0,5", decimal_comma=True) == -0.5
    for text in ("1.043", "1.043,5", "1,043,5", "5,"):
        with pytest.raises(LengthError):
            parse_length(text, "mm", decimal_comma=True)


def test_numbers():
    assert parse_number("12") == 12.0
    assert math.copysign(1.0, parse_number("-0")) == 1.0
    for text in ("12 mm", "nan", "inf", "1e5", "", "1" * 13):
        with pytest.raises(LengthError):
            parse_number(text)


def test_printed_lengths():
    assert format_length(1043.46, "mm") == "1043.5 mm"
    assert format_length(-0.04, "mm") == "0.0 mm"
    assert format_length(-4.2, "mm") == "-4.2 mm"
    assert format_length(41.3125 * INCH, "in") == '41 5/16"'
    assert format_length(-0.3125 * INCH, "in") == '-5/16"'
    assert format_length(0.1, "in") == '0"'
    assert format_length(12 * INCH, "in") == '12"'
    for mm in (math.nan, math.inf, 1e300):
        with pytest.raises(LengthError):
            format_length(mm, "mm")


lengths = st.floats(-9.9e7, 9.9e7)


@given(lengths)
def test_a_printed_length_reads_back_to_half_its_step(mm):
    assert abs(parse_length(format_length(mm, "mm"), "mm") - mm) <= 0.05 + 1e-7
    assert abs(parse_length(format_length(mm, "in"), "mm") - mm) <= INCH / 128 + 1e-7


@given(lengths)
def test_printing_what_was_read_back_changes_nothing(mm):
    for unit in ("mm", "in"):
        printed = format_length(mm, unit)
        assert format_length(parse_length(printed, unit), unit) == printed


@given(st.text(alphabet=st.sampled_from("0123456789 ./,-+'\"½cmift\N{PRIME}nae"), max_size=60), st.booleans())
def test_any_text_is_a_length_or_a_length_error(text, comma):
    for unit in ("mm", "in"):
        try:
            mm = parse_length(text, unit, decimal_comma=comma)
        except LengthError as problem:
            assert str(problem)
        else:
            assert abs(mm) < 1e8


@given(st.text(max_size=80))
def test_any_text_at_all(text):
    try:
        assert abs(parse_length(text, "mm")) < 1e8
    except LengthError as problem:
        assert str(problem)
