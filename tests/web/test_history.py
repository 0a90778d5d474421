"""The history: every state can be had again, hand edits are seen, a cut-off write counts for nothing."""

from __future__ import annotations

import contextlib
import json
import tempfile
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from measure.cli import main
from measure.history import NAME, History, HistoryError
from measure.splice import difference, put_back, replayed

FILE = "before/tape.csv"
TEXT = "from,to,length,where\na,b,1,floor\n# mine\nc,d,2,floor\n"


@pytest.fixture
def job(tmp_path: Path) -> Path:
    (tmp_path / "before").mkdir()
    (tmp_path / "job.toml").write_text("", encoding="utf-8")
    (tmp_path / FILE).write_text(TEXT, encoding="utf-8")
    return tmp_path


def grown(line: str):  # type: ignore[no-untyped-def]
    return lambda text: text + line


def test_a_change_is_written_and_taken_back_byte_for_byte(job: Path) -> None:
    history = History(job)
    entry = history.change(FILE, grown("e,f,3,floor\n"), "e to f", id_="one")
    assert (job / FILE).read_text(encoding="utf-8") == TEXT + "e,f,3,floor\n"
    history.undo(entry.number)
    assert (job / FILE).read_text(encoding="utf-8") == TEXT
    assert [e.kind for e in history.entries()] == ["found", "entered", "undone"]
    assert history.taken_back() == {entry.number}


def test_taking_back_an_undoing_puts_it_in_again(job: Path) -> None:
    history = History(job)
    entry = history.change(FILE, grown("e,f,3,floor\n"), "e to f")
    undone = history.undo(entry.number)
    history.undo(undone.number)
    assert (job / FILE).read_text(encoding="utf-8").endswith("e,f,3,floor\n")
    assert history.taken_back() == {undone.number}


def test_an_earlier_change_is_taken_back_wherever_its_lines_stand_now(job: Path) -> None:
    history = History(job)
    first = history.change(FILE, grown("e,f,3,floor\n"), "e to f")
    history.change(FILE, lambda text: text.replace("# mine\n", "# mine\n# and more\n"), "remark")
    history.undo(first.number)
    assert (job / FILE).read_text(encoding="utf-8") == TEXT.replace("# mine\n", "# mine\n# and more\n")


def test_what_was_changed_again_is_not_taken_back_over_it(job: Path) -> None:
    history = History(job)
    first = history.change(FILE, grown("e,f,3,floor\n"), "e to f")
    (job / FILE).write_text(TEXT + "e,f,4,floor\n", encoding="utf-8")
    with pytest.raises(HistoryError, match="changed there again"):
        history.undo(first.number)
    assert (job / FILE).read_text(encoding="utf-8") == TEXT + "e,f,4,floor\n"


def test_an_edit_by_hand_is_seen_kept_and_listed(job: Path) -> None:
    history = History(job)
    history.change(FILE, grown("e,f,3,floor\n"), "e to f")
    with (job / FILE).open("a", encoding="utf-8") as file:
        file.write("g,h,9,floor\n")
    history.change(FILE, grown("i,j,5,floor\n"), "i to j")
    assert (job / FILE).read_text(encoding="utf-8") == TEXT + "e,f,3,floor\ng,h,9,floor\ni,j,5,floor\n"
    assert [e.kind for e in history.entries()] == ["found", "entered", "by hand", "entered"]


def test_back_to_any_state(job: Path) -> None:
    history = History(job)
    states = {}
    for i in range(5):
        entry = history.change(FILE, grown(f"p{i},q{i},{i},floor\n"), f"{i}")
        states[entry.number] = (job / FILE).read_text(encoding="utf-8")
    target = sorted(states)[2]
    history.back_to(target)
    assert (job / FILE).read_text(encoding="utf-8") == states[target]
    history.back_to(0)
    assert (job / FILE).read_text(encoding="utf-8") == TEXT


def test_a_write_that_was_cut_short_does_not_count(job: Path) -> None:
    history = History(job)
    history.change(FILE, grown("e,f,3,floor\n"), "e to f")
    whole = (job / NAME).read_bytes()
    entry = json.loads(whole.splitlines()[-2])
    unfinished = {**entry, "number": 99, "id": "lost", "before": entry["after"], "after": "0" * 64}
    (job / NAME).write_bytes(whole + json.dumps(unfinished).encode() + b"\n" + b'{"number": 100, "wh')
    again = History(job)
    assert again.known("lost") is None
    assert len(again.entries()) == 2
    made = again.change(FILE, grown("g,h,4,floor\n"), "g to h", id_="lost")
    assert made.number == 100
    assert History(job).known("lost") is not None


def test_an_entry_whose_mark_was_lost_counts_where_the_table_has_it(job: Path) -> None:
    history = History(job)
    history.change(FILE, grown("e,f,3,floor\n"), "e to f", id_="kept")
    lines = (job / NAME).read_bytes().splitlines(keepends=True)
    (job / NAME).write_bytes(b"".join(lines[:-1]))
    assert History(job).known("kept") is not None


def test_bytes_that_are_no_utf8_are_kept(job: Path) -> None:
    odd = "from,to,length,where\nT\xfcrL,b,1,floor\n".encode("cp1252")
    (job / FILE).write_bytes(odd)
    history = History(job)
    entry = history.change(FILE, grown("c,d,2,floor\n"), "c to d")
    assert (job / FILE).read_bytes() == odd + b"c,d,2,floor\n"
    history.undo(entry.number)
    assert (job / FILE).read_bytes() == odd


@given(
    st.lists(st.sampled_from(["a\n", "b\n", "c\r\n", "\n"])), st.lists(st.sampled_from(["a\n", "b\n", "c\r\n", "\n"]))
)
def test_a_difference_leads_there_and_back(old: list[str], new: list[str]) -> None:
    before, after = "".join(old), "".join(new)
    splice = difference(before, after)
    assert replayed(before, splice) == after
    assert replayed(after, splice.inverse()) == before
    if splice.added:
        assert len(put_back(after, splice, "x")) == len(before)


def test_the_command_lists_and_goes_back(job: Path) -> None:
    History(job).change(FILE, grown("e,f,3,floor\n"), "tape: e to f: 3")
    listed = CliRunner().invoke(main, ["history", str(job)])
    assert "tape: e to f: 3" in listed.output and listed.exit_code == 0
    assert CliRunner().invoke(main, ["history", str(job), "--back-to", "1"]).exit_code == 0
    assert (job / FILE).read_text(encoding="utf-8") == TEXT
    wrong = CliRunner().invoke(main, ["history", str(job), "--undo", "77"])
    assert wrong.exit_code == 2 and "no change number 77" in wrong.output


def test_a_file_saved_in_the_same_moment_is_not_overwritten(job: Path) -> None:
    history = History(job)
    saves = iter([TEXT + "x,y,8,floor\n"])

    def make(text: str) -> str:
        for late in saves:  # an editor saves between our look and our write
            (job / FILE).write_text(late, encoding="utf-8")
        return text + "e,f,3,floor\n"

    history.change(FILE, make, "e to f")
    assert (job / FILE).read_text(encoding="utf-8") == TEXT + "x,y,8,floor\ne,f,3,floor\n"
    history.back_to(0)
    assert (job / FILE).read_text(encoding="utf-8") == TEXT


ACTS = st.lists(st.tuples(st.sampled_from(["enter", "hand", "undo", "restart", "cut"]), st.integers(0, 9)), max_size=12)


@settings(max_examples=40, deadline=None)
@given(ACTS)
def test_whatever_happens_the_history_tells_the_file(acts: list[tuple[str, int]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder)
        (job / "before").mkdir()
        (job / FILE).write_text(TEXT, encoding="utf-8")
        history = History(job)
        with history.changing():
            history.text(FILE)  # as it is found
        for i, (act, number) in enumerate(acts):
            if act == "enter":
                history.change(FILE, grown(f"p{i},q{i},{number},floor\n"), "in", id_=f"i{i}")
            elif act == "hand":
                lines = (job / FILE).read_text(encoding="utf-8").splitlines(keepends=True)
                lines.insert(min(number, len(lines)), f"# by hand {i}\n")
                (job / FILE).write_text("".join(lines), encoding="utf-8")
            elif act == "undo":
                with contextlib.suppress(HistoryError):
                    history.undo(number)
            elif act == "restart":
                history = History(job)
            else:
                with (job / NAME).open("ab") as file:
                    file.write(b'{"number": 77, "whe')
        with history.changing():
            now = history.text(FILE)
        text = ""
        for entry in History(job).entries():
            text = replayed(text, entry.splice)
        assert text == now == (job / FILE).read_bytes().decode("utf-8")
        history.back_to(0)
        assert (job / FILE).read_text(encoding="utf-8") == TEXT


NEW = "before/heights.csv"


def entered(row: str):  # type: ignore[no-untyped-def]
    return lambda text: (text or "point,height\n") + row


def test_taking_back_what_made_a_table_takes_the_table_away(job: Path) -> None:
    history = History(job)
    first = history.change(NEW, entered("a,1\n"), "a")
    undone = history.undo(first.number)
    assert not (job / NEW).exists()
    assert [e.kind for e in History(job).entries()] == ["entered", "undone"]
    history.undo(undone.number)
    assert (job / NEW).read_text(encoding="utf-8") == "point,height\na,1\n"
    history.back_to(0)
    assert not (job / NEW).exists()


def test_the_line_that_names_the_columns_stays_while_there_are_rows(job: Path) -> None:
    history = History(job)
    first = history.change(NEW, entered("a,1\n"), "a")
    second = history.change(NEW, entered("b,2\n"), "b")
    undone = history.undo(first.number)
    assert (job / NEW).read_text(encoding="utf-8") == "point,height\nb,2\n"
    history.undo(undone.number)
    assert sorted((job / NEW).read_text(encoding="utf-8").splitlines()[1:]) == ["a,1", "b,2"]
    history.undo(history.entries()[-1].number)
    history.undo(second.number)
    assert not (job / NEW).exists()


def test_the_line_that_names_the_columns_is_not_put_in_twice(job: Path) -> None:
    history = History(job)
    first = history.change(NEW, entered("a,1\n"), "a")
    undone = history.undo(first.number)
    history.change(NEW, entered("b,2\n"), "b")
    history.undo(undone.number)
    assert (job / NEW).read_text(encoding="utf-8") == "point,height\na,1\nb,2\n"
    (job / NEW).unlink()
    history.change(NEW, lambda text: text + "height;point\n3;c\n", "by hand, with other columns")
    with pytest.raises(HistoryError, match="other columns"):
        history.undo(undone.number)


def test_a_table_taken_away_without_its_mark_is_known_to_be_gone(job: Path) -> None:
    history = History(job)
    history.undo(history.change(NEW, entered("a,1\n"), "a").number)
    lines = (job / NAME).read_bytes().splitlines(keepends=True)
    (job / NAME).write_bytes(b"".join(lines[:-1]))
    assert [e.kind for e in History(job).entries()] == ["entered", "undone"]


@pytest.mark.parametrize("renamed", [True, False])
def test_a_crash_while_a_photograph_is_taken_back_hides_nothing_without_an_entry(job: Path, renamed: bool) -> None:
    (job / "before/photos").mkdir()
    (job / "before/photos/.part").write_bytes(b"picture")
    history = History(job)
    photo, hidden = job / "before/photos/a.jpg", job / "before/photos/.a.jpg"
    entry = history.photo_added("before/photos/a.jpg", "photograph a.jpg", job / "before/photos/.part")
    assert photo.exists()
    history.undo(entry.number)
    lines = (job / NAME).read_bytes().splitlines(keepends=True)
    (job / NAME).write_bytes(b"".join(lines[:-1]))  # the mark was not written
    if not renamed:
        hidden.rename(photo)
    again = History(job)
    assert [e.photo for e in again.entries()] == (["in", "out"] if renamed else ["in"])
    number = again.entries()[-1].number
    made = again.undo(number)
    assert photo.exists() == renamed and hidden.exists() != renamed
    assert [e.number for e in History(job).entries()][-1] == made.number


def test_a_photograph_that_took_the_name_meanwhile_is_not_overwritten(job: Path) -> None:
    (job / "before/photos").mkdir()
    photo = job / "before/photos/a.jpg"
    (job / "before/photos/.part").write_bytes(b"one")
    history = History(job)
    history.photo_added("before/photos/a.jpg", "photograph a.jpg", job / "before/photos/.part")
    history.undo(1)
    photo.write_bytes(b"two")  # by hand
    with pytest.raises(HistoryError, match=r"another picture is called a\.jpg"):
        history.undo(2)
    assert photo.read_bytes() == b"two" and (job / "before/photos/.a.jpg").read_bytes() == b"one"
