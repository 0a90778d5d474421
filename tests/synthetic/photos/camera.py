"""An invented phone: its lens, what its pictures say of themselves, and one shot taken with it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from measure.photo.lens import LENS
from tests.synthetic.photos.projection import project

Array = NDArray[np.float64]


def phone_lens(width: int = 4000, height: int = 3000, **changed: float) -> Array:
    """(9,) in the order of `measure.photo.lens.LENS`: a phone's main camera, mildly distorted; `changed` by name."""
    scale = width / 4000.0
    values = {
        "focal": 2950.0 * scale, "aspect": -0.0006, "cx": (width - 1) / 2 + 9.0 * scale,
        "cy": (height - 1) / 2 - 7.0 * scale, "k1": 0.07, "k2": -0.16, "p1": 0.0004, "p2": -0.0003, "k3": 0.08,
    }  # fmt: skip
    values |= changed
    return np.array([values[name] for name in LENS])


@dataclass(frozen=True)
class Camera:
    """`lens` (9,), pixels of the sensor's frame, and what EXIF says; "" and None: EXIF says nothing of it."""

    lens: Array = field(default_factory=phone_lens)
    width: int = 4000
    height: int = 3000
    make: str = "Invented"
    model: str = "Phone One"
    lens_name: str = "Phone One back camera 5.4mm f/1.8"
    focal_mm: float | None = 5.4
    focal_35mm: float | None = 26.0


@dataclass(frozen=True)
class Shot:
    """One picture: a point X of the car lies at R X + t in the camera's axes (x right, y down, z forward), mm.

    `orientation` is the EXIF value by which a viewer turns the picture upright: 1, 6 or 8.
    """

    name: str
    camera: Camera
    R: Array
    t: Array
    orientation: int = 1

    @property
    def place(self) -> Array:
        """Where the camera stood, (3,) in the car's axes."""
        place: Array = -self.R.T @ self.t
        return place

    def in_camera(self, in_car: Array) -> Array:
        """(m, 3) points of the car in the camera's axes."""
        moved: Array = in_car @ self.R.T + self.t
        return moved

    def pixels(self, in_car: Array) -> Array:
        """(m, 2) pixels in the sensor's frame; the points (m, 3) must lie in front of the camera."""
        return project(self.camera.lens, self.in_camera(in_car))


def aimed(name: str, camera: Camera, place: Array, at: Array, roll_deg: float = 0.0, orientation: int = 1) -> Shot:
    """A shot from `place` towards `at`, the phone held for `orientation` and leaning by `roll_deg` from there."""
    forward = (at - place) / np.linalg.norm(at - place)
    right = np.cross(forward, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    # 6: the sensor's right is the scene's down; 8: its right is the scene's up.
    across, along = {1: (right, down), 6: (down, -right), 8: (-down, right)}[orientation]
    c, s = np.cos(np.radians(roll_deg)), np.sin(np.radians(roll_deg))
    R = np.array([c * across + s * along, c * along - s * across, forward])
    return Shot(name, camera, R, -R @ place, orientation)
