"""Which pictures are still missing: told from what the pictures show, whether or not the car can be worked out."""

from __future__ import annotations

import shutil
import time
from pathlib import Path

import pytest

from measure.findings import Findings
from measure.job import Job, load_job
from measure.web.more_pictures import groups, missing_pictures
from measure.web.photo_shelf import Item
from tests.web.client import Client
from tests.web.conftest import SAMPLES

VAN = SAMPLES / "photo_car"
TARGETS: list[dict[str, str | int]] = [
    {"target": str(n), "point": point} for n, point in enumerate(("rail1L", "rail2L", "rail3L", "rail1R", "rail2R"))
]


def loaded() -> Job:
    job = load_job(VAN, Findings())
    assert job is not None
    return job


def shown(*pictures: tuple[int, ...], looking: bool = False) -> list[Item]:
    items = [Item(f"{i}.jpg", "found", "", "", numbers=numbers) for i, numbers in enumerate(pictures, 1)]
    return [*items, Item("late.jpg", "looking", "", "")] if looking else items


def test_it_says_from_which_side_and_of_what() -> None:
    told = missing_pictures(loaded(), shown((0, 1, 2, 3), (0, 1, 2)), TARGETS)
    assert told == [
        "From the right: one more picture with rail1R in it. Only one picture shows them so far.",
        "From the right: two pictures with rail2R in them. No picture shows them yet.",
    ]


def test_what_two_pictures_show_is_not_asked_for_unless_it_is_loose() -> None:
    every = (0, 1, 2, 3, 4)
    assert missing_pictures(loaded(), shown(every, every), TARGETS) == []
    (told,) = missing_pictures(loaded(), shown(every, every), TARGETS, loose=["rail2L"])
    assert told.startswith("From the left: one more picture with rail2L")


def test_nothing_is_asked_for_before_all_are_looked_through_or_where_there_are_none() -> None:
    assert missing_pictures(loaded(), shown((0,), looking=True), TARGETS) == []
    assert missing_pictures(loaded(), [], TARGETS) == missing_pictures(loaded(), shown((500,)), TARGETS) == []


def test_pictures_that_do_not_hang_together_are_named() -> None:
    told = missing_pictures(loaded(), shown((0, 1, 2), (0, 1, 2), (2, 3, 4), (2, 3, 4)), TARGETS)
    assert told == [
        "The pictures fall into 2 groups with fewer than three targets in common: take one between 1.jpg and 3.jpg "
        "that shows some of both."
    ]


def test_a_later_picture_joins_two_groups() -> None:
    assert groups({"a": {1, 2, 3}, "b": {4, 5, 6}, "c": {1, 2, 3, 4, 5, 6}, "d": set()}) == [{"a", "b", "c"}]


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    folder = tmp_path / "shop"
    shutil.copytree(VAN, folder / "van")
    for path in sorted((folder / "van/before/photos").iterdir())[5:]:
        path.unlink()
    return folder


def test_the_page_says_what_is_missing_though_the_car_cannot_be_worked_out(client: Client) -> None:
    until = time.monotonic() + 60
    page = ""
    while "Pictures still wanted" not in page and time.monotonic() < until:
        page = client.get("/jobs/van/before/photos").text
        time.sleep(0.1)
    assert "its 5 pictures do not hold it together yet" in page and "Why not" in page
    assert "From the right: two pictures with rail2R" in page
    assert page.index("1 more") < page.index("5 pictures are in this stage")
