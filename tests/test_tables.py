import datetime
import io
import os
import zipfile
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from measure.findings import Findings
from measure.tables import Column, read_table
from measure.tables.textfile import LARGEST

COLUMNS = (
    Column("from", "name", required=True),
    Column("to", "name", required=True),
    Column("length", "length", required=True, positive=True),
    Column("where", "choice", required=True, choices=("floor", "car", "bar")),
    Column("sd", "length", minimum=0.0),
    Column("count", "number"),
    Column("trusted", "yes"),
    Column("note", "text"),
)
HEADER = "from,to,length,where,sd,count,trusted,note\n"


@pytest.fixture
def stage(tmp_path: Path) -> Path:
    (tmp_path / "job.toml").write_text("")
    folder = tmp_path / "before"
    folder.mkdir()
    return folder


def read(stage, content, unit="mm", name="tape.csv", **more):
    (stage / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    findings = Findings()
    return read_table(stage, "tape", COLUMNS, unit, findings, **more), findings


def only(findings):
    """The one finding there is, as text."""
    assert len(findings) == 1, findings.numbered()
    return findings[0].text()


def test_a_plain_table(stage):
    rows, findings = read(stage, HEADER + 'frontL,frontR#2,104.3 cm,floor,0.4,3,yes,"hot, dry"\n\n# later\na,b,5,CAR\n')
    assert not findings
    first, second = rows
    assert first.source == "tape.csv:2" and first.file == "tape.csv"
    assert first.values == {
        "from": "frontL", "to": "frontR#2", "length": 1043.0, "where": "floor", "sd": 0.4, "count": 3.0,
        "trusted": True, "note": "hot, dry",
    }  # fmt: skip
    assert first.raw["length"] == "104.3 cm"
    assert second.line == 5 and second.values["where"] == "car" and second.values["sd"] is None


def test_inches_with_their_marks_need_no_quotes(stage):
    rows, findings = read(stage, HEADER + 'a,b,41 5/16",floor\na,c,"3\' 5 5/16""",floor\na,d,41.5,floor,0.02\n', "in")
    assert not findings
    assert [row.values["length"] for row in rows] == [1049.3375, 1049.3375, 1054.1]
    assert rows[2].values["sd"] == pytest.approx(0.508)


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_delimiters_and_line_ends(stage, delimiter, end):
    content = (HEADER + "a,b,5,floor\n").replace(",", delimiter).replace("\n", end)
    rows, findings = read(stage, content)
    assert not findings and rows[0].values["length"] == 5.0 and rows[0].line == 2


def test_columns_in_any_order_and_case_and_the_hint_line(stage):
    rows, findings = read(stage, "sep=;\nLength;Where;TO;from;;\n5;floor;b;a;;\n")
    assert not findings and rows[0].values["from"] == "a" and rows[0].line == 3


def test_decimal_commas_are_noted(stage):
    rows, findings = read(stage, "from;to;length;where\na;b;104,5;floor\na;c;1,234 m;floor\n")
    assert [row.values["length"] for row in rows] == [104.5, 1234.0]
    assert "decimal commas" in only(findings) and not findings.errors


@pytest.mark.parametrize(
    ("table", "column", "says"),
    [
        ("a;b;1,234;floor\n", "length", "could be a thousand"),
        ("a;b;104.5;floor\na;c;1,234;floor\n", "length", "decimal points elsewhere"),
        ("a;b;104,5;floor\na;c;1.234;floor\n", "length", "decimal commas elsewhere"),
        ("a;b;1.234,5;floor\n", "length", "none for thousands"),
        ("a;b;16-May;floor\n", "length", '5/16? then type 5/16"'),
        ("a;b;2026-05-16;floor\n", "length", "5/16?"),
        ("a;b;16.05.2026;floor\n", "length", "5/16?"),
        ("a;b;22 mai;floor\n", "length", "turned into a date"),
        ("a;b;zwölf;floor\n", "length", "write a length such as"),
        ("a;b;nan;floor\n", "length", "a reading is a number"),
        ("a;b;inf;floor\n", "length", "a reading is a number"),
        ("a;b;1e300;floor\n", "length", "write the number out"),
        ("a;b;0;floor\n", "length", "greater than zero"),
        ("a;b;-5;floor\n", "length", "greater than zero"),
        ("a;b;;floor\n", "length", "must be filled in"),
        ("a;;5;floor\n", "to", "must be filled in"),
        ("a;b/c;5;floor\n", "to", "a name has letters"),
        ("a;=b;5;floor\n", "to", "a name has letters"),
        ("a;b;5;flor\n", "where", 'did you mean "floor"'),
        ("a;b;5;floor;-1\n", "sd", "at least 0"),
        ("a;b;5;floor;;5 mm\n", "count", "plain number"),
        ("a;b;5;floor;;;perhaps\n", "trusted", "yes or no"),
    ],
)
def test_bad_cells(stage, table, column, says):
    rows, findings = read(stage, HEADER.replace(",", ";") + table)
    (error,) = findings.errors
    assert error.file == "before/tape.csv" and error.column == column and says in error.would_do
    assert error.line == 1 + table.count("\n") and len(rows) == table.count("\n") - 1


def test_a_kept_row_has_none_in_the_bad_cell(stage):
    rows, findings = read(stage, HEADER + "a,b,x,floor\n", keep_bad=True)
    assert rows[0].values["length"] is None and rows[0].bad == {"length"} and len(findings.errors) == 1


@pytest.mark.parametrize(
    ("header", "says"),
    [
        ("from,to,lenght,where", 'did you mean "length"'),
        ("from,to,length,where,where", "twice"),
        ("from,to,length", 'add the column "where"'),
        ("a,b,5,floor", "must name the columns"),
    ],
)
def test_bad_headers(stage, header, says):
    rows, findings = read(stage, f"{header}\na,b,5,floor\n")
    assert rows == [] and says in only(findings) and findings.errors


def test_a_cell_beyond_the_header(stage):
    rows, findings = read(stage, "from,to,length,where\na,b,104,3,floor\n")
    assert rows == [] and "needs quotes" in findings.errors[0].would_do


def test_a_quote_never_swallows_the_lines_below(stage):
    _, findings = read(stage, HEADER + 'a,b,5,floor\na,"c,5,floor\na,d,5,floor\n')
    assert findings.errors[0].line == 3 and "quote mark" in only(findings)


def test_not_measured_yet(stage):
    rows, findings = read(stage, HEADER + "a,b,,floor\na,c,5,floor\na,d,,floor\n", fill_in="length")
    assert len(rows) == 1 and not findings.errors
    assert "2 rows without a length (lines 2, 4)" in only(findings)


def test_no_file_and_no_folder(stage):
    findings = Findings()
    assert read_table(stage, "tape", COLUMNS, "mm", findings) is None
    assert read_table(stage / "nowhere", "tape", COLUMNS, "mm", findings) is None
    assert not findings


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "an empty file"),
        (b" \n\n", "an empty file"),
        (b"# only words\n", "an empty table"),
        (HEADER.encode("utf-16"), "UTF-16"),
        (HEADER.encode("utf-16-le"), "UTF-16"),
        (HEADER.encode("utf-32"), "UTF-16"),
        (HEADER.encode() + b"a,b\x00,5,floor\n", "NUL"),
        (HEADER.encode() + b"a,b\x07,5,floor\n", "control character"),
        (b"\xff\xd8\xff\xe0\x00\x10JFIF", "photograph"),
        (b"PK\x03\x04abc", "spreadsheet or zip"),
        (bytes(range(256)), "not UTF-8"),
    ],
)
def test_files_that_are_no_tables(stage, content, says):
    rows, findings = read(stage, content)
    assert rows == [] and says in only(findings) and findings.errors


def test_what_is_repaired_is_noted(stage):
    rows, findings = read(stage, b"\xef\xbb\xbf" + HEADER.encode() + b"a,b,5,floor\n")
    assert rows[0].values["from"] == "a" and "byte-order mark" in only(findings) and not findings.errors
    rows, findings = read(stage, HEADER.encode() + "a,b,5,floor,,,,grün\n".encode("cp1252"))
    assert rows[0].values["note"] == "grün" and "cp1252" in only(findings) and not findings.errors
    rows, findings = read(stage, HEADER)
    assert rows == [] and "a header with no rows" in only(findings) and not findings.errors


def test_a_folder_a_second_file_and_other_kinds_of_files(stage):
    (stage / "tape.csv").mkdir()
    findings = Findings()
    assert read_table(stage, "tape", COLUMNS, "mm", findings) == []
    assert "a folder" in only(findings)
    (stage / "tape.xlsx").write_bytes(b"")
    findings = Findings()
    assert read_table(stage, "tape", COLUMNS, "mm", findings) == []
    assert "tape.csv and tape.xlsx" in only(findings)
    (stage / "marks.ods").write_bytes(b"")
    findings = Findings()
    assert read_table(stage, "marks", COLUMNS, "mm", findings) is None
    assert "save it as marks.csv" in only(findings)


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may read everything")
def test_an_unreadable_file(stage):
    (stage / "tape.csv").write_text(HEADER)
    (stage / "tape.csv").chmod(0)
    findings = Findings()
    assert read_table(stage, "tape", COLUMNS, "mm", findings) == [] and "unreadable" in only(findings)


def test_a_file_that_fails_while_it_is_read(stage, monkeypatch):
    def refuse(self: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    (stage / "tape.csv").write_text(HEADER)
    findings = Findings()
    assert read_table(stage, "tape", COLUMNS, "mm", findings) == []
    assert "an unreadable file" in only(findings) and "Permission denied" in only(findings)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes of POSIX")
def test_a_pipe_is_not_waited_for(stage):
    os.mkfifo(stage / "tape.csv")
    findings = Findings()
    assert read_table(stage, "tape", COLUMNS, "mm", findings) == [] and "pipe" in only(findings)


def test_an_oversize_file_and_a_flood_of_errors(stage):
    with (stage / "tape.csv").open("wb") as file:
        file.truncate(LARGEST + 1)
    findings = Findings()
    assert read_table(stage, "tape", COLUMNS, "mm", findings) == [] and "20 MB" in only(findings)
    _, findings = read(stage, HEADER + "a,b,x,floor\n" * 1000)
    assert len(findings) == 101 and "errors so far" in findings[100].text()


def sheet_bytes(*rows, title="tape", formats=()):
    book = openpyxl.Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(row)
    for cell, shown in formats:
        book.active[cell].number_format = shown
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


TOP = ["from", "to", "length", "where", "note"]


def test_a_spreadsheet(stage):
    data = sheet_bytes(
        TOP,
        ["a", "b", 104.3, "floor", None],
        [],
        ["# later"],
        [1, 2, '41 5/16"', "car", datetime.date(2026, 5, 16)],
    )
    rows, findings = read(stage, data, name="tape.xlsx")
    assert not findings, findings.numbered()
    assert rows[0].values["length"] == 104.3 and rows[0].source == "tape.xlsx:2"
    assert rows[1].values["from"] == "1" and rows[1].line == 5 and rows[1].values["note"] == "2026-05-16"


@pytest.mark.parametrize(
    ("value", "shown", "says"),
    [
        (datetime.datetime(2026, 5, 16), None, "cell C2 was turned into a date by a spreadsheet (5/16? then"),
        (datetime.time(5, 16), None, "turned into a time"),
        ("=41+5/16", None, "formula that was never computed"),
        ("#DIV/0!", None, "spreadsheet error"),
        (104.3, '0.0" cm"', "type the unit"),
        (41.3125, "# ?/16", "needs inches"),
        (0.5, "0%", "percentage"),
        (-3, None, "greater than zero"),
        (1e300, None, "under 100 km"),
        ("nan", None, "a reading is a number"),
        (True, None, "write a length"),
    ],
)
def test_cells_of_a_spreadsheet_that_are_no_lengths(stage, value, shown, says):
    formats = [("C2", shown)] if shown else []
    rows, findings = read(stage, sheet_bytes(TOP, ["a", "b", value, "floor"], formats=formats), name="tape.xlsx")
    (error,) = findings.errors
    assert rows == [] and says in error.would_do and (error.line, error.column) == (2, "length")


def test_numbers_of_a_spreadsheet_have_no_decimal_mark(stage):
    data = sheet_bytes(TOP, ["a", "b", 104.3, "floor"], ["a", "c", 98.25, "floor"], ["a", "d", "104,5", "floor"])
    rows, findings = read(stage, data, name="tape.xlsx")
    assert [row.values["length"] for row in rows] == [104.3, 98.25, 104.5] and not findings.errors


def test_the_sheet_named_like_the_table_is_read(stage):
    book = openpyxl.Workbook()
    book.active.append(["something", "else"])
    for row in (TOP, ["a", "b", 5, "floor"]):
        (book["tape"] if "tape" in book.sheetnames else book.create_sheet("tape")).append(row)
    book.save(stage / "tape.xlsx")
    findings = Findings()
    rows = read_table(stage, "tape", COLUMNS, "mm", findings)
    assert len(rows) == 1 and 'only the sheet "tape"' in only(findings)


def test_spreadsheets_that_cannot_be_read(stage):
    good = sheet_bytes(TOP, ["a", "b", 5, "floor"])
    for data in (b"PK\x03\x04", good[:300], b"\xd0\xcf\x11\xe0old", b"from,to\n", sheet_bytes()):
        rows, findings = read(stage, data, name="tape.xlsx")
        assert rows == [] and findings.errors


def test_a_zip_that_unpacks_without_end_and_a_sheet_of_a_million_columns(stage):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", bytes(LARGEST + 1))
    _, findings = read(stage, buffer.getvalue(), name="tape.xlsx")
    assert "unpacked" in only(findings)
    wide = openpyxl.Workbook()
    for line in range(1, 200):
        wide.active.cell(line, 16384, "x")
    wide.save(stage / "tape.xlsx")
    findings = Findings()
    assert read_table(stage, "tape", COLUMNS, "mm", findings) == [] and findings.errors


FUZZ = settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
GOOD_CSV = (HEADER + 'frontL,frontR,104.3 cm,floor,0.4,3,yes,"hot, dry"\na,b,41 5/16",car\n# x\na,c,5,floor\n').encode()
GOOD_XLSX = sheet_bytes(TOP, ["a", "b", 104.3, "floor", "x"], ["a", "c", "5", "car"])


@st.composite
def mutated(draw, good):
    """`good` with a few runs of bytes replaced, cut out or doubled."""
    data = bytearray(good)
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(data)))
        upto = draw(st.integers(at, min(len(data), at + 30)))
        data[at:upto] = draw(st.binary(max_size=12) | st.sampled_from([b'"', b";", b",", b"\n", b"1e300", b"\0"]))
    return bytes(data)


def never_more_than_findings(stage, name, data):
    rows, findings = read(stage, data, name=name)
    assert isinstance(rows, list)
    for row in rows:
        assert 0 < row.values["length"] < 1e8 and row.values["where"] in {"floor", "car", "bar"}
    for finding in findings:
        assert finding.file == f"before/{name}" and "\n" not in finding.text()


@FUZZ
@given(data=mutated(GOOD_CSV) | st.binary(max_size=300))
def test_mutated_text_gives_rows_or_findings(stage, data):
    never_more_than_findings(stage, "tape.csv", data)


@FUZZ
@given(data=mutated(GOOD_XLSX))
def test_mutated_spreadsheets_give_rows_or_findings(stage, data):
    never_more_than_findings(stage, "tape.xlsx", data)


@FUZZ
@given(cells=st.lists(st.lists(st.text(max_size=12), max_size=8), max_size=6))
def test_any_cells_under_a_good_header(stage, cells):
    table = HEADER + "".join(",".join(line) + "\n" for line in cells)
    never_more_than_findings(stage, "tape.csv", table.encode("utf-8", "replace"))
