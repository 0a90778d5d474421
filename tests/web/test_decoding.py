"""A picture made to do harm takes the process that decodes it, and nothing else."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from measure.photo.picture import PictureError
from measure.web import decoding, photo_shelf
from tests.web import hostile
from tests.web.client import Client
from tests.web.conftest import ROOT, reading
from tests.web.test_photos import AT, jpeg, names

pytest.importorskip("resource", reason="this system cannot hold a process to a limit")


@pytest.fixture(scope="module")
def decoder() -> Iterator[decoding.Decoder]:
    yield decoding.Decoder()


@pytest.mark.parametrize(
    ("harm", "told"),
    [(hostile.dies, "cannot be decoded"), (hostile.swells, "too large"), (hostile.fails, "the program failed")],
)
def test_harm_is_told_and_the_next_picture_is_well(
    decoder: decoding.Decoder, harm: Callable[[], object], told: str
) -> None:
    got = decoder.submit(harm).result()
    assert isinstance(got, PictureError) and told in str(got)
    assert decoder.submit(hostile.well).result() != os.getpid()


def test_the_process_stays_and_is_begun_anew_where_it_was_ended_in_between(decoder: decoding.Decoder) -> None:
    process = decoder.submit(hostile.well).result()
    assert decoder.submit(hostile.well).result() == process
    assert isinstance(process, int)
    os.kill(process, signal.SIGKILL)
    assert decoder._process is not None
    decoder._process._executor_manager_thread.join()  # type: ignore[attr-defined]  # it has seen that it is gone
    assert decoder.submit(hostile.well).result() not in (process, os.getpid())


def test_a_picture_has_so_much_time_and_no_more(decoder: decoding.Decoder) -> None:
    left = decoder.submit(hostile.seconds_left).result()
    assert isinstance(left, float) and 0 < left <= decoding.SECONDS


def test_it_ends_with_a_server_that_is_killed() -> None:
    program = (
        "import os, signal; from measure.web.decoding import Decoder; from tests.web.hostile import well; "
        "print(Decoder().submit(well).result(), flush=True); os.kill(os.getpid(), signal.SIGKILL)"
    )
    # its output ends when the last that holds it has ended
    ended = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, timeout=60, check=False)
    assert ended.returncode == -signal.SIGKILL and int(ended.stdout) > 0


def test_a_deadly_picture_is_refused_and_the_page_goes_on(
    client: Client, shop: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setattr(photo_shelf, "looked", hostile.looked_unless_deadly)
    answer = client.post(AT, content=jpeg() + hostile.DEADLY)
    assert answer.status_code == 422 and "cannot be decoded" in answer.json()["error"]
    assert names(shop) == []
    kept = client.post(AT, content=jpeg(91))
    assert kept.status_code == 200 and names(shop) == [kept.json()["name"]]
    assert client.get(f"{AT}/{kept.json()['name']}/picture").status_code == 200
    assert client.post("/api/jobs/saloon/before/readings", reading("a", "1094")).json()["saved"]
