"""[axle.NAME] of job.toml: how an axle's arms and lateral links are adjusted, and how its shaft's yokes stand."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from measure.job.settings import Number, Settings
from measure.units import MM_PER_INCH

FLATS = 6

Positive = Annotated[Number, Field(gt=0.0)]


class Thread(Settings):
    """The thread of an adjuster: `pitch` always in mm, whatever the job's unit, or UN `threads_per_inch`.

    `ends`: "left and right" is a tube with one left-hand and one right-hand end, turned in place; "right" or "left" is
    one threaded end, which has to be taken off its bolt and screwed in or out.
    """

    pitch: Positive | None = None
    threads_per_inch: Positive | None = None
    ends: Literal["left and right", "right", "left"] = "left and right"

    @property
    def per_turn(self) -> float | None:
        """How far one turn lengthens or shortens the adjuster, mm; None where no thread is given."""
        pitch = self.pitch
        if pitch is None and self.threads_per_inch is not None:
            pitch = MM_PER_INCH / self.threads_per_inch
        if pitch is None:
            return None
        return 2 * pitch if self.ends == "left and right" else pitch

    @property
    def step(self) -> float:
        """The smallest setting, in turns: a quarter flat of a hexagon; half a turn where the eye must face its bolt."""
        return 1 / (4 * FLATS) if self.ends == "left and right" else 0.5


class Axle(Settings):
    """How an axle is set. `arm`, `link`: threads of the trailing arms and of the lateral rod or rods.

    `adjust`: which trailing arms can be adjusted. `rod_body`: the side on which a single lateral rod is fixed to the
    body. `pivot`: what carries the centre pivot of a lateral linkage. `phase`: degrees by which the propshaft's rear
    yoke is turned from its front yoke, + anticlockwise seen from the front; 0 is in line. `solid`: a beam whose faces
    cannot be set apart, as a steered or an independently sprung wheel can; left out, an axle with trailing arms, a
    lateral linkage or a pinion counts as one.
    """

    arm: Thread | None = None
    link: Thread | None = None
    adjust: Literal["both", "L", "R"] = "both"
    rod_body: Literal["L", "R"] | None = None
    pivot: Literal["axle", "body"] = "axle"
    solid: bool | None = None
    phase: Annotated[Number, Field(ge=-360.0, le=360.0)] = 0.0
