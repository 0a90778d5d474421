"""At the car with a poor connection and slips of the finger: what waits is shown and mended, nothing false is said."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

import pytest

from tests.web.browsing import until
from tests.web.test_browser import press

STAGE = "/jobs/saloon/before"
LOOK = 1.5
"""s between two looks of the page, at most."""


@pytest.fixture
def shop(shop: Path) -> Path:
    """The first two tapes are still to run."""
    path = shop / "saloon/before/tape.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    for i in (1, 2):
        cells = lines[i].split(",")
        lines[i] = ",".join([*cells[:2], "", *cells[3:]])
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return shop


def table(shop: Path, name: str = "tape") -> str:
    return (shop / f"saloon/before/{name}.csv").read_text(encoding="utf-8")


def opened(phone: Any, part: str) -> None:
    phone.goto(f"{STAGE}/{part}")
    phone.wait_for_load_state("networkidle")


def type_in(phone: Any, figure: str, act: str) -> None:
    press(phone, figure)
    phone.locator("dialog").get_by_role("button", name=act, exact=True).tap()
    phone.locator("dialog").wait_for(state="detached")


def answered(phone: Any, words: str) -> None:
    phone.locator("#answer").get_by_text(words).wait_for()


def test_ones_own_waiting_reading_is_shown_in_its_row_and_gives_way_to_the_next(phone: Any, shop: Path) -> None:
    opened(phone, "tape")
    big = phone.locator(".next [data-tape]")
    first, row = big.inner_text(), phone.locator("#b1-2")
    phone.context.set_offline(True)
    big.tap()
    type_in(phone, "1000", "Save")
    row.get_by_text("waits on this phone").wait_for()
    assert row.locator(".waits").first.inner_text() == "1000" and row.locator(".is-next").is_hidden()
    assert big.inner_text() != first
    row.tap()
    assert "waiting for a connection: 1000" in phone.locator("dialog .help").inner_text()
    type_in(phone, "1010", "Correct it")
    answered(phone, "1010. Kept on this phone")
    assert row.locator(".waits").first.inner_text() == "1010"
    assert [each["data"]["cells"]["length"] for each in kept(phone)] == ["1010"]
    phone.context.set_offline(False)
    answered(phone, "Sent now")
    phone.locator("#r2").wait_for()
    assert ",1010," in table(shop) and "1000" not in table(shop)
    assert phone.locator(".waits").count() == 0 and phone.locator("#link-state").is_hidden()


def kept(phone: Any) -> Any:
    return json.loads(phone.evaluate("localStorage.getItem('plumbsquare-kept')"))


def test_one_that_arrived_though_its_answer_was_lost_is_mended_not_refused(phone: Any, shop: Path) -> None:
    opened(phone, "tape")
    lost: list[str] = []

    def answer_lost(route: Any) -> None:
        if not lost:
            route.fetch()
        lost.append(route.request.post_data)
        route.abort()

    phone.route("**/readings", answer_lost)
    phone.locator("#b1-2").tap()
    type_in(phone, "1000", "Save")
    answered(phone, "1000. Kept on this phone")
    assert ",1000," in table(shop)
    row = phone.locator("button[data-waits]")
    row.tap()
    type_in(phone, "1010", "Correct it")
    answered(phone, "1010. Kept on this phone")
    phone.unroute("**/readings")
    answered(phone, "Sent now")
    assert ",1010," in table(shop) and ",1000," not in table(shop)
    assert phone.locator("#link-state").is_hidden()


def test_what_waits_without_a_row_is_listed_mended_and_thrown_away(phone: Any, shop: Path) -> None:
    opened(phone, "heights")
    phone.context.set_offline(True)
    phone.locator("#add select").select_option("marks")
    phone.locator("#add [name=a]").fill("rail1L#2")
    phone.locator("#add button").tap()
    phone.locator("#pad-1").focus()
    type_in(phone, "5", "Save")
    waits = phone.locator("#waiting button")
    waits.get_by_text("waits on this phone").wait_for()
    phone.locator("#add button").tap()
    type_in(phone, "7", "Correct it")
    assert waits.count() == 1 and "7" in waits.inner_text() and len(kept(phone)) == 1
    waits.tap()
    phone.get_by_role("button", name="Throw it away").tap()
    until(phone, "!document.getElementById('waiting')")
    assert kept(phone) == []


def test_a_pair_that_was_read_already_is_found_whichever_way_round(phone: Any, shop: Path) -> None:
    (shop / "saloon/before/levels.csv").write_text("from,to,rise\nrail1R,rail1L,-6\n", encoding="utf-8")
    opened(phone, "tape")
    before = table(shop)
    phone.locator("#another [name=from]").fill("rail1R")
    phone.locator("#another [name=to]").fill("outriggerL")
    phone.locator("#another button").tap()
    assert "Measured: 1094.5." in phone.locator("dialog .help").inner_text()
    type_in(phone, "1095", "Correct it")
    answered(phone, "1095. ")
    assert table(shop) == before.replace("outriggerL,rail1R,1094.5", "outriggerL,rail1R,1095")
    phone.locator("#another button").tap()
    type_in(phone, "1094", "A second reading")
    answered(phone, "1094. ")
    assert table(shop).count("outriggerL,rail1R,") == before.count("outriggerL,rail1R,") + 1
    opened(phone, "heights")
    phone.locator("#add select").select_option("levels")
    phone.locator("#add [name=a]").fill("rail1L")
    phone.locator("#add [name=b]").fill("rail1R")
    phone.locator("#add button").tap()
    assert "how much higher rail1L is than rail1R" in phone.locator("dialog .help").inner_text()
    phone.locator("dialog").get_by_role("button", name="lower").tap()
    type_in(phone, "7", "Correct it")
    answered(phone, "rail1R – rail1L: -7. ")
    assert table(shop, "levels") == "from,to,rise\nrail1R,rail1L,-7\n"


def test_names_are_checked_before_the_pad_opens(phone: Any, shop: Path) -> None:
    opened(phone, "heights")
    phone.locator("#add select").select_option("levels")
    phone.locator("#add [name=a]").fill("OutriggerL")
    for other in ("", "outriggerl"):
        phone.locator("#add [name=b]").fill(other)
        phone.locator("#add button").tap()
        answered(phone, "two different points are needed" if not other else "did you mean")
    for name, typed in (("a", "OutriggerL"), ("b", "ril1L")):
        phone.locator(f"#add [name={name}]").fill(typed)
    phone.locator("#add button").tap()
    answered(phone, "“OutriggerL” is no point of this car; did you mean “outriggerL”?")
    phone.locator("#near").tap()
    answered(phone, "“ril1L” is no point of this car; did you mean “rail1L”?")
    assert phone.locator("dialog").count() == 0
    phone.locator("#near").tap()
    phone.locator("dialog").get_by_text("outriggerL – rail1L").wait_for()


def test_without_a_connection_nothing_is_called_kept_that_is_not(phone: Any, shop: Path) -> None:
    opened(phone, "tape")
    phone.locator("#r4").tap()
    type_in(phone, "1095", "Correct it")
    phone.locator("#undo").wait_for()
    phone.context.set_offline(True)
    phone.locator("#undo").tap()
    answered(phone, "No connection: nothing was taken back. Try again.")
    phone.context.set_offline(False)
    phone.locator("#undo").tap()
    answered(phone, "took back")
    assert ",1095," not in table(shop)
    opened(phone, "changes")
    phone.context.set_offline(True)
    phone.locator("[data-undo]").first.tap()
    answered(phone, "No connection: nothing was taken back. Try again.")
    assert phone.locator("[data-undo]").first.is_enabled()
    phone.context.set_offline(False)
    phone.goto("/new")
    phone.locator("#pairs li").first.wait_for()
    phone.locator("#car [name=name]").fill("green van")
    phone.context.set_offline(True)
    phone.get_by_role("button", name="Make it").tap()
    answered(phone, "No connection: no car was made. Try again.")
    assert "kept" not in phone.locator("#answer").inner_text()
    phone.context.set_offline(False)
    phone.locator("#answer").get_by_role("button", name="Try again").tap()
    phone.wait_for_url("**/jobs/green%20van/**")
    assert (shop / "green van/points.csv").exists()


def test_a_fit_that_takes_its_time_is_told_when_it_is_known(phone: Any, shop: Path) -> None:
    """The answer comes after the page looked once more: a reading on its way is not sent again meanwhile."""
    sent: list[str] = []
    known: list[bool] = []

    def too_slow(route: Any) -> None:
        sent.append(route.request.post_data)
        answer = route.fetch()
        time.sleep(2 * LOOK)
        route.fulfill(json={**answer.json(), "how": "working", "words": "Saved. Working out the fit …"})

    def when_known(route: Any) -> None:
        if known:
            route.continue_()
        else:
            route.fulfill(json={"how": "working", "words": ""})

    phone.route("**/readings", too_slow)
    phone.route("**/fits/**", when_known)
    opened(phone, "tape")
    phone.locator("#r4").tap()
    type_in(phone, "1049", "Correct it")
    answered(phone, "outriggerL – rail1R: 1049. Saved. Working out the fit")
    known.append(True)
    answered(phone, "two digits swapped")
    assert len(sent) == 1
    assert phone.locator("#answer").get_attribute("aria-live") == "polite"
    assert phone.locator("#answer").get_attribute("class") == "answer off" and phone.locator("#undo").is_visible()


def test_a_table_of_points_is_sent_as_it_is_and_called_by_its_name(phone: Any, shop: Path) -> None:
    phone.goto("/new")
    phone.locator("#pairs li").first.wait_for()
    rows = ("name;side;part", *(f"{name}{side};{side};rail" for name in ("Tür", "Höhe") for side in "LR"))
    choose = phone.locator("#import")
    chosen = {"mimeType": "text/csv", "buffer": "\n".join(rows).replace("side;part", "site;part").encode("cp1252")}
    choose.set_input_files({"name": "points of the van.csv", **chosen})
    answered(phone, "points of the van.csv line 1")
    choose.set_input_files({"name": "van.csv", **chosen, "buffer": "\n".join(rows).encode("cp1252")})
    phone.wait_for_url("**/before/tape")
    assert phone.locator('[data-point="TürL"]').count() == 1
