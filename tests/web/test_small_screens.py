"""The page on small screens and with large type: the pad, drawings, the sketch's lines, a new stage; forced colours."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.web.browsing import DESK, PHONE, a_page
from tests.web.conftest import SAMPLES, Running

CARS = ("rushed_job", "repaired_sill", "straight_saloon", "photo_car")


@pytest.fixture(scope="module")
def cars(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("cars")
    for name in CARS:
        shutil.copytree(SAMPLES / name, folder / name)
    return folder


@pytest.fixture
def phone(browser: Any, running: Running) -> Iterator[Any]:
    page = a_page(browser, running.url)
    yield page
    assert page.wrong == []
    page.context.close()


SCREENS = ((320, 568, 100), (844, 390, 100), (390, 844, 200), (320, 568, 200), (844, 390, 200), (390, 844, 100))
OUTSIDE = """names => names.filter(name => { const r = document.querySelector(name).getBoundingClientRect();
  return r.left < 0 || r.top < 0 || r.right > innerWidth || r.bottom > innerHeight || r.height < 43.5; })"""
TOO_WIDE = """() => { const d = document.querySelector('dialog'), wide = b => b.scrollWidth > b.clientWidth + 1;
  return d.scrollWidth > d.clientWidth || [...d.querySelectorAll('button')].some(wide); }"""
COVERED = """() => { const r = document.querySelector('[value=save]').getBoundingClientRect();
  return !document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2).matches('[value=save]'); }"""


@pytest.mark.parametrize("car", ["rushed_job", "straight_saloon"], ids=["inches", "mm"])
@pytest.mark.parametrize(("width", "height", "type_size"), SCREENS)
def test_the_pad_is_whole_on_the_screen(
    browser: Any, running: Running, car: str, width: int, height: int, type_size: int
) -> None:
    page = a_page(browser, running.url, {"width": width, "height": height})
    page.goto(f"/jobs/{car}/before/tape")
    page.evaluate(f"document.documentElement.style.fontSize = '{type_size}%'")
    page.locator("#r4").click()
    page.locator("dialog").wait_for()
    needed = ["[value=save]", ".pad-acts .button.quiet", "#pad-0", ".digits", ".digits .key-cap:last-child"]
    assert page.evaluate(OUTSIDE, needed) == []
    assert not page.evaluate(TOO_WIDE) and not page.evaluate(COVERED)
    page.context.close()


def test_a_drawing_is_opened_enlarged_and_closed(phone: Any) -> None:
    phone.goto("/jobs/repaired_sill/after/more")
    link = phone.locator("#compare a.to-enlarge")
    assert link.get_attribute("href") == "drawings/compare.svg"
    link.tap()
    box = phone.get_by_role("dialog", name="Before and after")
    image = box.locator("img")
    first = image.bounding_box()["width"]
    assert first > 2 * phone.viewport_size["width"], "its type can be read at once"
    box.get_by_role("button", name="Larger").tap()
    assert image.bounding_box()["width"] > first
    sheet = box.locator(".drawing-sheet")
    before = sheet.evaluate("e => e.scrollTop")
    finger = {"pointerId": 1, "pointerType": "touch", "bubbles": True, "clientX": 200}
    sheet.evaluate("e => { e.setPointerCapture = () => {}; }")  # no finger is on the glass
    sheet.dispatch_event("pointerdown", finger | {"clientY": 600})
    sheet.dispatch_event("pointermove", finger | {"clientY": 500})
    assert sheet.evaluate("e => e.scrollTop") == before + 100
    wide = image.bounding_box()["width"]
    sheet.dispatch_event("pointerdown", finger | {"pointerId": 2, "clientY": 600})
    sheet.dispatch_event("pointermove", finger | {"pointerId": 2, "clientY": 700})
    assert image.bounding_box()["width"] == pytest.approx(2 * wide, rel=0.01)
    box.get_by_role("button", name="Close").tap()
    phone.locator("dialog").wait_for(state="detached")
    assert phone.evaluate("document.activeElement.matches('#compare a.to-enlarge')")


def test_what_the_drawing_box_shows_can_be_used_by_all(browser: Any, running: Running) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed").Axe()
    for size, scheme in ((PHONE, "light"), (DESK, "dark")):
        page = a_page(browser, running.url, size, scheme)
        page.goto("/jobs/repaired_sill/after/more")
        assert [v["id"] for v in axe.run(page).response["violations"]] == []
        page.locator("#compare a.to-enlarge").click()
        page.locator("dialog").wait_for()
        assert [v["id"] for v in axe.run(page).response["violations"]] == []
        page.goto("/jobs/photo_car/before/results")
        assert [v["id"] for v in axe.run(page).response["violations"]] == []
        page.context.close()


MIDDLE = """key => { const l = document.querySelector(`[data-tape="${key}"] .seen`), m = l.getScreenCTM();
  const at = (n, share) => Number(l.getAttribute(n + 1)) * (1 - share) + Number(l.getAttribute(n + 2)) * share;
  const p = new DOMPoint(at('x', 0.3), at('y', 0.3)).matrixTransform(m); return [p.x, p.y]; }"""


def test_a_tap_near_a_line_that_is_off_means_that_line(phone: Any) -> None:
    phone.goto("/jobs/rushed_job/before/tape")
    key = phone.locator("#sketch .tape.off").first.get_attribute("data-tape")
    _, start_, end, _ = key.split(":")
    phone.locator("#sketch").scroll_into_view_if_needed()
    x, y = phone.evaluate(MIDDLE, key)
    phone.touchscreen.tap(x + 9, y)
    phone.get_by_role("dialog", name=f"Length {start_} to {end}").wait_for()


def test_a_stage_is_made_and_gone_to(phone: Any, cars: Path) -> None:
    phone.goto("/jobs/straight_saloon/before/more")
    phone.get_by_label("Name of the stage").fill("before")
    phone.get_by_role("button", name="Make the stage").tap()
    phone.get_by_text("There is a stage or a file of that name already").wait_for()
    phone.get_by_label("Name of the stage").fill("after the work")
    phone.get_by_role("button", name="Make the stage").tap()
    phone.wait_for_url("**/straight_saloon/after%20the%20work/tape")
    phone.get_by_text("Next: outriggerL to outriggerR").wait_for()
    assert (cars / "straight_saloon/after the work/tape.csv").is_file()


def test_the_current_part_is_marked_without_colour(browser: Any, running: Running) -> None:
    context = browser.new_context(viewport=DESK, forced_colors="active", base_url=running.url)
    page = context.new_page()
    page.goto("/jobs/repaired_sill/after/results")
    line = "e => [getComputedStyle(e).textDecorationLine, getComputedStyle(e).borderBottomColor]"
    here, other = (
        page.locator(f".parts a{which}").first.evaluate(line) for which in ("[aria-current]", ":not([aria-current])")
    )
    assert here[0] == "underline" and other[0] == "none" and here[1] != other[1]
    assert page.locator(".stages a[aria-current]").evaluate(line)[0] == "underline"
    context.close()
