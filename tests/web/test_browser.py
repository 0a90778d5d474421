"""The page in a real browser, at the size of a phone and of a desk: by thumb, by keyboard, by two, offline."""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from tests.web.browsing import DESK, PHONE, a_page, until
from tests.web.conftest import ROOT, SAMPLES, Running, free_port


@pytest.fixture(scope="module")
def cars(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("cars")
    for name in ("straight_saloon", "rushed_job", "repaired_sill"):
        shutil.copytree(SAMPLES / name, folder / name)
    return folder


@pytest.fixture
def phone(browser: Any, running: Running) -> Iterator[Any]:
    page = a_page(browser, running.url)
    yield page
    assert page.wrong == []
    assert {url.split("/")[2] for url in page.asked if url.startswith("http")} <= {running.url.split("/")[2]}
    page.context.close()


def tape(cars: Path, name: str = "straight_saloon") -> str:
    return (cars / name / "before/tape.csv").read_text(encoding="utf-8")


def press(page: Any, keys: str) -> None:
    for key in keys:
        page.get_by_role("button", name=key, exact=True).tap()


def test_a_reading_by_thumb_is_fitted_and_undone(phone: Any, cars: Path) -> None:
    before = tape(cars)
    phone.goto("/jobs/straight_saloon/before/tape")
    phone.locator("#r4").tap()
    press(phone, "10495")
    phone.get_by_role("button", name="Back one").tap()
    phone.get_by_role("button", name="Correct it").tap()
    answer = phone.locator("#answer")
    answer.get_by_text("two digits swapped").wait_for()
    assert answer.get_attribute("aria-live") == "polite"
    assert "outriggerL,rail1R,1049,floor" in tape(cars)
    phone.locator("#r4.off").wait_for()
    phone.get_by_role("button", name="Undo").tap()
    answer.get_by_text("took back").wait_for()
    assert tape(cars) == before


def test_two_points_make_a_tape_and_inches_have_their_keys(phone: Any, cars: Path) -> None:
    phone.goto("/jobs/rushed_job/before/tape")
    phone.locator('[data-point="rail1L"] .hit').tap()
    phone.locator('[data-point="rail4R"] .hit').tap()
    press(phone, "41")
    phone.get_by_role("button", name="5/16", exact=True).tap()
    assert phone.locator("#pad-0").input_value() == "41 5/16"
    phone.get_by_role("button", name="3/16", exact=True).tap()
    assert phone.locator("#pad-0").input_value() == "41 3/16"
    phone.get_by_role("button", name="Cancel").tap()
    assert phone.locator("dialog").count() == 0


def test_the_tape_that_helps_most_is_run_again(phone: Any, cars: Path) -> None:
    shutil.copytree(SAMPLES / "straight_saloon", cars / "poor tape")
    with (cars / "poor tape/job.toml").open("a", encoding="utf-8") as file:
        file.write('\n[sd]\nplumb = 0.1\ntape = 3.0\n\n[limits]\n"axle.rear.square" = 0.05\n')
    before = tape(cars, "poor tape")
    phone.goto("/jobs/poor tape/before/tape")
    phone.locator(".advice").get_by_text("run another floor tape from tailR to axleR").wait_for()
    assert phone.locator("#sketch .tape.helps").count() == 1
    helping = phone.locator("button[data-again]")
    assert "tailR – axleR" in helping.inner_text() and "helps most" in helping.inner_text()
    known = phone.locator("button[data-typed]", has_text="tailR – axleR").last.get_attribute("data-typed")
    assert known
    helping.tap()
    press(phone, known.partition(".")[0])
    phone.get_by_role("button", name="Save").tap()
    phone.locator("#answer").get_by_text("Fits to").wait_for()
    assert tape(cars, "poor tape").startswith(before) and len(tape(cars, "poor tape").splitlines()) == 126


def test_by_keyboard_alone(browser: Any, running: Running, cars: Path) -> None:
    page = a_page(browser, running.url, DESK)
    page.goto("/jobs/straight_saloon/before/tape")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.locator("#r5").focus()
    page.keyboard.press("Enter")
    page.locator("dialog").wait_for()
    assert page.evaluate("document.activeElement.id") == "pad-0"
    page.keyboard.type("1094.25")
    page.keyboard.press("Enter")
    page.locator("#answer").get_by_text("Fits to").wait_for()
    assert "outriggerR,rail1L,1094.25,floor" in tape(cars)
    page.locator("#r5").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Escape")
    page.locator("dialog").wait_for(state="detached")
    assert page.evaluate("document.activeElement.id") == "r5"
    assert page.wrong == []
    page.context.close()


def test_a_tablet_sees_what_a_phone_enters(phone: Any, browser: Any, running: Running) -> None:
    tablet = a_page(browser, running.url, DESK)
    tablet.goto("/jobs/straight_saloon/before/tape")
    phone.goto("/jobs/straight_saloon/before/tape")
    phone.locator("#r8").tap()
    press(phone, "972")
    phone.get_by_role("button", name="A second reading").tap()
    phone.locator("#answer").get_by_text("Fits to").or_(phone.locator("#answer").get_by_text("off")).first.wait_for()
    tablet.locator(".typed", has_text="972").first.wait_for(timeout=20_000)  # it looks again every 1.2 s
    tablet.context.close()


def test_what_is_typed_without_a_connection_is_sent_later_once(phone: Any, cars: Path) -> None:
    phone.goto("/jobs/straight_saloon/before/tape")
    phone.wait_for_timeout(300)
    phone.context.set_offline(True)
    phone.locator("#r6").tap()
    press(phone, "4131")
    phone.get_by_role("button", name="A second reading").tap()
    phone.locator("#answer").get_by_text("Kept on this phone").wait_for()
    phone.locator("#link-state").get_by_text("No connection").wait_for()
    assert "4131" not in tape(cars)
    phone.context.set_offline(False)
    phone.locator("#link-state").wait_for(state="hidden")
    until = time.monotonic() + 8
    while "4131" not in tape(cars) and time.monotonic() < until:
        time.sleep(0.05)
    phone.wait_for_timeout(1500)
    assert tape(cars).count(",4131,") == 1
    assert "Sent now" in phone.locator("#answer").inner_text()
    assert phone.evaluate("localStorage.getItem('plumbsquare-kept')") == "[]"


def test_what_another_wrote_meanwhile_is_not_overwritten_and_it_is_said(
    phone: Any, running: Running, cars: Path
) -> None:
    phone.goto("/jobs/straight_saloon/before/tape")
    phone.wait_for_timeout(300)
    phone.context.set_offline(True)
    phone.locator("#r10").tap()
    was = phone.locator("#r10").get_attribute("data-typed")
    press(phone, "77")
    phone.get_by_role("button", name="Correct it").tap()
    phone.locator("#answer").get_by_text("Kept on this phone").wait_for()
    path = cars / "straight_saloon/before/tape.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    lines[9] = lines[9].replace(f",{was},", ",777.5,")
    path.write_text("".join(lines), encoding="utf-8")  # by hand, at the bench
    phone.context.set_offline(False)
    phone.locator("#link-state").get_by_text("someone entered 777.5 there meanwhile").wait_for()
    assert ",777.5," in tape(cars) and ",77," not in tape(cars)
    phone.reload()
    phone.get_by_role("button", name="I have seen it").tap()
    phone.locator("#link-state").wait_for(state="hidden")


def test_the_plan_is_moved_enlarged_and_opened(browser: Any, running: Running) -> None:
    page = a_page(browser, running.url, DESK)
    page.goto("/jobs/repaired_sill/before/results")
    whole = page.locator("#plan").get_attribute("viewBox")
    page.get_by_role("button", name="Larger").click()
    assert page.locator("#plan").get_attribute("viewBox") != whole
    page.get_by_role("button", name="Whole car").click()
    assert page.locator("#plan").get_attribute("viewBox") == whole
    mark = page.locator('.mark[data-name="tailL"]')
    placed = mark.get_attribute("transform")
    page.locator("#exaggerate").focus()
    page.keyboard.press("ArrowRight")
    assert mark.get_attribute("transform") != placed
    first = page.locator("details.figure-card").first
    first.locator("summary").click()
    assert first.get_by_text("Where the uncertainty comes from").is_visible()
    assert first.locator("table.readings tbody tr").count() > 3
    assert page.wrong == []
    page.context.close()


def test_the_car_in_space_is_turned_and_brought_nearer(phone: Any) -> None:
    phone.goto("/jobs/repaired_sill/after/space")
    canvas = phone.locator("#space")
    seen = [canvas.screenshot()]
    for name in ("From the side", "Larger", "Turn left", "Smaller"):
        phone.get_by_role("button", name=name).tap()
        seen.append(canvas.screenshot())
    assert len(set(seen)) == len(seen)


def picture(number: int) -> bytes:
    """A photograph of one printed target, straight on."""
    from measure.photo.code import code_cells

    cells = np.where(code_cells(number), 20, 235).astype(np.uint8)
    image = np.full((600, 800), 235, np.uint8)
    image[200:360, 300:460] = np.kron(cells, np.ones((20, 20), np.uint8))
    out = io.BytesIO()
    Image.fromarray(image).save(out, "JPEG", quality=95)
    return out.getvalue()


def test_photographs_are_sent_and_shown_with_their_targets(phone: Any, cars: Path) -> None:
    phone.goto("/jobs/straight_saloon/before/photos")
    files = [{"name": f"image{i}.jpg", "mimeType": "image/jpeg", "buffer": picture(i)} for i in (7, 8)]
    files.append({"name": "notes.jpg", "mimeType": "image/jpeg", "buffer": b"not a picture"})
    phone.locator("#choose").set_input_files(files)
    phone.get_by_text("3 of 3 sent").wait_for(timeout=20_000)
    assert phone.locator("#sending li.ok").count() == 2 and phone.locator("#sending li.off").count() == 1
    phone.get_by_text("Targets found: 1 (7)").wait_for(timeout=20_000)
    phone.get_by_text("Targets found: 1 (8)").wait_for(timeout=20_000)
    phone.get_by_text("nobody has said where they sit: 7, 8").wait_for()
    phone.locator("#sits input").fill("7")
    phone.locator("#sits select").select_option("rail1L")
    phone.get_by_role("button", name="Save").tap()
    phone.get_by_text("nobody has said where they sit: 8").wait_for()
    assert "7,rail1L" in (cars / "straight_saloon/before/targets.csv").read_text(encoding="utf-8")
    phone.reload()
    assert phone.get_by_text("2 pictures are in this stage").is_visible()
    until(phone, "[...document.querySelectorAll('.shelf img')].every(i => i.complete && i.naturalWidth > 0)")


def test_a_photograph_waits_for_the_connection(phone: Any, cars: Path) -> None:
    phone.goto("/jobs/rushed_job/before/photos")
    phone.wait_for_timeout(300)
    phone.context.set_offline(True)
    phone.locator("#choose").set_input_files([{"name": "a.jpg", "mimeType": "image/jpeg", "buffer": picture(9)}])
    phone.get_by_text("no connection, tried again").wait_for()
    phone.context.set_offline(False)
    phone.get_by_text("1 of 1 sent").wait_for()
    assert len(list((cars / "rushed_job/before/photos").glob("*.jpg"))) == 1


def test_a_car_is_made(phone: Any, cars: Path) -> None:
    phone.goto("/new")
    phone.get_by_label("Name of the car").fill("green van")
    phone.locator("#sketch .spot").nth(1).locator(".hit").first.tap()  # left out
    phone.locator("#pairs li").nth(0).get_by_label("Name", exact=True).fill("nose")
    phone.get_by_role("button", name="Make it").tap()
    phone.get_by_role("button", name="Next: noseL to noseR").wait_for()
    points = (cars / "green van/points.csv").read_text(encoding="utf-8")
    assert "noseL,L,nose,rail" in points and "cradle" not in points


PAGES = (
    "/", "/new", "/invite", "/jobs/rushed_job/before/tape", "/jobs/straight_saloon/before/heights",
    "/jobs/straight_saloon/before/photos", "/jobs/rushed_job/before/results", "/jobs/repaired_sill/after/space",
    "/jobs/repaired_sill/after/more", "/jobs/straight_saloon/before/changes", "/nowhere",
)  # fmt: skip


@pytest.mark.parametrize(
    ("size", "scheme", "pages"), [(PHONE, "dark", PAGES[::2]), (DESK, "light", PAGES[1::2])],
    ids=["phone dark", "desk light"],
)  # fmt: skip
def test_it_can_be_used_by_all(
    browser: Any, running: Running, size: dict[str, int], scheme: str, pages: tuple[str, ...]
) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed").Axe()
    page = a_page(browser, running.url, size, scheme)
    page.set_content("<html lang='en'><title>x</title><main><h1>x</h1><img src='x.png'></main></html>")
    assert [name for name, _ in _violations(axe, page)] == ["image-alt"], "axe sees what is wrong"
    found = []
    for path in pages:
        page.goto(path)
        found += [(path, *trouble) for trouble in _violations(axe, page)]
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, f"{path} is {wide} px wider than the screen"
        small = page.evaluate(TOO_SMALL)
        assert small == [], f"{path}: too small for a thumb: {small}"
    page.goto("/jobs/rushed_job/before/tape")
    page.locator("#r3").click()
    found += [("pad", *trouble) for trouble in _violations(axe, page)]
    assert found == []
    assert page.wrong == []
    page.context.close()


TOUCHED = "button, .button, select, summary, nav a, input:not([type=file]):not([type=checkbox])"
TOO_SMALL = f"""[...document.querySelectorAll({TOUCHED!r})]
  .filter(e => e.offsetParent !== null).map(e => [e.textContent.trim().slice(0, 30), e.getBoundingClientRect()])
  .filter(([, r]) => r.height < 43).map(([t, r]) => `${{t}} ${{Math.round(r.width)}}x${{Math.round(r.height)}}`)"""


def _violations(axe: Any, page: Any) -> list[tuple[str, str]]:
    found = axe.run(page).response["violations"]
    return [(v["id"], json.dumps([n["html"][:160] for n in v["nodes"][:3]])) for v in found]


def test_both_weights_of_the_shipped_type_are_used(browser: Any, running: Running) -> None:
    page = a_page(browser, running.url)
    page.goto(PAGES[0])
    loaded = page.evaluate("document.fonts.ready.then(() => [...document.fonts].map((face) => face.status))")
    assert loaded == ["loaded", "loaded"]
    page.context.close()


def test_text_may_be_twice_as_large(browser: Any, running: Running) -> None:
    page = a_page(browser, running.url)
    for path in PAGES:
        page.goto(path)
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, f"{path} is {wide} px wider than the screen"
    page.context.close()


def test_a_phone_joins_by_the_link_and_nobody_else(browser: Any, cars: Path) -> None:
    port = free_port()
    command = [sys.executable, "-m", "measure", "serve", str(cars), "--lan", "--host", "127.0.0.1", "--no-browser"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1", "PYTHONIOENCODING": "utf-8"}
    with subprocess.Popen(
        [*command, "--port", str(port)], stdout=subprocess.PIPE, text=True, env=environment
    ) as server:
        try:
            assert server.stdout
            link = next(found[0] for line in server.stdout if (found := re.search(r"http://\S+/join#\S+", line)))
            page = a_page(browser, f"http://127.0.0.1:{port}")
            until = time.monotonic() + 10
            while time.monotonic() < until:
                try:
                    assert page.goto("/", wait_until="commit").status == 401
                    break
                except Exception as not_yet:  # noqa: F841 - it is still starting
                    time.sleep(0.1)
            page.goto(link)
            page.get_by_role("link", name="New car").wait_for()
            assert "#" not in page.url and link.partition("#")[2] not in page.evaluate(
                "JSON.stringify(history.state)+location"
            )
            page.get_by_role("link", name="Add a phone").tap()
            page.locator("img.qr").wait_for()
            late = a_page(browser, f"http://127.0.0.1:{port}")
            late.goto(link)
            late.get_by_text("has been used or is too old").wait_for()
            late.context.close()
            page.context.close()
        finally:
            server.kill()
