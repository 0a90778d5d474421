"""From light to stored grey values: blur, movement, shot and read noise, the tone curve."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.float32]
STEPS = 65535


@dataclass(frozen=True)
class Look:
    """How a picture is taken.

    - `blur_px`: sd of the Gaussian blur of lens and sensor beyond the pixel's own area; 0 for none;
    - `motion_px`, `motion_deg`: length of the hand's movement in the picture, and its direction from the rows;
    - `electrons` of full white (shot noise has the root of them), `read_noise` in electrons; 0 electrons: no noise;
    - `curve`: "srgb", "power" (1/2.2) or "linear"; `exposure` multiplies the light before it;
    - `paper`, `ink`: share of the light that printed sheets throw back;
    - `quality`: of the JPEG.
    """

    blur_px: float = 0.7
    motion_px: float = 0.0
    motion_deg: float = 0.0
    electrons: float = 9000.0
    read_noise: float = 6.0
    curve: Literal["srgb", "power", "linear"] = "srgb"
    exposure: float = 1.0
    paper: float = 0.72
    ink: float = 0.045
    quality: int = 92


def blurred(light: Image, look: Look) -> Image:
    """The light (h, w) as lens and hand spread it; the spread is symmetric, so that nothing is moved."""
    if look.blur_px > 0:
        light = np.asarray(cv2.GaussianBlur(light, (0, 0), look.blur_px, borderType=cv2.BORDER_REPLICATE))
    if look.motion_px > 0:
        light = np.asarray(cv2.filter2D(light, -1, _path(look), borderType=cv2.BORDER_REPLICATE))
    return light


def _path(look: Look) -> Image:
    """The way of the hand as a kernel, spread over the neighbouring pixels of each place on it; symmetric."""
    half = int(np.ceil(look.motion_px / 2)) + 1
    along = (np.arange(400) + 0.5) / 400 - 0.5
    x = half + look.motion_px * along * np.cos(np.radians(look.motion_deg))
    y = half + look.motion_px * along * np.sin(np.radians(look.motion_deg))
    kernel = np.zeros((2 * half + 1, 2 * half + 1))
    i, j = np.floor(y).astype(int), np.floor(x).astype(int)
    for di, wi in ((0, i + 1 - y), (1, y - i)):
        for dj, wj in ((0, j + 1 - x), (1, x - j)):
            np.add.at(kernel, (np.minimum(i + di, 2 * half), np.minimum(j + dj, 2 * half)), wi * wj)
    kernel = kernel + kernel[::-1, ::-1]
    return np.asarray(kernel / kernel.sum(), dtype=np.float32)


def stored(light: Image, look: Look, rng: np.random.Generator) -> NDArray[np.uint8]:
    """(h, w) grey values as they stand in the file before JPEG."""
    light = light * np.float32(look.exposure)
    if look.electrons > 0:
        scale = np.float32(1.0 / look.electrons)
        noise = rng.standard_normal(light.shape, dtype=np.float32)
        noise *= np.sqrt(np.maximum(light, 0.0) * scale + np.float32((look.read_noise / look.electrons) ** 2))
        light = light + noise
    level = np.clip(light * np.float32(STEPS) + np.float32(0.5), 0, STEPS).astype(np.uint16)
    return np.asarray(tones(look.curve)[level])


def tones(curve: str) -> NDArray[np.uint8]:
    """Grey value by light in 65,536 steps."""
    x = np.arange(STEPS + 1) / STEPS
    if curve == "srgb":  # IEC 61966-2-1
        x = np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)
    elif curve == "power":
        x = x ** (1 / 2.2)
    return np.round(255.0 * x).astype(np.uint8)
