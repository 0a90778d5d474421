"""The table of a tape check, read from a file as a person writes it."""

from pathlib import Path

import pytest

from calib.known_lengths import read_known_lengths
from calib.tape_check import KnownLength, check_tape
from measure.findings import Findings


def test_a_table_with_blanks_takes_the_defaults(tmp_path: Path) -> None:
    text = "known,reading,known_sd,sd,note\n300,300.5,,,steel rule\n2 m,2001,0.2,1,bar\n3 m,,,,not yet\n"
    (tmp_path / "bars.csv").write_text(text, encoding="utf-8")
    findings = Findings()
    rows = read_known_lengths(tmp_path, "bars", "mm", findings)
    assert not findings.errors
    assert rows == [KnownLength(300.0, 300.5, 0.1, 0.5), KnownLength(2000.0, 2001.0, 0.2, 1.0)]
    assert len(findings.notes) == 1  # the length not measured yet
    assert check_tape(rows).scale == pytest.approx(0.5 / 1700.0)


def test_inches(tmp_path: Path) -> None:
    (tmp_path / "bars.csv").write_text("known;reading\n12;12 1/16\n36;36\n", encoding="utf-8")
    rows = read_known_lengths(tmp_path, "bars", "in", Findings())
    assert rows is not None
    assert [row.reading for row in rows] == pytest.approx([12.0625 * 25.4, 36.0 * 25.4])


def test_a_bad_cell_is_found(tmp_path: Path) -> None:
    (tmp_path / "bars.csv").write_text("known,reading\n0,1\n300,three\n", encoding="utf-8")
    findings = Findings()
    read_known_lengths(tmp_path, "bars", "mm", findings)
    assert [(f.line, f.column) for f in findings.errors] == [(2, "known"), (3, "reading")]


def test_no_table(tmp_path: Path) -> None:
    assert read_known_lengths(tmp_path, "bars", "mm", Findings()) is None
