import pytest

from measure.findings import MOST_LISTED, BadInput, Finding, Findings, did_you_mean, nearest, visible


def test_a_cell_is_told_with_file_line_column_and_what_would_do():
    finding = Finding("before/tape.csv", 12, "length", "104,3,2", 'write a length such as 41 5/16"', True)
    assert finding.text() == (
        'before/tape.csv line 12, column length: found "104,3,2"; write a length such as 41 5/16"'
    )


def test_words_about_a_whole_file_are_not_quoted():
    assert Finding("points.csv", None, None, "no such file", "write it", True).text() == (
        "points.csv: found no such file; write it"
    )


def test_keys_of_the_settings_are_called_keys_and_positions_columns():
    assert "job.toml line 3, key sd.tape: found" in Finding("job.toml", 3, "sd.tape", "x", "y", True).text()
    assert "job.toml line 3, column 7: found" in Finding("job.toml", 3, "7", "x", "y", True).text()


def test_a_blank_cell_is_nothing_and_odd_characters_are_written_out():
    assert "found nothing; fill it in" in Finding("t.csv", 2, "from", " ", "fill it in", True).text()
    text = Finding("t.csv", 2, "from", "a\nb\x00" + "c" * 500, "mend it", True).text()
    assert "\n" not in text and "a\\nb\\x00ccc" in text and len(text) < 200


def test_errors_come_first_and_are_numbered_through():
    findings = Findings()
    findings.note("a.csv", None, None, "a byte-order mark", "it was skipped")
    findings.error("b.csv", 2, "x", "?", "write a number")
    with pytest.raises(BadInput) as raised:
        findings.raise_if_errors()
    assert str(raised.value).splitlines() == [
        '1. b.csv line 2, column x: found "?"; write a number',
        "2. note: a.csv: found a byte-order mark; it was skipped",
    ]
    assert raised.value.findings is findings


def test_notes_alone_stop_nothing():
    findings = Findings()
    findings.note("a.csv", None, None, "x", "y")
    findings.raise_if_errors()
    assert not findings.errors and len(findings.notes) == len(findings) == 1


def test_the_same_finding_is_told_once():
    findings = Findings()
    for _ in range(3):
        findings.error("a.csv", 1, "x", "?", "y")
    assert len(findings) == 1 and findings[0].fatal and list(findings) == findings.errors


def test_a_flood_is_cut():
    findings = Findings(Finding("a.csv", line, "x", "?", "y", True) for line in range(MOST_LISTED + 7))
    assert findings.numbered().splitlines()[-1] == "... and 7 more; mend these first"


def test_nearest_name():
    assert nearest("frontl", ["frontL", "frontR"]) == "frontL"
    assert nearest("lenght", ["from", "to", "length"]) == "length"
    assert nearest("ds", ["sd", "tape"]) == "sd"
    assert nearest("zzz", ["from", "to"]) is None
    assert nearest("", ["from"]) is None
    assert did_you_mean("ofset", ["offset"]) == '; did you mean "offset"?'
    assert did_you_mean("zzz", ["offset"]) == ""


def test_visible_is_one_short_line():
    assert visible("½ grün") == "½ grün"
    assert visible("a\tb") == "a\\tb"


def test_our_own_words_are_not_cut_but_a_cell_is():
    words = "target 20 at outriggerL seen more than once in IMG_0001.jpg, IMG_0002.jpg"
    assert words in Finding("a.csv", 2, None, words, "", fatal=False).text()
    told = Finding("a.csv", 2, "side", "x" * 100, "", fatal=False).text()
    assert "..." in told and "x" * 61 not in told


def test_half_a_surrogate_pair_is_written_as_the_byte_it_was():
    told = Finding("before/photos/IMG_\udcff.jpg", None, None, "an empty file", "", fatal=False).text()
    assert "IMG_\\xff.jpg" in told and told.encode()
