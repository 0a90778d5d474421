"""What is behind the sheets: floor, rusty floor pan, walls and rails, drawn small and enlarged."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.synthetic.photos.camera import Shot
from tests.synthetic.photos.pipe import draw_pipe
from tests.synthetic.photos.scene import Plate, Scene

Array = NDArray[np.float64]
Image = NDArray[np.float32]
SHRINK = 4
PAN = 345.0
"""z of the floor pan, mm: above all sheets."""
LAMP = np.array([-1250.0, 0.0, -200.0])
CONCRETE, RUST, WALL = 0.20, 0.075, 0.16
TINTS = {"floor": (-1.0, 1.5), "pan": (-9.0, 12.0), "wall": (2.0, -2.0), "steel": (-3.0, 4.0)}
"""Blue and red chroma (Cb - 128, Cr - 128) of each stuff."""


def background(scene: Scene, shot: Shot, rng: np.random.Generator) -> tuple[Image, Image]:
    """Light (h, w) from 0 to 1, linear, at full size, and chroma (h / 4, w / 4, 2) about 0."""
    width, height = shot.camera.width, shot.camera.height
    small = (-(-width // SHRINK), -(-height // SHRINK))
    focal, aspect, cx, cy = shot.camera.lens[:4]
    u = ((np.arange(small[0]) + 0.5) * SHRINK - 0.5 - cx) / focal
    v = ((np.arange(small[1]) + 0.5) * SHRINK - 0.5 - cy) / (focal * (1 + aspect))
    ray = np.stack(np.broadcast_arrays(u[None, :], v[:, None], 1.0), axis=-1).astype(np.float32)
    in_car = ray @ shot.R.astype(np.float32)  # rows of R are the camera's axes
    light, tint = _room(scene, shot, in_car, rng)
    depth = np.full(light.shape, np.inf, dtype=np.float32)
    for rail in scene.rails:
        draw_pipe(rail, shot, light, depth, SHRINK, tint)
    for plate in scene.plates:
        _draw_plate(plate, shot, ray, light, depth)
    light = np.asarray(cv2.GaussianBlur(light, (0, 0), 0.7), dtype=np.float32)
    grain = cv2.GaussianBlur(rng.standard_normal(light.shape, dtype=np.float32), (0, 0), 0.8)
    light *= np.exp(0.22 * _clouds(light.shape, rng, 5) + 0.12 * grain)
    full = cv2.resize(light, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(full, dtype=np.float32), tint


def _room(scene: Scene, shot: Shot, ray: Image, rng: np.random.Generator) -> tuple[Image, Image]:
    """Floor, floor pan and walls by where each ray (h, w, 3) ends; light falls off from a lamp under the car."""
    eye = shot.place.astype(np.float32)
    with np.errstate(divide="ignore", invalid="ignore"):
        to_floor, to_pan = (scene.floor - eye[2]) / ray[..., 2], (PAN - eye[2]) / ray[..., 2]
    wall = np.full(ray.shape[:2], 3500.0, dtype=np.float32)
    on_pan = eye + np.clip(to_pan, 0, 1e4)[..., None] * ray
    under = (to_pan > 0) & (np.abs(on_pan[..., 0] + 1250.0) < 1550.0) & (np.abs(on_pan[..., 1]) < 760.0)
    floor = (to_floor > 0) & (to_floor < wall) & ~under
    reach = np.where(under, to_pan, np.where(floor, to_floor, wall))
    at = eye + reach[..., None] * ray
    albedo = np.where(under, RUST, np.where(floor, CONCRETE, WALL)).astype(np.float32)
    rust = _clouds(albedo.shape, rng, 6)
    albedo *= np.where(under, np.exp(0.7 * rust), 1.0)
    fall = 1.0 / (1.0 + (np.linalg.norm(at - LAMP.astype(np.float32), axis=-1) / 2200.0) ** 2)
    up = np.where(under | floor, 1.0, 0.6 + 0.25 * np.clip(at[..., 2] / 2000.0, -1.0, 1.5))
    tint = np.zeros((*albedo.shape, 2), dtype=np.float32)
    for where, stuff in ((under, "pan"), (floor, "floor"), (~under & ~floor, "wall")):
        tint[where] = TINTS[stuff]
    tint *= (1.0 + 0.4 * np.clip(rust, -1.5, 1.5))[..., None]
    soft = np.asarray(cv2.GaussianBlur(tint, (0, 0), 2.0), dtype=np.float32)
    return np.asarray(albedo * (0.25 + fall) * up, dtype=np.float32), soft


def _draw_plate(plate: Plate, shot: Shot, ray: Image, light: Image, depth: Image) -> None:
    """Into `light` (h, w) where nearer than `depth`; rings as a turned disc has them."""
    normal = (shot.R @ plate.normal).astype(np.float32)
    centre = shot.in_camera(plate.centre[None])[0].astype(np.float32)
    away = ray @ normal
    reach = (centre @ normal) / np.where(np.abs(away) < 1e-6, np.float32(1e-6), away)
    off = np.linalg.norm(reach[..., None] * ray - centre, axis=-1)
    here = (off < plate.radius) & (reach > 0) & (reach < depth) & (away < 0)
    rings = 1.0 + 0.12 * np.sin(off[here] / 2.5) + np.where(off[here] < 0.35 * plate.radius, 0.3, 0.0)
    light[here] = plate.albedo * rings
    depth[here] = reach[here]


def _clouds(shape: tuple[int, ...], rng: np.random.Generator, octaves: int) -> Image:
    """Smooth random texture (h, w) of sd about 1, from blotches down to grain of some pixels."""
    total = np.zeros(shape, dtype=np.float32)
    for octave in range(octaves):
        n = 3 * 2**octave
        coarse = rng.standard_normal((n, n * 4 // 3)).astype(np.float32) * 0.62**octave
        total += cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(total / 1.2, dtype=np.float32)


def neutral(tint: Image, polygons: Sequence[Array]) -> None:
    """Take the colour out of the chroma (h, w, 2) inside polygons (k, 2) in full-size pixels: paper is white."""
    for polygon in polygons:
        corners = np.round(polygon / SHRINK).astype(np.int32)
        cv2.fillPoly(tint, [corners], (0.0, 0.0))
