"""What was found is remembered by content; the memory may be lost, broken or forbidden at any time."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from measure.photo import cache
from measure.photo import find as finder
from measure.photo.find import FoundPicture, TargetImage, find_in
from tests.photo.shown import sheets, show

TARGET = TargetImage(5, (1.25, 2.5), ((0.0, 0.0), (1.0, 0.5), (1.5, 1.0), (0.25, 1.0)), 0.01, 1.0, 1)


@pytest.fixture
def picture(tmp_path: Path) -> Path:
    return show(sheets(range(4), np.random.default_rng(1))).save(tmp_path / "a.jpg")


@pytest.fixture
def blind(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Counts the pictures that are decoded."""
    decoded: list[int] = []
    real = finder.grey

    def counted(picture: finder.Picture) -> object:
        decoded.append(1)
        return real(picture)

    monkeypatch.setattr(finder, "grey", counted)
    return decoded


def found(path: Path) -> FoundPicture:
    (each,) = find_in([path])
    assert isinstance(each, FoundPicture)
    return each


def test_a_second_look_decodes_nothing_and_says_the_same(picture: Path, blind: list[int]) -> None:
    first, second = found(picture), found(picture)
    assert first == second and len(first.targets) == 4 and len(blind) == 1


def test_it_goes_by_content_and_not_by_name(picture: Path, blind: list[int], tmp_path: Path) -> None:
    first = found(picture)
    shutil.copy(picture, tmp_path / "other.jpg")
    assert found(tmp_path / "other.jpg").targets == first.targets and len(blind) == 1
    show(sheets(range(8, 10), np.random.default_rng(2))).save(picture)
    assert [t.number for t in found(picture).targets] == [8, 9] and len(blind) == 2


def test_it_lies_in_the_users_cache_folder_and_may_be_deleted(picture: Path, blind: list[int], tmp_path: Path) -> None:
    first = found(picture)
    assert cache.folder().is_relative_to(tmp_path / "cache")
    assert [p.suffix for p in cache.folder().iterdir()] == [".json"]
    shutil.rmtree(tmp_path / "cache")
    assert found(picture) == first and len(blind) == 2


@pytest.mark.parametrize(
    "text",
    [
        "", "{", "[]", "null", "3", '{"targets": 3}', '{"targets": [3]}', '{"targets": [[1, [2, 3]]]}', '{"other": []}',
        '{"targets": [[1, [2, 3], [[1, 2]], 0.1, 20, 0]]}', '{"targets": [["a", [2, 3], [[1, 2]], 0.1, 20, 0]]}',
        '{"targets": [[1, [], [[0, 0], [1, 0], [1, 1], [0, 1]], 0.1, 20, 0]]}', "\udcff",
    ],
)  # fmt: skip
def test_a_broken_memory_is_no_memory(text: str, picture: Path, blind: list[int]) -> None:
    first = found(picture)
    (kept,) = cache.folder().iterdir()
    kept.write_bytes(text.encode("utf-8", "surrogateescape"))
    assert found(picture) == first and len(blind) == 2


def test_another_finder_does_not_believe_it(picture: Path, blind: list[int], monkeypatch: pytest.MonkeyPatch) -> None:
    found(picture)
    monkeypatch.setattr(cache, "FINDER", cache.FINDER + 1)
    found(picture)
    assert len(blind) == 2


def test_where_nothing_can_be_written_nothing_is_said(
    picture: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").touch()
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    assert len(found(picture).targets) == 4


def test_two_prints_of_one_number_are_remembered_as_two() -> None:
    cache.remember("ab", [TARGET, TARGET])
    assert cache.recall("ab") == [TARGET, TARGET]


def test_figures_come_back_to_the_last_digit() -> None:
    odd = TargetImage(7, (0.1 + 0.2, 1e-9), TARGET.corners, 1 / 3, 2 / 3, 0)
    cache.remember("cd", [odd])
    assert cache.recall("cd") == [odd]
    cache.remember("ef", [])
    assert cache.recall("ef") == [] and cache.recall("none") is None


def test_not_a_number_is_no_memory() -> None:
    cache.remember("ab", [TARGET])
    (kept,) = cache.folder().iterdir()
    rows = json.loads(kept.read_text())
    rows["targets"][0][1] = [float("nan"), 1.0]
    kept.write_text(json.dumps(rows))
    assert cache.recall("ab") is None


def test_no_half_files_stay(picture: Path) -> None:
    found(picture)
    assert not [p for p in cache.folder().iterdir() if p.name.startswith(".")]
