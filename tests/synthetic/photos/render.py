"""A shot of a scene as grey values, every sheet where the exact projection says."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tests.synthetic.photos.background import SHRINK, background, neutral
from tests.synthetic.photos.camera import Shot
from tests.synthetic.photos.pattern import patch
from tests.synthetic.photos.pipe import draw_pipe
from tests.synthetic.photos.scene import PAPER, Scene, Sheet
from tests.synthetic.photos.sensor import Look, blurred, stored

Array = NDArray[np.float64]
Image = NDArray[np.float32]


class Rendered(NamedTuple):
    """`grey` (h, w) in the sensor's frame, and chroma (h / 4, w / 4, 2) about 0."""

    grey: NDArray[np.uint8]
    chroma: Image


def render(scene: Scene, shot: Shot, look: Look, seed: int, *, plain: float | None = None) -> Rendered:
    """The picture of the shot, the same for the same seed. `plain`: an even background of this light instead."""
    room, noise = np.random.default_rng(seed).spawn(2)
    light, chroma = light_of(scene, shot, look, room, plain=plain)
    return Rendered(stored(blurred(light, look), look, noise), chroma)


def light_of(
    scene: Scene, shot: Shot, look: Look, rng: np.random.Generator, *, plain: float | None = None
) -> tuple[Image, Image]:
    """Linear light (h, w) before blur, and chroma; sheets from far to near, then pipes by depth."""
    if plain is None:
        light, chroma = background(scene, shot, rng)
    else:
        light = np.full((shot.camera.height, shot.camera.width), plain, dtype=np.float32)
        chroma = np.zeros((-(-shot.camera.height // SHRINK), -(-shot.camera.width // SHRINK), 2), dtype=np.float32)
    depth = np.full(light.shape, np.inf, dtype=np.float32)
    papers = []
    for sheet in sorted(scene.sheets, key=lambda s: -float(np.linalg.norm(s.centre - shot.place))):
        drawn = patch(sheet, shot)
        if drawn is None:
            continue
        view = np.s_[drawn.top : drawn.top + drawn.paper.shape[0], drawn.left : drawn.left + drawn.paper.shape[1]]
        lit = _lit(sheet, shot, drawn.paper.shape) if plain is None else np.ones((1, 1))
        shown = lit * (look.paper * drawn.paper - (look.paper - look.ink) * drawn.ink)
        light[view] = light[view] * (1.0 - drawn.paper) + shown
        depth[view] = np.where(drawn.paper > 0.5, drawn.depth, depth[view])
        papers.append(shot.pixels(sheet.corners(PAPER)))
    small = np.full(chroma.shape[:2], np.inf, dtype=np.float32)
    for pipe in scene.pipes:
        draw_pipe(pipe, shot, light, depth, 1)
        draw_pipe(pipe, shot, np.zeros_like(small), small, SHRINK, chroma)
    neutral(chroma, papers)
    return light, chroma


def _lit(sheet: Sheet, shot: Shot, shape: tuple[int, ...]) -> Array:
    """Light on the sheet (h, w): darker when it turns away from the lamp at the camera, uneven across it."""
    arm = shot.place - sheet.centre
    distance = float(np.linalg.norm(arm))
    facing = max(float(arm @ sheet.normal) / distance, 0.0)
    mean = (0.45 + 0.55 * facing) * (0.55 + 0.75 / (1.0 + (distance / 2200.0) ** 2))
    slope = np.random.default_rng(sheet.number).uniform(-0.12, 0.12, 2)
    y, x = (np.linspace(-1.0, 1.0, n) for n in shape)
    lit: Array = mean * (1.0 + slope[0] * x[None, :] + slope[1] * y[:, None])
    return lit
