"""Millimetres at an adjuster, as turns and flats for a hand with a spanner, and which way to turn."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import sqrt

from measure.job.axle_settings import FLATS, Thread

QUARTERS = {1: "1/4", 2: "1/2", 3: "3/4"}


@dataclass(frozen=True)
class Turns:
    """A move as it can be set: `turns` whole, `flats` 0 to 6 in quarters, `mm` what that comes to (+ longer).

    `setting_sd` mm: the last step may be off by half of it either way, all places alike likely.
    """

    turns: int
    flats: float
    mm: float
    setting_sd: float

    @property
    def words(self) -> str:
        """1 turn and 2 1/4 flats."""
        told = []
        if self.turns:
            told.append(f"{self.turns} turn{'s' if self.turns > 1 else ''}")
        if self.flats == FLATS / 2 and self.turns:
            told = [f"{self.turns} 1/2 turns"]
        elif self.flats == FLATS / 2:
            told = ["half a turn"]
        elif self.flats:
            whole, quarter = divmod(round(4 * self.flats), 4)
            figure = " ".join(filter(None, (str(whole) if whole else "", QUARTERS.get(quarter, ""))))
            told.append(f"{figure} flat{'s' if self.flats > 1 else ''}")
        return " and ".join(told) or "leave it"


def turns_for(mm: float, thread: Thread) -> Turns | None:
    """The setting nearest to a move of mm (+ longer); None where the thread is not given."""
    per_turn = thread.per_turn
    if per_turn is None:
        return None
    step = Fraction(thread.step).limit_denominator(1000)
    steps = round(abs(mm) / (per_turn * float(step)))
    set_turns = steps * step
    whole = int(set_turns)
    sign = 1.0 if mm >= 0 else -1.0
    return Turns(
        whole, float((set_turns - whole) * FLATS), sign * float(set_turns) * per_turn,
        per_turn * float(step) / sqrt(12.0),
    )  # fmt: skip


def which_way(mm: float, thread: Thread) -> str:
    """How to turn the adjuster for a move of mm (+ longer).

    A right-hand end is screwed out of its tube, and so makes it longer, when the tube turns clockwise as seen by
    someone who looks along the tube from that end; at the left-hand end the same turn looks anticlockwise and unscrews
    as well.
    """
    longer = mm > 0
    if thread.ends == "left and right":
        turn = "clockwise" if longer else "anticlockwise"
        return f"stand at the end with the right-hand thread, look along the tube and turn the tube {turn}"
    turn = "anticlockwise" if longer == (thread.ends == "right") else "clockwise"
    return (
        f"take the {thread.ends}-hand end off its bolt and screw it {'out' if longer else 'in'} "
        f"({turn}, seen from its eye)"
    )
