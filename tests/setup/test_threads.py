"""Millimetres as turns and flats."""

from __future__ import annotations

import pytest

from measure.job.axle_settings import Thread
from measure.setup.threads import turns_for, which_way


@pytest.mark.parametrize(
    ("thread", "mm", "words", "set_to"),
    [
        (Thread(pitch=1.5), 3.0, "1 turn", 3.0),
        (Thread(pitch=1.5), -4.5, "1 1/2 turns", -4.5),
        (Thread(pitch=1.5), 0.13, "1/4 flat", 0.125),
        (Thread(pitch=1.5), 1.5, "half a turn", 1.5),
        (Thread(pitch=2.0), 8.4, "2 turns and 1/2 flat", 8.0 + 4.0 / 12),
        (Thread(pitch=1.5), 0.05, "leave it", 0.0),
        (Thread(threads_per_inch=18.0), 25.4 / 9, "1 turn", 25.4 / 9),
        (Thread(pitch=1.5, ends="right"), 4.0, "2 1/2 turns", 3.75),
        (Thread(pitch=1.5, ends="left"), 0.6, "half a turn", 0.75),
    ],
)
def test_turns_and_flats(thread: Thread, mm: float, words: str, set_to: float) -> None:
    turns = turns_for(mm, thread)
    assert turns is not None
    assert turns.words == words and turns.mm == pytest.approx(set_to)
    assert turns.setting_sd == pytest.approx((thread.per_turn or 0.0) * thread.step / 12**0.5)


def test_without_a_thread_there_are_no_turns() -> None:
    assert turns_for(3.0, Thread()) is None


def test_which_way() -> None:
    """A right-hand end unscrews anticlockwise seen from its eye, which is the tube clockwise from the same place."""
    both = Thread(pitch=1.5)
    assert which_way(1.0, both).endswith("tube clockwise") and which_way(-1.0, both).endswith("tube anticlockwise")
    assert "out (anticlockwise" in which_way(1.0, Thread(pitch=1.5, ends="right"))
    assert "out (clockwise" in which_way(1.0, Thread(pitch=1.5, ends="left"))
    assert "in (clockwise" in which_way(-1.0, Thread(pitch=1.5, ends="right"))
