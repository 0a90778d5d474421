"""`python -m tests.web.screenshots FOLDER`: the page as phone and desk show it, and the sheet's first pages, as PNG.

All is made from the sample cars.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pypdfium2 import PdfDocument

from measure.compare.document import compare_stages
from measure.document import document
from measure.report.certificate.paper import pdf_bytes
from measure.survey import survey
from tests.web.browsing import DESK, PHONE, a_browser, a_page, until
from tests.web.conftest import SAMPLES, start

CARS = ("straight_saloon", "pulled_rail", "rushed_job", "repaired_sill", "photo_car")
SHEET_OF, SHEET_PAGES, SHEET_DPI = "repaired_sill", 3, 90
SETTLED = 900
"""ms after which a page has drawn all it draws."""
PICTURES_THERE = "[...document.images].every((i) => i.complete || i.getBoundingClientRect().top > innerHeight)"


def _swapped(page: Any) -> None:
    """A reading with two digits swapped, and what the page says of it."""
    page.goto("/jobs/straight_saloon/before/tape")
    page.locator("#r4").click()
    page.keyboard.type("1049.5")
    page.keyboard.press("Enter")
    page.locator("#answer").get_by_text("two digits swapped").wait_for()


def _pad(page: Any) -> None:
    page.goto("/jobs/rushed_job/before/tape")
    page.locator("#r5").click()
    page.keyboard.type("43 1/4")


def _open(page: Any) -> None:
    page.goto("/jobs/pulled_rail/before/results")
    page.locator("details.figure-card summary").first.click()


def _at(path: str) -> Callable[[Any], None]:
    return lambda page: page.goto(path)


SHOTS: dict[str, tuple[dict[str, int], str, Callable[[Any], None]]] = {
    "phone_tape": (PHONE, "light", _at("/jobs/rushed_job/before/tape")),
    "phone_pad": (PHONE, "light", _pad),
    "phone_answer": (PHONE, "light", _swapped),
    "phone_results_dark": (PHONE, "dark", _at("/jobs/pulled_rail/before/results")),
    "phone_photos": (PHONE, "light", _at("/jobs/photo_car/before/photos")),
    "desk_results": (DESK, "light", _open),
    "desk_space": (DESK, "light", _at("/jobs/photo_car/before/space")),
    "desk_before_and_after": (DESK, "light", _at("/jobs/repaired_sill/after/more")),
    "desk_new_car_dark": (DESK, "dark", _at("/new")),
}


def _sheet(folder: Path) -> None:
    """The first pages of a sheet, as sheet_1.png and so on."""
    surveyed = survey(SAMPLES / SHEET_OF, "after")
    compared = compare_stages(SAMPLES / SHEET_OF, "before", "after")
    with PdfDocument(pdf_bytes(document(surveyed), surveyed.job, "A4", compared)) as pages:
        for number in range(SHEET_PAGES):
            pages[number].render(scale=SHEET_DPI / 72).to_pil().save(folder / f"sheet_{number + 1}.png", optimize=True)


def main(folder: Path) -> None:
    """Write every picture into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    _sheet(folder)
    with tempfile.TemporaryDirectory() as cars, a_browser() as browser:
        for name in CARS:
            shutil.copytree(SAMPLES / name, Path(cars) / name)
        server = start(Path(cars))
        try:
            for name, (size, scheme, show) in SHOTS.items():
                page = a_page(browser, server.url, size, scheme)
                show(page)
                page.wait_for_timeout(SETTLED)
                until(page, PICTURES_THERE)
                page.wait_for_timeout(9 * SETTLED if "photos" in name else SETTLED)
                page.screenshot(path=folder / f"{name}.png")
                page.context.close()
        finally:
            server.stop()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
