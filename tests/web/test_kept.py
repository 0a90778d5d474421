"""What was typed or photographed and cannot be sent: kept in the browser, said on the page, sent later, once."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import httpx
import pytest

from tests.web.conftest import Running, start
from tests.web.test_browser import picture, press

PHOTOS = "/jobs/saloon/before/photos"
PATIENT = 30_000
"""ms: what was refused is offered again every 10 s."""


def files(*numbers: int) -> list[dict[str, Any]]:
    return [{"name": f"image{i}.jpg", "mimeType": "image/jpeg", "buffer": picture(i)} for i in numbers]


def choose_offline(phone: Any, *numbers: int) -> None:
    phone.goto(PHOTOS)
    phone.wait_for_load_state("networkidle")
    phone.context.set_offline(True)
    phone.locator("#choose").set_input_files(files(*numbers))


def arrived(server: Running) -> list[str]:
    changes = httpx.get(f"{server.url}/api/jobs/saloon/history").json()["changes"]
    return sorted(change["words"] for change in changes)


@pytest.mark.parametrize("opened", [PHOTOS, "/jobs/saloon/before/tape"], ids=["photos", "tape"])
def test_photographs_outlive_the_page_and_are_sent_once(phone: Any, server: Running, shop: Path, opened: str) -> None:
    choose_offline(phone, 7, 8, 9)
    phone.get_by_text("Photographs kept on this phone, not sent yet: 3.").wait_for()
    phone.close()
    assert not (shop / "saloon/before/photos").exists()
    phone.context.set_offline(False)
    again = phone.context.new_page()
    wrong: list[str] = []
    again.on("pageerror", lambda error: wrong.append(str(error)))
    again.goto(opened)
    again.get_by_text("3 of 3 sent" if opened == PHOTOS else "Photographs kept on this phone").first.wait_for()
    again.locator("#link-state").wait_for(state="hidden")
    assert arrived(server) == [f"photograph image{i}.jpg" for i in (7, 8, 9)]
    assert len(list((shop / "saloon/before/photos").glob("*.jpg"))) == 3
    again.goto(PHOTOS)
    again.get_by_text("3 pictures are in this stage").wait_for()
    again.wait_for_load_state("networkidle")
    assert again.locator("#sending li").count() == 0
    assert len(arrived(server)) == 3 and wrong == []


def test_a_browser_without_room_for_a_reading_says_so(phone: Any, shop: Path) -> None:
    phone.goto("/jobs/saloon/before/tape")
    phone.wait_for_load_state("networkidle")
    phone.evaluate("() => { Storage.prototype.setItem = () => { throw new DOMException('full'); }; }")
    phone.context.set_offline(True)
    phone.locator("#r6").tap()
    press(phone, "4131")
    phone.get_by_role("button", name="A second reading").tap()
    phone.get_by_text("Lost if the page is closed before they are sent: 1.").wait_for()
    phone.context.set_offline(False)
    phone.locator("#answer").get_by_text("Sent now").wait_for()
    phone.locator("#link-state").wait_for(state="hidden")
    assert (shop / "saloon/before/tape.csv").read_text(encoding="utf-8").count(",4131,") == 1


def test_a_browser_that_keeps_no_photographs_says_so(phone: Any, server: Running) -> None:
    phone.context.add_init_script(
        "Object.defineProperty(window, 'indexedDB', { get() { throw new Error('private'); } })"
    )
    choose_offline(phone, 7)
    phone.get_by_text("Lost if the page is closed before they are sent: 1.").wait_for()
    phone.context.set_offline(False)
    phone.get_by_text("1 of 1 sent").wait_for()
    phone.locator("#link-state").wait_for(state="hidden")
    assert arrived(server) == ["photograph image7.jpg"]


def test_what_was_chosen_before_a_restart_is_sent_after_it(phone: Any, server: Running, shop: Path) -> None:
    phone.goto(PHOTOS)
    phone.wait_for_load_state("networkidle")
    server.stop()
    phone.locator("#choose").set_input_files(files(7))
    phone.get_by_text("Photographs kept on this phone, not sent yet: 1.").wait_for()
    other = start(shop, server.port)
    try:
        phone.get_by_text("1 of 1 sent").wait_for(timeout=PATIENT)
        assert arrived(other) == ["photograph image7.jpg"]
    finally:
        other.stop()


def test_a_folder_that_has_gone_is_said_and_what_is_typed_or_taken_is_kept(
    phone: Any, server: Running, shop: Path, tmp_path: Path
) -> None:
    phone.goto("/jobs/saloon/before/tape")
    phone.wait_for_load_state("networkidle")
    shop.rename(tmp_path / "pulled_out")
    state = phone.locator("#link-state")
    state.get_by_text("The job folder is not there any more: nothing was saved.").wait_for()
    phone.locator("#r6").tap()
    press(phone, "4131")
    phone.get_by_role("button", name="A second reading").tap()
    phone.locator("#answer").get_by_text("is not there any more").wait_for()
    assert "Kept on this phone" in phone.locator("#answer").inner_text()
    state.get_by_text("Kept on this phone, not sent yet: 1.").wait_for()
    assert not shop.exists()
    (tmp_path / "pulled_out").rename(shop)
    state.wait_for(state="hidden", timeout=PATIENT)
    assert (shop / "saloon/before/tape.csv").read_text(encoding="utf-8").count(",4131,") == 1


def test_what_waits_for_a_car_that_is_no_more_can_be_thrown_away(
    phone: Any, server: Running, shop: Path, tmp_path: Path
) -> None:
    phone.goto(PHOTOS)
    phone.wait_for_load_state("networkidle")
    (shop / "saloon").rename(tmp_path / "sold")
    phone.locator("#choose").set_input_files(files(7, 8))
    phone.locator("#sending li", has_text="not taken yet. There is nothing here. No job").nth(1).wait_for()
    phone.locator("#link-state").get_by_text("not sent yet: 2.").wait_for()
    phone.on("dialog", lambda dialog: dialog.accept())
    phone.get_by_role("button", name="Throw away what waits").tap()
    phone.locator("#sending li", has_text="thrown away").nth(1).wait_for()
    phone.goto("/")
    phone.wait_for_load_state("networkidle")
    assert phone.locator("#link-state").is_hidden()
