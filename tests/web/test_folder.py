"""A folder that may not be written to, or is not there any more, while the page is open; and what killed runs left."""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from measure.atomic import OLD
from measure.web.server import _sweep
from tests.web.client import Client
from tests.web.conftest import reading
from tests.web.test_photos import AT as PHOTOS_AT
from tests.web.test_photos import jpeg

AT = "/api/jobs/saloon/before/readings"


def files(shop: Path) -> dict[str, bytes]:
    """All that is in the job, the history aside."""
    kept = (p for p in (shop / "saloon").rglob("*") if p.is_file() and p.name != "history.jsonl")
    return {p.relative_to(shop).as_posix(): p.read_bytes() for p in kept}


@pytest.fixture(params=["EROFS", "EACCES", "folder"])
def unlock(request: pytest.FixtureRequest, shop: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[], None]]:
    """A stage that cannot be written to until this is called: by a refusal that root meets too, or the system's own."""
    stage, (real_open, real_path_open) = shop / "saloon/before", (os.open, Path.open)
    (stage / "photos").mkdir()

    def unlocked() -> None:
        monkeypatch.setattr(os, "open", real_open)
        monkeypatch.setattr(Path, "open", real_path_open)
        for folder in (stage, stage / "photos"):
            folder.chmod(0o755)

    def refusing(real: Callable[..., Any]) -> Callable[..., Any]:
        def opened(path: Path | str, *rest: Any, **more: Any) -> Any:
            if str(path).endswith(".part"):
                raise OSError(getattr(errno, request.param), "refused", str(path))
            return real(path, *rest, **more)

        return opened

    if request.param == "folder":
        if os.name == "nt" or os.geteuid() == 0:
            pytest.skip("who runs this test may write everywhere")
        for folder in (stage / "photos", stage):
            folder.chmod(0o555)
    else:
        monkeypatch.setattr(os, "open", refusing(real_open))
        monkeypatch.setattr(Path, "open", refusing(real_path_open))
    yield unlocked
    unlocked()


def test_what_cannot_be_written_is_not_called_saved(client: Client, shop: Path, unlock: Callable[[], None]) -> None:
    before = files(shop)
    answer = client.post(AT, reading("a", "1094.625"))
    assert answer.status_code == 507 and "may not be written to: nothing was saved" in answer.json()["error"]
    picture = client.post(PHOTOS_AT, content=jpeg())
    assert picture.status_code == 507 and "may not be written to" in picture.json()["error"]
    assert files(shop) == before
    assert client.get("/jobs/saloon/before/tape").status_code == 200
    unlock()
    assert client.post(AT, reading("a", "1094.625")).json()["saved"]  # the page offers it again
    assert client.post(AT, reading("a", "1094.625")).json()["saved"]
    assert (shop / "saloon/before/tape.csv").read_text(encoding="utf-8").count("1094.625") == 1
    changes = client.get("/api/jobs/saloon/history").json()["changes"]
    assert [change["id"] for change in changes if change["kind"] == "entered"] == ["a"]


@pytest.mark.parametrize(("gone", "status", "told"), [(".", 507, "is not there any more"), ("saloon", 404, "No job")])
def test_a_folder_that_has_gone_is_told_and_not_made_anew(
    client: Client, shop: Path, tmp_path: Path, gone: str, status: int, told: str
) -> None:
    assert client.get("/jobs/saloon/before/tape").status_code == 200
    place = shop / gone
    place.resolve().rename(tmp_path / "elsewhere")
    asked = (client.post(AT, reading("a", "1094.625")), client.post(PHOTOS_AT, content=jpeg()))
    looked = (client.get("/jobs/saloon/before/tape?part=now"), client.get("/api/jobs/saloon/before/state"))
    for answer in (*asked, *looked):
        assert answer.status_code == status and told in answer.json()["error"]
    assert told in client.get("/jobs/saloon/before/tape").text
    assert not place.exists()
    (tmp_path / "elsewhere").rename(shop / gone)
    assert client.post(AT, reading("a", "1094.625")).json()["saved"]
    assert client.get("/jobs/saloon/before/tape?part=now").status_code == 200


def test_what_killed_runs_left_is_removed_after_a_day_and_nothing_else(shop: Path, tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (shop / "saloon/linked").symlink_to(outside)
    (shop / "saloon/before/photos").mkdir(exist_ok=True)
    left = [
        shop / "saloon/.job.toml.0123abcd.part", shop / "saloon/before/.tape.csv.0123abcd.part",
        shop / "saloon/before/photos/.photograph.0123abcd.part",
    ]  # fmt: skip
    kept = [
        shop / "saloon/before/.tape.csv.ffffffff.part",  # of this moment: somebody may be writing it
        shop / "saloon/before/notes.part", shop / "saloon/before/photos/.0123.jpg", outside / ".a.0123abcd.part",
    ]  # fmt: skip
    long_ago = time.time() - OLD - 10
    for path in left + kept:
        path.write_bytes(b"half")
        if path != kept[0]:
            os.utime(path, (long_ago, long_ago))
    before = files(shop)
    _sweep(shop)
    assert not any(path.exists() for path in left) and all(path.exists() for path in kept)
    assert set(before) - set(files(shop)) == {path.relative_to(shop).as_posix() for path in left}
