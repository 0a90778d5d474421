"""Edits of a table keep every byte that they do not mean."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measure.web.table_edit import Table, TableEditError

COLUMNS = ("from", "to", "length", "where", "tape", "sd", "note")
ODD = (
    "\ufeff# by hand\r\n\r\nfrom ; to;length; where;note\r\n# a remark; with marks\r\n"
    ' a ;b; ;floor;"left; rear"\r\nc;d;104,5;floor\r\n'
)


def test_a_cell_is_filled_and_nothing_else_is_touched() -> None:
    table = Table(ODD, "tape.csv", COLUMNS)
    assert [(r.line, r.cells["from"], r.cells["length"]) for r in table.rows] == [(5, "a", ""), (6, "c", "104,5")]
    table.fill(5, {"length": "1043"})
    assert table.text() == ODD.replace(" a ;b; ;", " a ;b;1043;")


def test_a_row_is_appended_in_the_tables_own_dress() -> None:
    table = Table(ODD, "tape.csv", COLUMNS)
    assert table.append({"from": "e", "to": "f", "length": "3' 5 5/16\"", "where": "floor"}) == 7
    assert table.text() == ODD + 'e;f;"3\' 5 5/16""";floor;\r\n'
    again = Table(table.text(), "tape.csv", COLUMNS)
    assert again.rows[-1].cells["length"] == "3' 5 5/16\""


def test_a_last_line_without_an_end_is_closed_first() -> None:
    table = Table("from,to,length,where\na,b,1,floor", "tape.csv", COLUMNS)
    table.append({"from": "c", "to": "d", "length": "2", "where": "floor"})
    assert table.text() == "from,to,length,where\na,b,1,floor\nc,d,2,floor\n"


def test_a_short_row_is_lengthened() -> None:
    table = Table("from,to,length,where,note\na,b\n", "tape.csv", COLUMNS)
    table.fill(2, {"length": "7"})
    assert table.text() == "from,to,length,where,note\na,b,7\n"


def test_an_empty_file_gets_a_header() -> None:
    table = Table("", "tape.csv", COLUMNS)
    table.append({"from": "a", "to": "b", "length": "1", "where": "floor"})
    assert table.text() == "from,to,length,where,tape,sd,note\na,b,1,floor,,,\n"


def test_what_cannot_be_read_is_told() -> None:
    with pytest.raises(TableEditError, match="plain text"):
        Table("f\0r\0o\0m\0", "tape.csv", COLUMNS)
    with pytest.raises(TableEditError, match="quote"):
        Table('from,to,length,where\na,b,"1,floor\n', "tape.csv", COLUMNS)
    table = Table("from,length,where\na,1,floor\n", "tape.csv", COLUMNS)
    with pytest.raises(TableEditError, match='no column "to"'):
        table.append({"from": "a", "to": "b", "length": "1", "where": "floor"})


CELL = st.text(st.characters(codec="ascii", exclude_characters='\r\n"#\0', exclude_categories=("Cc",)), max_size=6)


@given(st.lists(st.tuples(CELL, CELL, CELL), min_size=1, max_size=5), st.data())
def test_other_rows_stay_byte_for_byte(cells: list[tuple[str, str, str]], data: st.DataObject) -> None:
    lines = [";".join(c.replace(";", "") for c in row) + "\n" for row in cells]
    text = "from;to;length\n" + "".join(lines)
    table = Table(text, "tape.csv", COLUMNS)
    if not table.rows:
        return
    row = data.draw(st.sampled_from(table.rows))
    table.fill(row.line, {"length": "1043"})
    after = table.text().splitlines(keepends=True)
    before = text.splitlines(keepends=True)
    assert [line for i, line in enumerate(after) if i != row.line - 1] == [
        line for i, line in enumerate(before) if i != row.line - 1
    ]
    assert Table(table.text(), "tape.csv", COLUMNS).rows[table.rows.index(row)].cells["length"] == "1043"
