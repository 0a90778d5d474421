"""Photographs: known by their content, checked before they are decoded, shown with their targets."""

from __future__ import annotations

import io
import struct
import time
import zlib
from pathlib import Path

import pytest
from PIL import Image

from measure.photo.find import FoundPicture
from measure.web import photo_api, photo_shelf
from tests.web.client import Client

AT = "/api/jobs/saloon/before/photos"


def jpeg(shade: int = 120, size: tuple[int, int] = (640, 480)) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, (shade, shade, shade)).save(out, "JPEG")
    return out.getvalue()


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))


def names(shop: Path) -> list[str]:
    return sorted(path.name for path in (shop / "saloon/before/photos").iterdir())


def test_the_same_picture_is_kept_once_and_the_same_name_twice(client: Client, shop: Path) -> None:
    first = client.post(AT, content=jpeg(), **{"x-name": "image.jpg"}).json()
    again = client.post(AT, content=jpeg(), **{"x-name": "other.jpg"}).json()
    other = client.post(AT, content=jpeg(90), **{"x-name": "image.jpg"}).json()
    assert first["name"] == again["name"] != other["name"]
    assert names(shop) == sorted([first["name"], other["name"]])
    assert (shop / "saloon/before/photos" / first["name"]).read_bytes() == jpeg()
    words = [change["words"] for change in client.get("/api/jobs/saloon/history").json()["changes"]]
    assert words == ["photograph image.jpg", "photograph image.jpg"]


def test_a_photograph_is_taken_back_and_brought_again(client: Client, shop: Path) -> None:
    name = client.post(AT, content=jpeg(), **{"x-name": "../../evil.jpg"}).json()["name"]
    assert client.post("/api/jobs/saloon/undo", {"id": "u", "number": 1}).status_code == 200
    assert names(shop) == ["." + name]
    assert client.get(AT).json()["photos"] == []
    assert client.post("/api/jobs/saloon/undo", {"id": "v", "number": 2}).status_code == 200
    assert names(shop) == [name]


def test_what_is_no_picture_is_refused_and_leaves_nothing(client: Client, shop: Path) -> None:
    bomb = (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0))
        + chunk(b"IEND", b"")
    )
    for data, told in (
        (b"hello, I am text", "text"),
        (bomb, "pixels"),
        (b"%!PS-Adobe", ""),
        (b"\xff\xd8\xff\xe0junk", ""),
    ):
        answer = client.post(AT, content=data)
        assert answer.status_code == 422 and told in answer.json()["error"], answer.text
    assert client.post(AT, content=b"").status_code == 400
    assert names(shop) == []


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def test_a_picture_is_shown_reduced_within_seconds(client: Client) -> None:
    name = client.post(AT, content=jpeg(size=(3000, 2000))).json()["name"]
    until = time.monotonic() + 20
    while client.get(AT).json()["photos"][0]["state"] == "looking" and time.monotonic() < until:
        time.sleep(0.05)
    (item,) = client.get(AT).json()["photos"]
    assert (
        item["words"] == "No target found." and "No camera data" in item["camera"] and "3000 × 2000" in item["camera"]
    )
    small = Image.open(io.BytesIO(client.get(f"{AT}/{name}/picture").content))
    assert small.size == (1000, 667)


def test_a_stage_takes_so_many_and_no_more(client: Client, shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photo_api, "MOST_PHOTOS", 2)
    assert client.post(AT, content=jpeg(1)).status_code == 200
    look_through = photo_shelf.look_through

    async def while_another_comes(path: Path) -> FoundPicture:
        (shop / "saloon/before/photos/another.jpg").write_bytes(jpeg(2))
        return await look_through(path)

    monkeypatch.setattr(photo_shelf, "look_through", while_another_comes)
    for _ in range(2):
        answer = client.post(AT, content=jpeg(3))
        assert answer.status_code == 422 and "2 pictures already" in answer.json()["error"]
    assert len(names(shop)) == 2


def test_a_full_disk_is_told_before_anything_is_written(
    client: Client, shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Usage:
        free = 1_000

    monkeypatch.setattr("measure.web.photo_api.shutil.disk_usage", lambda _: Usage)
    answer = client.post(AT, content=jpeg())
    assert answer.status_code == 507 and "disk is full" in answer.json()["error"]
    assert names(shop) == []
