"""`plumbsquare find`: words, JSON and drawings for the person who holds the phone."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from measure.cli import main
from measure.photo.find import FoundPicture, TargetImage, find_in
from measure.photo.picture import Exif, Picture
from measure.report.found_drawing import OUTLINE, draw_found, turned
from tests.photo.shown import sheets, show


def flat(result: Result) -> str:
    """What was printed, in one line: where it breaks depends on how long the folder's name is."""
    return " ".join(result.stdout.split())


def find(*words: str | Path) -> Result:
    result = CliRunner().invoke(main, ["find", *map(str, words)])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert "Traceback" not in result.output
    return result


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "photos"
    show(sheets(range(4), np.random.default_rng(1), apart=120.0), orientation=6).save(made / "IMG_1.jpg")
    show(sheets(range(2, 6), np.random.default_rng(2))).save(made / "IMG_2.jpg")
    return made


def test_text_says_what_is_seen_in_which_picture(folder: Path) -> None:
    show(()).save(folder / "IMG_3.jpg")
    (folder / "IMG_4.jpg").touch()
    (folder / "notes.txt").write_text("no picture by its name\n")
    result = find(folder)
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert lines[0] == "6 targets seen in 2 of 4 pictures."
    row = next(line for line in lines if "IMG_2.jpg" in line)
    assert row.split()[:2] == ["IMG_2.jpg", "4"] and row.endswith("2 3 4 5")
    assert "IMG_3.jpg: no target seen" in flat(result)
    assert "Cannot be used" in lines
    assert "IMG_4.jpg: an empty file; copy the picture over again" in flat(result)
    assert not [line for line in lines if line != line.rstrip() or len(line) > 100 or "notes.txt" in line]


def test_json_is_as_promised_and_nothing_is_left_out(folder: Path) -> None:
    (folder / "IMG_4.jpg").touch()
    result = find(folder / "IMG_2.jpg", folder / "IMG_4.jpg", "--json")
    assert result.exit_code == 0
    seen, unusable = json.loads(result.stdout)
    assert list(seen) == list(unusable) == ["photo", "width", "height", "targets", "notes"]
    assert (seen["photo"], seen["width"], seen["height"]) == ((folder / "IMG_2.jpg").as_posix(), 1200, 900)
    (found,) = find_in([folder / "IMG_2.jpg"])
    assert isinstance(found, FoundPicture)
    for target, row in zip(found.targets, seen["targets"], strict=True):
        assert list(row) == ["id", "centre", "corners", "sd"]
        assert (row["id"], tuple(row["centre"]), row["sd"]) == (target.number, target.centre, target.sd)
        assert [tuple(corner) for corner in row["corners"]] == list(target.corners)
    assert (unusable["width"], unusable["height"], unusable["targets"]) == (None, None, [])
    assert "empty" in unusable["notes"][0]
    assert find(folder / "IMG_2.jpg", folder / "IMG_4.jpg", "--json").stdout == result.stdout


def test_drawings_are_upright_with_an_outline_where_the_target_is(folder: Path, tmp_path: Path) -> None:
    (folder / "IMG_4.jpg").touch()
    out = tmp_path / "new" / "drawn"
    result = find(folder, "--draw", out)
    assert result.exit_code == 0 and "wrote 2 pictures into" in result.output
    assert sorted(p.name for p in out.iterdir()) == ["IMG_1.png", "IMG_2.png"]
    with Image.open(out / "IMG_1.png") as drawn:
        assert drawn.size == (900, 1200)  # held upright
        values = np.asarray(drawn.convert("RGB")).astype(int)
    (found,) = find_in([folder / "IMG_1.jpg"])
    assert isinstance(found, FoundPicture)
    for target in found.targets:
        middle = np.mean(turned(np.array(target.corners), found)[1:3], axis=0)  # of the side opposite the first corner
        x, y = np.round(middle).astype(int)
        around = values[y - 2 : y + 3, x - 2 : x + 3].reshape(-1, 3)
        assert np.any(np.abs(around - OUTLINE).sum(axis=1) < 30), target.number


@pytest.mark.parametrize(
    ("orientation", "at"), [(1, (10, 3)), (3, (89, 46)), (6, (46, 10)), (8, (3, 89)), (5, (10, 3))]
)
def test_turning_a_place_agrees_with_turning_the_picture(orientation: int, at: tuple[int, int]) -> None:
    from measure.photo.picture import upright

    values = np.zeros((50, 100), np.uint8)
    values[3, 10] = 255
    exif = Exif(orientation=orientation)
    found = FoundPicture(Picture(Path("a.jpg"), "", "JPEG", 100, 50, exif), ())
    y, x = np.argwhere(upright(values, exif) == 255)[0]
    assert (x, y) == at == tuple(turned(np.array([[10.0, 3.0]]), found)[0].astype(int))


def test_two_pictures_of_one_name_are_two_drawings(folder: Path, tmp_path: Path) -> None:
    show(()).save(folder / "more" / "IMG_1.jpg")
    out = tmp_path / "drawn"
    assert find(folder / "IMG_1.jpg", folder / "more" / "IMG_1.jpg", "--draw", out, "--json").exit_code == 0
    assert sorted(p.name for p in out.iterdir()) == ["IMG_1.png", "IMG_1_2.png"]


def test_a_drawing_goes_to_stderr_s_word_with_json(folder: Path, tmp_path: Path) -> None:
    result = find(folder, "--json", "--draw", tmp_path / "drawn")
    assert len(json.loads(result.stdout)) == 2 and "wrote 2 pictures" in result.stderr


def test_a_picture_gone_before_it_is_drawn_is_left_out(folder: Path, tmp_path: Path) -> None:
    found = [each for each in find_in(sorted(folder.iterdir())) if isinstance(each, FoundPicture)]
    (folder / "IMG_1.jpg").write_bytes(b"\xff\xd8")
    assert [p.name for p in draw_found(tmp_path, found)] == ["IMG_2.png"]


def test_numbers_stay_inside_the_drawing(folder: Path, tmp_path: Path) -> None:
    (found,) = find_in([folder / "IMG_2.jpg"])
    assert isinstance(found, FoundPicture)
    corner = TargetImage(586, (1195.0, 4.0), ((1190.0, 0.0), (1199.0, 0.0), (1199.0, 8.0), (1190.0, 8.0)), 0.01, 9.0, 0)
    assert draw_found(tmp_path, [FoundPicture(found.picture, (corner, *found.targets))])


@pytest.mark.parametrize("words", [("--json",), (), ("--draw", "drawn")])
def test_no_usable_picture_is_status_2_with_the_reasons(words: tuple[str, ...], tmp_path: Path) -> None:
    (tmp_path / "a.jpg").touch()
    (tmp_path / "b.jpg").write_text("from,to,length\n")
    words = tuple(str(tmp_path / word) if word == "drawn" else word for word in words)
    result = find(tmp_path / "a.jpg", tmp_path / "b.jpg", *words)
    assert result.exit_code == 2 and not result.stdout
    assert "No picture can be used" in result.stderr
    assert "a.jpg: an empty file" in result.stderr and "b.jpg: text" in result.stderr
    assert not (tmp_path / "drawn").exists()


def test_a_photo_of_nothing_can_be_used_and_is_named(tmp_path: Path) -> None:
    result = find(show(()).save(tmp_path / "wall.jpg"))
    assert result.exit_code == 0
    assert result.stdout.startswith("0 targets seen in 0 of 1 picture.") and "no target seen" in flat(result)


def test_a_name_that_leads_nowhere_is_told(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "file").touch()
    for words, said in (
        ((tmp_path / "none.jpg",), "there is no such picture or folder"),
        ((tmp_path / "empty",), "no picture in this folder"),
        ((tmp_path / "file", "--draw", tmp_path / "file"), "this is a file"),
    ):
        result = find(*words)
        assert result.exit_code == 2 and said in result.stderr and not result.stdout


def test_two_sheets_of_one_number_are_told(tmp_path: Path) -> None:
    first, second, *_ = sheets((4, 4, 9), np.random.default_rng(3))
    result = find(show((first, second)).save(tmp_path / "a.jpg"))
    assert result.exit_code == 0 and "target 4 is seen more than once" in " ".join(result.stdout.split())
