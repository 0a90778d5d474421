"""A walk round the car with a phone: low shots up at the rails, high ones down at the bars, some held upright."""

from __future__ import annotations

from collections import Counter
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tests.synthetic.photos.camera import Camera, Shot, aimed
from tests.synthetic.photos.scene import Scene
from tests.synthetic.photos.visible import sights

Array = NDArray[np.float64]
CLEAR = 0.99
TRIES, MOST_TRIES = 20, 60
SELDOM = 4
"""A clear sheet counts one; one that fewer shots have seen counts so many more."""
FEWEST = 6
"""Clear sheets without which there is no shot."""
TURNED = (1, 1, 6, 1, 8)
"""EXIF orientations in turn: two of five shots are held upright."""


class _Kind(NamedTuple):
    """How a shot is taken, mm: above the floor, out from the car's edge, z aimed at, across from the middle."""

    height: tuple[float, float]
    out: tuple[float, float]
    aim: float
    across: tuple[float, float]


KINDS = (
    _Kind((220.0, 420.0), (900.0, 1700.0), 0.0, (-0.15, 0.35)),
    _Kind((950.0, 1200.0), (900.0, 1600.0), -400.0, (-0.15, 0.35)),
    _Kind((200.0, 350.0), (150.0, 700.0), 40.0, (-0.4, -0.1)),
    _Kind((450.0, 750.0), (1000.0, 1700.0), -170.0, (-0.15, 0.35)),
)


def walk_round(
    scene: Scene, camera: Camera, pictures: int, rng: np.random.Generator, *, turned: bool = True,
    first: int = 1, start_deg: float = 0.0, sweep_deg: float = 360.0,
) -> list[Shot]:  # fmt: skip
    """Shots named IMG_0001.jpg onwards, evenly round the car, low, high, from below its edge and middling in turn.

    For each the photographer tries some places, farther and farther off, and takes the one that shows most sheets,
    those that earlier shots seldom saw above all. `turned` False: the phone is never held upright; `sweep_deg` below
    360: only part of the way round. ValueError where no place near shows FEWEST sheets.
    """
    seen: Counter[int] = Counter()
    shots = []
    for k in range(pictures):
        around = np.radians(start_deg + sweep_deg * k / pictures)
        orientation = TURNED[k % len(TURNED)] if turned else 1
        shot, numbers = _step(scene, camera, f"IMG_{first + k:04d}.jpg", KINDS[k % len(KINDS)], around, orientation,
                              seen, rng)  # fmt: skip
        seen.update(numbers)
        shots.append(shot)
    return shots


def _step(
    scene: Scene, camera: Camera, name: str, kind: _Kind, around: float, orientation: int, seen: Counter[int],
    rng: np.random.Generator,
) -> tuple[Shot, list[int]]:  # fmt: skip
    """The best of some tries, and the numbers of its clear sheets."""
    best: tuple[int, Shot, list[int]] | None = None
    for attempt in range(MOST_TRIES):
        if attempt >= TRIES and best is not None and best[0] > 0:
            break
        place, at = _standpoint(scene, kind, around + np.radians(rng.normal(0.0, min(5.0 + attempt, 25.0))), rng)
        place = place + 20.0 * min(attempt, 30) * (place - at) * [1.0, 1.0, 0.0] / np.linalg.norm(place - at)
        shot = aimed(name, camera, place, at, float(rng.normal(0.0, 6.0)), orientation)
        numbers = [sight.sheet.number for sight in sights(scene, shot) if sight.clear >= CLEAR]
        score = sum(1 + max(0, SELDOM - seen[number]) for number in numbers) if len(numbers) >= FEWEST else 0
        if best is None or score > best[0]:
            best = (score, shot, numbers)
    if best is None or best[0] == 0:
        raise ValueError(f"{name}: no place near shows {FEWEST} sheets")
    return best[1], best[2]


def _standpoint(scene: Scene, kind: _Kind, around: float, rng: np.random.Generator) -> tuple[Array, Array]:
    """Where the camera is held and what it is aimed at."""
    places = np.array([sheet.centre for sheet in scene.sheets])
    low, high = places.min(axis=0), places.max(axis=0)
    middle, half = (low + high) / 2, (high - low) / 2
    out = np.array([np.cos(around), np.sin(around), 0.0])
    edge = half * [1.0, 1.0, 0.0] * out
    eye = middle + edge + rng.uniform(*kind.out) * out
    at = middle + rng.uniform(*kind.across) * edge
    eye[2], at[2] = scene.floor + rng.uniform(*kind.height), kind.aim + rng.uniform(-60.0, 60.0)
    return eye, at
