"""Two surveyed stages laid over each other, with the movements under every alternative of what stood still."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from measure.body.agreement import Agreement
from measure.compare.congruence import congruent
from measure.compare.movement import Movement, movements
from measure.compare.overlay import Overlay, Pair, common_names
from measure.compare.refusals import refuse_disagreeing_lengths, refuse_too_few, refuse_two_cars
from measure.compare.shape import Shape, shape_of
from measure.survey import Surveyed

MOST_JUDGED = 30
"""Alternatives that the verdicts must hold under; beyond so many they are sampled evenly."""


@dataclass(frozen=True)
class Laid:
    """Both stages, the overlay of their common points (n,), what stood still, and the movements under each reading.

    `under[0]` are the movements (n,) under the best set, the others under its rivals.
    """

    before: Surveyed
    after: Surveyed
    shapes: tuple[Shape, Shape]
    overlay: Overlay
    agreement: Agreement
    under: Sequence[Sequence[Movement | None]]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the common points."""
        return self.overlay.names

    @property
    def limit(self) -> float:
        """The largest movement that still counts as held, mm."""
        return self.before.job.limits["movement"]

    @property
    def few(self) -> bool:
        """Whether less than half of the points kept their shape: then nothing is called moved or held."""
        return 2 * len(self.agreement.best) < len(self.names) or not self.agreement.agrees

    @cached_property
    def titles(self) -> tuple[str, str]:
        """The stages' names, with their folder where they are of two jobs."""
        stages = (self.before, self.after)
        if self.before.job.folder == self.after.job.folder:
            return self.before.stage, self.after.stage
        first, second = (f"{s.job.folder.name}/{s.stage}" for s in stages)
        return first, second


def lay(before: Surveyed, after: Surveyed) -> Laid:
    """Lay AFTER over BEFORE. Raises BadInput where they have too little in common."""
    refuse_disagreeing_lengths((before, after))
    shapes = shape_of(before), shape_of(after)
    refuse_too_few(before, after, *shapes, common_names(*shapes))
    overlay, agreement = congruent(Pair(*shapes))
    refuse_two_cars(before, after, overlay, agreement)
    sets = [agreement.best, *agreement.rivals]
    sets = sets[:: 1 + (len(sets) - 1) // MOST_JUDGED]
    return Laid(before, after, shapes, overlay, agreement, [movements(overlay, kept) for kept in sets])
