"""Photographs: each content once, named as on the phone, checked before they are decoded, shown with their targets."""

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
from measure.web.photo_names import safe_name
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
    assert names(shop) == ["image-2.jpg", "image.jpg"]
    assert (shop / "saloon/before/photos/image.jpg").read_bytes() == jpeg()
    words = [change["words"] for change in client.get("/api/jobs/saloon/history").json()["changes"]]
    assert words == ["photograph image.jpg", "photograph image.jpg"]


def test_a_photograph_is_taken_back_and_brought_again(client: Client, shop: Path) -> None:
    name = client.post(AT, content=jpeg(), **{"x-name": "../../evil.jpg"}).json()["name"]
    assert client.post("/api/jobs/saloon/undo", {"id": "u", "number": 1}).status_code == 200
    assert names(shop) == ["." + name]
    assert client.get(AT).json()["photos"] == []
    assert client.post("/api/jobs/saloon/undo", {"id": "v", "number": 2}).status_code == 200
    assert names(shop) == [name] == ["evil.jpg"]


def test_a_photograph_that_was_taken_back_keeps_its_name_and_comes_again_once(client: Client, shop: Path) -> None:
    client.post(AT, content=jpeg(), **{"x-name": "IMG_0012.JPG"})
    client.post("/api/jobs/saloon/undo", {"id": "u", "number": 1})
    other = client.post(AT, content=jpeg(90), **{"x-name": "img_0012.jpg"}).json()
    assert other["name"] == "img_0012-2.jpg"
    again = client.post(AT, content=jpeg(), **{"x-name": "IMG_0012.JPG"}).json()
    assert again["name"] == "IMG_0012.JPG" and names(shop) == ["IMG_0012.JPG", "img_0012-2.jpg"]
    assert client.post("/api/jobs/saloon/undo", {"id": "v", "number": 4}).status_code == 200
    assert names(shop) == [".IMG_0012.JPG", "img_0012-2.jpg"]


def test_a_folder_of_pictures_called_by_their_content_goes_on_working(client: Client, shop: Path) -> None:
    old = "04315fb6401a076efcc891f7.jpg"
    (shop / "saloon/before/photos").mkdir()
    (shop / "saloon/before/photos" / old).write_bytes(jpeg())
    assert client.post(AT, content=jpeg(), **{"x-name": "IMG_0012.jpg"}).json()["name"] == old
    assert client.post(AT, content=jpeg(90), **{"x-name": "IMG_0013.jpg"}).json()["name"] == "IMG_0013.jpg"
    assert names(shop) == [old, "IMG_0013.jpg"]
    assert client.get(f"{AT}/{old}/picture").status_code == 200


@pytest.mark.parametrize(
    ("hostile", "kept"),
    [
        ("IMG_0012.jpg", "IMG_0012.jpg"), ("IMG_0012.HEIC", "IMG_0012.jpg"), ("a.JPEG", "a.JPEG"),
        ("../../etc/passwd", "passwd.jpg"), ("C:\\windows\\x.jpg", "x.jpg"), ("/", "photograph.jpg"),
        ("..", "photograph.jpg"), (".jpg", "photograph.jpg"), (".htaccess", "photograph.jpg"),
        ("-rf.jpg", "rf.jpg"), ("a b;rm *.jpg", "a_b_rm.jpg"), ("<img src=x>.jpg", "img_src_x.jpg"),
        ("con.jpg", "photograph_con.jpg"), ("Lpt1.x.jpg", "photograph_Lpt1.x.jpg"), ("x.php", "x.jpg"),
        ("a\x00\n\u202egpj.jpg", "a_gpj.jpg"), ("Tu\u0308r.jpg", "T\u00fcr.jpg"), ("%2e%2e%2fx.jpg", "2e_2e_2fx.jpg"),
        ("x" * 300 + ".jpg", "x" * 60 + ".jpg"), ("\U00020000" * 90 + ".jpeg", "\U00020000" * 60 + ".jpeg"),
        ("", "photograph.jpg"),
        (".part", "photograph.jpg"), ("x.part", "x.jpg"), ("=1+1.jpg", "1_1.jpg"),
    ],
)  # fmt: skip
def test_hostile_names_become_safe_ones(hostile: str, kept: str) -> None:
    assert safe_name(hostile, "JPEG") == kept
    assert len(f".{kept.rpartition('.')[0]}-1000.jpeg".encode()) <= 255


def test_a_hostile_name_is_written_nowhere_else(client: Client, shop: Path) -> None:
    before = sorted(path for path in shop.parent.rglob("*") if "photos" not in path.parts)
    for shade, hostile in enumerate(("../../../evil.jpg", "%00.jpg", "%2e%2e%2f%2e%2e%2fevil.jpg", "%F0%9F%9A%97.jpg")):
        name = client.post(AT, content=jpeg(shade), **{"x-name": hostile}).json()["name"]
        assert (shop / "saloon/before/photos" / name).read_bytes() == jpeg(shade)
        assert client.get(f"{AT}/{name}/picture").status_code == 200
    after = sorted(path for path in shop.parent.rglob("*") if "photos" not in path.parts)
    assert set(after) - set(before) <= {shop / "saloon/history.jsonl", *(p for p in after if "cache" in p.parts)}


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
