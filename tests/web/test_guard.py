"""No one let in: hosts, origins, tokens, cookies, lengths, paths, names."""

from __future__ import annotations

from pathlib import Path

import pytest

from measure.web.addresses import candidates
from measure.web.guard import MOST_JSON
from measure.web.joining import MINUTES, Door
from measure.web.server import NoAddressError, _place, serve
from tests.web.client import HOST, Client
from tests.web.conftest import reading

AT = "/api/jobs/saloon/before/readings"


@pytest.mark.parametrize(
    "path", ["/", "/jobs/saloon/before/tape", "/api/token", "/static/base.css", "/join", "/openapi.json"]
)
def test_every_route_answers_to_its_own_name_only(client: Client, path: str) -> None:
    assert client.get(path, host="evil.example").status_code == 421
    assert client.get(path, host="127.0.0.1:80").status_code == 421
    assert client.get(path).status_code == 200


@pytest.mark.parametrize(
    "origin", [None, "null", "http://evil.example", "https://127.0.0.1:8177", "http://127.0.0.1:8178", HOST]
)
def test_a_write_from_elsewhere_is_refused(client: Client, shop: Path, origin: str | None) -> None:
    headers = {"x-plumbsquare-token": client.door.write_token} | ({"origin": origin} if origin else {})
    before = (shop / "saloon/before/tape.csv").read_bytes()
    assert client.ask("POST", AT, headers, json=reading("a", "1094")).status_code == 403
    assert (shop / "saloon/before/tape.csv").read_bytes() == before


def test_a_write_without_the_pages_token_is_refused(client: Client) -> None:
    assert client.ask("POST", AT, {"origin": f"http://{HOST}"}, json=reading("a", "1094")).status_code == 403
    assert client.post(AT, reading("a", "1094"), **{"x-plumbsquare-token": "guess"}).status_code == 403


def test_no_answer_lets_another_origin_read_and_all_are_strict(client: Client) -> None:
    for path in ("/", "/api/token", "/static/base.css", "/nowhere", "/jobs/saloon/before/results"):
        headers = client.get(path, origin="http://evil.example").headers
        assert not [name for name in headers if name.startswith("access-control")]
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy and "frame-ancestors 'none'" in policy
        assert headers["referrer-policy"] == "no-referrer" and headers["x-content-type-options"] == "nosniff"


def test_a_page_holds_no_script_or_style_of_its_own(client: Client) -> None:
    for part in ("tape", "heights", "photos", "results", "space", "more", "changes"):
        page = client.get(f"/jobs/saloon/before/{part}").text
        assert "style=" not in page and "<style" not in page and " onclick" not in page
        for piece in page.split("<script")[1:]:
            head = piece.partition(">")[0]
            assert 'src="/static/' in head or 'type="application/json"' in head


def test_with_a_locked_door_only_the_links_holder_gets_in(shop: Path) -> None:
    client = Client(shop, locked=True)
    for path in ("/", "/api/token", "/jobs/saloon/before/tape", "/openapi.json", "/invite"):
        assert client.get(path).status_code == 401
    assert client.post(AT, reading("a", "1094")).status_code == 401
    assert client.get("/join").status_code == 200 and client.get("/static/join.js").status_code == 200
    assert client.ask("POST", "/join", {"origin": "http://evil.example"}, json={"token": "x"}).status_code == 403
    assert client.post("/join", {"token": "guess"}).status_code == 403
    token = client.door.invite()
    answer = client.post("/join", {"token": token})
    cookie = answer.headers["set-cookie"].lower()
    assert answer.status_code == 204 and "httponly" in cookie and "samesite=strict" in cookie
    assert client.get("/").status_code == 200
    assert "data:image/svg+xml" in client.get("/invite").text
    stranger = Client(shop, locked=True)
    stranger.app, stranger.door = client.app, client.door
    assert stranger.post("/join", {"token": token}).status_code == 403  # it worked once
    assert stranger.get("/").status_code == 401
    client.close()
    stranger.close()


def test_a_link_grows_old() -> None:
    now = 0.0
    door = Door(True, lambda: now)
    token = door.invite()
    now = MINUTES * 60 + 1.0
    assert door.exchange(token) is None
    assert door.exchange("") is None


def test_bodies_say_how_long_they_are_and_stay_small(client: Client) -> None:
    assert client.post(AT, content=b"x" * (MOST_JSON + 1)).status_code == 413

    async def endless():  # type: ignore[no-untyped-def]
        yield b"{}"

    assert client.ask("POST", AT, client.own(), content=endless()).status_code == 411


@pytest.mark.parametrize(
    "body", [b"", b"{", b"[]", b"null", b'{"id": 3}', b"[" * 100_000, b'{"table":"tape","cells":[]}']
)
def test_odd_bodies_are_told(client: Client, body: bytes) -> None:
    answer = client.post(AT, content=body)
    assert answer.status_code == 400 and "error" in answer.json()


@pytest.mark.parametrize(
    "path",
    [
        "/jobs/../before/tape", "/jobs/%2e%2e/before/tape", "/jobs/..%2f..%2fetc/before/tape", "/static/../app.py",
        "/static/..%2fapp.py", "/static/%2e%2e/app.py",
        "/jobs/saloon/..%2f..%2fother/tape", "/jobs/saloon/photos/results",
        "/api/jobs/saloon/before/photos/..%2f..%2fjob.toml/picture", "/api/jobs/saloon/before/photos/job.toml/picture",
        "/jobs/%00/before/tape", "/jobs/saloon/before/drawings/..%2fplan.svg",
    ],
)  # fmt: skip
def test_no_path_leads_out(client: Client, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code in (303, 404) and "[sd]" not in answer.text and "import" not in answer.text


def test_links_out_of_the_folder_are_not_followed(client: Client, shop: Path, tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    (outside / "before").mkdir(parents=True)
    (outside / "job.toml").write_text('stages = ["before"]', encoding="utf-8")
    (shop / "linked").symlink_to(outside)
    assert client.get("/jobs/linked/before/tape").status_code == 404
    job = shop / "saloon" / "job.toml"
    job.write_text(job.read_text(encoding="utf-8").replace('["before"]', '["before", "out"]'), encoding="utf-8")
    (shop / "saloon" / "out").symlink_to(outside)
    assert client.get("/jobs/saloon/out/tape").status_code == 404
    (shop / "saloon/before/photos").symlink_to(outside)
    assert client.get("/api/jobs/saloon/before/photos").status_code == 404
    assert client.post("/api/jobs/saloon/before/photos", content=b"\xff\xd8\xff").status_code == 404
    assert not [path for path in outside.rglob("*") if path.name.endswith((".part", ".jpg"))]


def test_hostile_names_are_only_text(client: Client, shop: Path) -> None:
    job = shop / "saloon" / "job.toml"
    lines = job.read_text(encoding="utf-8").splitlines()
    title = "title = '<script>alert(1)</script>\"&'"
    job.write_text("\n".join([title, *(line for line in lines if not line.startswith("title"))]), encoding="utf-8")
    for part in ("tape", "results", "changes", "more", "space"):
        page = client.get(f"/jobs/saloon/before/{part}").text
        assert "<script>alert" not in page and "&lt;script&gt;alert" in page


def test_names_are_as_a_browser_writes_them() -> None:
    assert [_place(*each) for each in (("10.0.0.5", 8177), ("10.0.0.5", 80), ("::1", 8177), ("::1", 80))] == [
        "10.0.0.5:8177", "10.0.0.5", "[::1]:8177", "[::1]",
    ]  # fmt: skip


@pytest.mark.parametrize("host", ["0.0.0.0", "::"])
def test_every_address_at_once_is_none_that_a_phone_could_use(shop: Path, host: str) -> None:
    with pytest.raises(NoAddressError, match="name the one"):
        serve(shop, lan=True, host=host, port=0, open_browser=False, tell=print)


def test_this_computer_is_not_offered_to_phones_as_loopback() -> None:
    assert all(not each.ip.startswith("127.") for each in candidates())
