"""The car's axes turned level fore and aft: what is seen from the side is set against the floor, not against the pairs.

The car's own x runs through the middles of its pairs. These may lie at very different heights, a kick-up at the rear
say, and then that line is no measure for an engine's slope or a linkage's height. y and the yaw stay those of the car.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from measure.body.frame import Frame
from measure.body.stand import Stand
from measure.readings.reading import Reading

KNOW_LEVEL = ("floor", "marks", "heights", "levels")
"""Kinds of reading that know the vertical."""
UNLEVELLED = (
    "No reading knows the vertical, so what is seen from the side counts from the line through the middles of the "
    "pairs: heights from a laser or a water level would tell."
)


def knows_level(readings: Sequence[Reading]) -> bool:
    """Whether any reading knows the vertical."""
    return any(r.kind in KNOW_LEVEL for r in readings)


def levelled(standing: Stand) -> Stand:
    """The same car in axes whose x runs level; its judged checks are kept as they are."""
    frames = tuple(_levelled(frame) for frame in standing.centreline.frames)
    return replace(standing, centreline=replace(standing.centreline, frames=frames))


def _levelled(frame: Frame) -> Frame:
    """Turned about y until x is level; with what its figures and their sources are taken from."""
    up = frame.car_from_network[:, 2]  # the vertical, seen from the car
    s, c = np.array([up[0], up[2]]) / np.hypot(up[0], up[2])
    level_from_car = np.array([[c, 0.0, -s], [0.0, 1.0, 0.0], [s, 0.0, c]])
    n = len(frame.xyz)
    return replace(
        frame, car_from_network=level_from_car @ frame.car_from_network, xyz=frame.xyz @ level_from_car.T,
        sources=frame.sources.turned(level_from_car),
        jacobian=(level_from_car @ frame.jacobian.reshape(n, 3, -1)).reshape(3 * n, -1),
        bend=(level_from_car @ frame.bend.reshape(n, 3, -1)).reshape(3 * n, -1),
    )  # fmt: skip
