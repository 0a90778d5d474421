"""What each shot sees, exactly: where every sheet lies in it, and how much of it nothing hides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.synthetic.photos.camera import Shot
from tests.synthetic.photos.scene import CORNERS, PAPER, Pipe, Scene, Sheet

Array = NDArray[np.float64]
FACING = 0.25
"""Cosine of the slant beyond which a sheet is not read."""
LEAST_SIDE = 20.0
"""px, root of the area of the black square."""
NEAREST = 150.0
"""mm in front of the camera."""
EDGE = 2.0
"""px kept clear along the picture's border."""
LOOKS = 8
"""Places a side of a sheet at which it is asked whether something hides it,"""
LOOKED_AT = 1.2
"""over a square of so many sides: the code and its quiet zone."""
_PLACES = np.stack(np.meshgrid(*2 * [(np.arange(LOOKS) / (LOOKS - 1) - 0.5) * LOOKED_AT]), axis=-1).reshape(-1, 2)
_OUTLINE = np.vstack([np.zeros((1, 2)), CORNERS, PAPER * CORNERS])


@dataclass(frozen=True)
class Sight:
    """One sheet in one shot: exact `centre` (2,) and `corners` (4, 2) px; `clear`: share that nothing hides."""

    sheet: Sheet
    centre: Array
    corners: Array
    side_px: float
    facing: float
    clear: float


def sights(scene: Scene, shot: Shot) -> list[Sight]:
    """Sheets wholly in the frame that face the camera and are large enough, hidden or not, by number."""
    sheets = [sheet for sheet in sorted(scene.sheets, key=lambda s: s.number) if _facing(sheet, shot.place) > 0.0]
    if not sheets:
        return []
    outlines = np.stack([sheet.at(_OUTLINE) for sheet in sheets])
    ahead = np.min(shot.in_camera(outlines.reshape(-1, 3))[:, 2].reshape(len(sheets), -1), axis=1) > NEAREST
    before = [sheet for sheet, is_ahead in zip(sheets, ahead, strict=True) if is_ahead]
    pixels = shot.pixels(outlines[ahead].reshape(-1, 3)).reshape(-1, len(_OUTLINE), 2)
    limit = np.array([shot.camera.width, shot.camera.height]) - 1.0 - EDGE
    inside = np.all((pixels > EDGE) & (pixels < limit), axis=(1, 2))
    side = np.sqrt(_areas(pixels[:, 1:5]))
    found = []
    for k, sheet in enumerate(before):
        facing = _facing(sheet, shot.place)
        if inside[k] and side[k] >= LEAST_SIDE and facing >= FACING:
            clear = 1.0 - float(np.mean(_hidden(sheet, before, pixels, k, scene, shot.place)))
            found.append(Sight(sheet, pixels[k, 0], pixels[k, 1:5], float(side[k]), facing, clear))
    return found


def _facing(sheet: Sheet, eye: Array) -> float:
    """Cosine of the slant under which the sheet is seen; negative from behind."""
    arm = eye - sheet.centre
    return float(arm @ sheet.normal / np.sqrt(arm @ arm))


def _areas(corners: Array) -> Array:
    """(n,) of quadrilaterals (n, 4, 2)."""
    x, y = corners[..., 0], corners[..., 1]
    area: Array = 0.5 * np.abs(np.sum(x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1), axis=1))
    return area


def _hidden(sheet: Sheet, sheets: list[Sheet], pixels: Array, k: int, scene: Scene, eye: Array) -> NDArray[np.bool_]:
    """Which of the places on sheet k a pipe or another sheet hides."""
    targets = sheet.at(_PLACES)
    hidden = np.zeros(len(targets), dtype=bool)
    for pipe in scene.pipes:
        hidden |= hides(pipe, eye, targets)
    reach = np.max(np.linalg.norm(pixels - pixels[:, :1], axis=2), axis=1)
    near = np.linalg.norm(pixels[:, 0] - pixels[k, 0], axis=1) < reach + reach[k]
    for other in np.flatnonzero(near):
        if other != k:
            hidden |= _paper_hides(sheets[other], eye, targets)
    return hidden


def hides(pipe: Pipe, eye: Array, targets: Array) -> NDArray[np.bool_]:
    """(m,) Whether the pipe comes between the eye and each of the targets (m, 3)."""
    u, v, w = pipe.b - pipe.a, targets - eye, pipe.a - eye
    uu, vv, uv = float(u @ u), np.sum(v * v, axis=1), v @ u
    wu, wv = float(w @ u), v @ w
    along_sight = np.clip((wv * uu - wu * uv) / np.maximum(uu * vv - uv * uv, 1e-9), 0.0, 1.0)
    along_pipe = np.clip((along_sight * uv - wu) / uu, 0.0, 1.0)
    along_sight = np.clip((wv + along_pipe * uv) / vv, 0.0, 1.0)
    gap = w + along_pipe[:, None] * u - along_sight[:, None] * v
    return np.asarray((np.sum(gap * gap, axis=1) < pipe.radius**2) & (along_sight < 0.999))


def _paper_hides(sheet: Sheet, eye: Array, targets: Array) -> NDArray[np.bool_]:
    v = targets - eye
    away = v @ sheet.normal
    share = float((sheet.centre - eye) @ sheet.normal) / np.where(np.abs(away) < 1e-9, 1e-9, away)
    on_sheet = (eye + share[:, None] * v - sheet.centre) @ sheet.turn[:, :2]
    inside = np.all(np.abs(on_sheet) < PAPER / 2 * sheet.side, axis=1)
    return np.asarray(inside & (share > 0.0) & (share < 0.999))
