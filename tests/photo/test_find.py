"""Pictures in, targets out: in order, each number once, whatever is wrong with one picture."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from measure.photo.find import SMALL, FoundPicture, find_in
from measure.photo.picture import PictureError
from tests.photo.shown import LARGE, located, mirrored, off_by, sheets, show
from tests.synthetic.photos import Look


def walk(folder: Path, count: int = 3) -> list[Path]:
    made = []
    for k in range(count):
        shown = show(sheets(range(4 * k, 4 * k + 6), np.random.default_rng(k)), seed=k)
        made.append(shown.save(folder / f"IMG_{k}.jpg"))
    return made


def test_results_come_in_the_order_of_the_paths(tmp_path: Path) -> None:
    paths = walk(tmp_path)
    found = find_in([paths[2], paths[0], paths[1]])
    assert [each.picture.path for each in found if isinstance(each, FoundPicture)] == [paths[2], paths[0], paths[1]]
    for k, each in zip((2, 0, 1), found, strict=True):
        assert isinstance(each, FoundPicture) and not each.notes
        assert [t.number for t in each.targets] == list(range(4 * k, 4 * k + 6))
        assert all(t.wrong_bits == 0 and 0.003 < t.sd < 0.05 and 60 < t.side_px < 110 for t in each.targets)


def test_what_is_found_is_where_it_is_through_the_file(tmp_path: Path) -> None:
    shown = show(sheets(range(12), np.random.default_rng(4)))
    (found,) = find_in([shown.save(tmp_path / "a.jpg")])
    assert isinstance(found, FoundPicture)
    for target in found.targets:
        assert np.abs(np.array(target.centre) - shown.centre(target.number)).max() < 4 * target.sd


@pytest.mark.parametrize("orientation", [1, 6, 8])
def test_places_are_in_the_sensors_frame_however_the_phone_was_held(orientation: int, tmp_path: Path) -> None:
    shown = show(sheets(range(4), np.random.default_rng(5), apart=120.0), orientation=orientation)
    (found,) = find_in([shown.save(tmp_path / "a.jpg")])
    assert isinstance(found, FoundPicture)
    assert (found.picture.width, found.picture.height, found.picture.exif.orientation) == (1200, 900, orientation)
    assert len(found.targets) == len(shown.sights) > 2
    for target in found.targets:
        sight = next(s for s in shown.sights if s.sheet.number == target.number)
        assert np.abs(np.array(target.corners) - sight.corners).max() < 0.2


def test_only_the_numbers_asked_for(tmp_path: Path) -> None:
    (path,) = walk(tmp_path, 1)
    (found,) = find_in([path], frozenset({2, 4, 99}))
    assert isinstance(found, FoundPicture) and [t.number for t in found.targets] == [2, 4]
    (after,) = find_in([path])  # what is remembered is all that was seen
    assert isinstance(after, FoundPicture) and len(after.targets) == 6


def test_two_sheets_of_one_number_are_told_and_neither_is_used(tmp_path: Path) -> None:
    made = sheets((1, 2, 3, 4), np.random.default_rng(6))
    shown = show([replace(made[0], number=3), *made[1:]])
    (found,) = find_in([shown.save(tmp_path / "a.jpg")])
    assert isinstance(found, FoundPicture) and [t.number for t in found.targets] == [2, 4]
    (note,) = found.notes
    assert "target 3 is seen more than once" in note and "neither is used" in note
    (other,) = find_in([tmp_path / "a.jpg"], frozenset({2, 4}))
    assert isinstance(other, FoundPicture) and not other.notes  # nobody asked for 3


def test_a_mirrored_sheet_is_not_read(tmp_path: Path) -> None:
    made = sheets((1, 2, 3), np.random.default_rng(7))
    (found,) = find_in([show([made[0], mirrored(made[1]), made[2]]).save(tmp_path / "a.jpg")])
    assert isinstance(found, FoundPicture) and [t.number for t in found.targets] == [1, 3]


def test_very_small_ones_are_told_of(tmp_path: Path) -> None:
    shown = show(sheets(range(8), np.random.default_rng(8), tilt_deg=10.0), distance=2750.0)
    (found,) = find_in([shown.save(tmp_path / "a.png")])
    assert isinstance(found, FoundPicture)
    small = [t for t in found.targets if t.side_px < SMALL]
    assert bool(small) == any("very small" in note for note in found.notes)


def test_a_bad_picture_stands_where_it_stood_and_the_rest_is_found(tmp_path: Path) -> None:
    paths = walk(tmp_path, 2)
    (tmp_path / "empty.jpg").touch()
    (tmp_path / "cut.jpg").write_bytes(paths[0].read_bytes()[:-9000])
    (tmp_path / "folder.jpg").mkdir()
    names = ["IMG_0.jpg", "empty.jpg", "cut.jpg", "none.jpg", "folder.jpg", "IMG_1.jpg"]
    found = find_in([tmp_path / name for name in names])
    assert [isinstance(each, PictureError) for each in found] == [False, True, True, True, True, False]
    words = [str(each) for each in found if isinstance(each, PictureError)]
    assert "empty" in words[0] and "cut off" in words[1] and "cannot be read" in words[2] + words[3]


def test_progress_is_told_of_each_picture(tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []
    find_in(walk(tmp_path), progress=lambda done, of: told.append((done, of)))
    assert told == [(1, 3), (2, 3), (3, 3)]


def test_no_pictures_no_targets() -> None:
    assert find_in([]) == []


def test_a_photo_of_nothing_is_a_picture_without_targets(tmp_path: Path) -> None:
    (found,) = find_in([show(()).save(tmp_path / "a.jpg")])
    assert isinstance(found, FoundPicture) and found.targets == () and found.notes == ()


def test_the_same_pictures_give_the_same_places_to_the_last_digit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    paths = walk(tmp_path)
    once = find_in(paths)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "other"))
    assert find_in(paths) == once


def test_a_worse_picture_says_so_in_its_sd(tmp_path: Path) -> None:
    made = sheets(range(6), np.random.default_rng(9))
    looks = {"good": Look(), "poor": Look(blur_px=2.2, electrons=1500.0, quality=70)}
    found = {}
    for name, look in looks.items():
        (found[name],) = find_in([show(made, look=look, distance=1500.0, camera=LARGE).save(tmp_path / f"{name}.jpg")])
    sds = {name: np.median([t.sd for t in each.targets]) for name, each in found.items()
           if isinstance(each, FoundPicture)}  # fmt: skip
    assert sds["poor"] > 1.7 * sds["good"]


def test_png_and_memory_agree(tmp_path: Path) -> None:
    shown = show(sheets(range(6), np.random.default_rng(10)))
    (found,) = find_in([shown.save(tmp_path / "a.png")])
    assert isinstance(found, FoundPicture)
    off, _ = off_by(shown, located(shown))
    through = np.array([np.array(t.centre) - shown.centre(t.number) for t in found.targets])
    assert np.abs(off - through).max() < 1e-4
