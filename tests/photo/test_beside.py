"""The process beside this one says what this one would say, and is not missed when it dies."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from measure.photo import find as finder
from measure.photo.beside import Beside
from measure.photo.find import FEW, find_in, look
from measure.photo.picture import Picture, PictureError, open_picture
from measure.photo.target_image import TargetImage
from tests.photo.shown import sheets, show


def never(picture: Picture) -> list[TargetImage]:
    raise AssertionError(f"{picture.path.name} was looked at here")


@pytest.fixture
def beside() -> Iterator[Beside]:
    made = Beside(never)
    yield made
    made.close()


@pytest.fixture
def picture(tmp_path: Path) -> Picture:
    return open_picture(show(sheets(range(4), np.random.default_rng(1)), orientation=6).save(tmp_path / "a ü.jpg"))


def pid(beside: Beside) -> int:
    assert beside._process is not None
    return beside._process.pid


def test_it_finds_what_this_process_finds(beside: Beside, picture: Picture) -> None:
    assert beside.look(picture) == look(picture) and len(look(picture)) == 4


def test_it_stays_for_the_next_picture_and_ends_when_told(beside: Beside, picture: Picture) -> None:
    beside.look(picture)
    first = pid(beside)
    beside.look(picture)
    assert pid(beside) == first
    beside.close()
    with pytest.raises(ProcessLookupError):
        os.kill(first, 0)


def test_what_is_wrong_with_a_picture_comes_back_in_words(beside: Beside, picture: Picture) -> None:
    picture.path.write_bytes(picture.path.read_bytes()[:-9000])
    with pytest.raises(PictureError, match="cut off") as here:
        look(picture)
    with pytest.raises(PictureError, match="cut off") as there:
        beside.look(picture)
    assert (there.value.found, there.value.would_do) == (here.value.found, here.value.would_do)


def test_a_picture_that_vanished_is_looked_for_here_which_says_so(picture: Picture) -> None:
    made = Beside(look)
    picture.path.unlink()
    with pytest.raises(OSError, match="No such file"):
        made.look(picture)
    made.close()


def test_once_killed_its_pictures_are_looked_at_here(picture: Picture) -> None:
    made = Beside(look)
    first = made.look(picture)
    os.kill(pid(made), signal.SIGKILL)
    assert made.look(picture) == first == made.look(picture)
    made.close()


def test_where_no_process_can_be_begun_this_one_does_it_all(picture: Picture, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object, **__: object) -> None:
        raise PermissionError("no more processes")

    monkeypatch.setattr("measure.photo.beside.subprocess.Popen", refused)
    made = Beside(look)
    assert made.look(picture) == look(picture)
    made.close()


def test_many_pictures_are_shared_out_and_come_back_in_their_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    paths = []
    for k in range(2 * FEW):
        shown = show(sheets(range(k, k + 4), np.random.default_rng(k)), seed=k)
        paths.append(shown.save(tmp_path / f"{k:02d}.jpg"))
    alone = [find_in([path])[0] for path in paths]
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "other"))
    monkeypatch.setattr(finder, "cpu_count", lambda: 2)
    here: list[Path] = []

    def noted(picture: Picture) -> list[TargetImage]:
        here.append(picture.path)
        return look(picture)

    monkeypatch.setattr(finder, "look", noted)
    assert find_in(paths) == alone
    assert 0 < len(here) < len(paths)
