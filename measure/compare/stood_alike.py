"""How the two stages differ in what bends or stretches a body without damage: told before any movement is."""

from __future__ import annotations

from collections.abc import Sequence

from measure.job import StageInfo
from measure.readings.reading import Reading

STEEL = 11.5e-6
"""A steel body's growth for each degree; common practice, no source."""
ALIKE_HEIGHT = 2.0
ALIKE_TEMPERATURE = 2.0
LENGTH = 2500.0
TAPED = ("floor", "car", "bar", "marks", "xyz")


def differences(before: tuple[str, StageInfo | None], after: tuple[str, StageInfo | None]) -> list[str]:
    """Each difference as a sentence; `before` and `after` are a stage's name and what job.toml says of it."""
    (name_a, info_a), (name_b, info_b) = before, after
    a, b = info_a or StageInfo(), info_b or StageInfo()
    return [
        *_support(name_a, a.supported, name_b, b.supported),
        *_ride_height(name_a, a.ride_height, name_b, b.ride_height),
        *_temperature(name_a, a.temperature, name_b, b.temperature),
    ]


def _support(name_a: str, a: str | None, name_b: str, b: str | None) -> list[str]:
    if a is None and b is None:
        return [
            "Neither stage says how the car was supported: a shell bends on different stands, and that looks like a "
            "movement. Write `supported` in [stage.NAME]."
        ]
    if a is None or b is None:
        silent, told = (name_a, b) if a is None else (name_b, a)
        return [f'{silent} does not say how the car was supported; the other stage says "{told}".']
    if _plain(a) != _plain(b):
        return [
            f'The car was supported differently: {name_a} "{a}", {name_b} "{b}". A shell bends on different stands: '
            "what moved below may be that. Support it as before and measure again before you believe it."
        ]
    return []


def _plain(text: str) -> str:
    return " ".join(text.casefold().replace(",", " ").split())


def _ride_height(name_a: str, a: float | None, name_b: str, b: float | None) -> list[str]:
    if a is None or b is None or abs(a - b) <= ALIKE_HEIGHT:
        return []
    return [
        f"Ride height differs: {name_a} {a:g} mm, {name_b} {b:g} mm. The axle swings with the suspension: its points "
        "move against the body without any fault."
    ]


def _temperature(name_a: str, a: float | None, name_b: str, b: float | None) -> list[str]:
    if a is None or b is None or abs(a - b) <= ALIKE_TEMPERATURE:
        return []
    grown = STEEL * LENGTH * abs(b - a)
    return [
        f"Temperature differs: {name_a} {a:g}, {name_b} {b:g} degrees. A steel body of {LENGTH / 1000:g} m grows by "
        f"{grown:.1f} mm over that; a steel tape at the same temperature grows with it and hides it."
    ]


def of_scale(name: str, readings: Sequence[Reading]) -> list[str]:
    """A stage that nothing sizes: pictures without one length."""
    kinds = {r.kind for r in readings}
    if "target" in kinds and kinds.isdisjoint(TAPED):
        return [f"{name} has photographs and no length: its size is a guess, so a movement along its length is too."]
    return []
