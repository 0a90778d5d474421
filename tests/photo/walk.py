"""A small walk round some sheets, without pictures: exact images of their corners, with noise as asked."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from measure.photo.first_poses import View
from measure.photo.square import CORNERS
from tests.synthetic.photos.projection import project

LENS = np.array([2950.0, 0.0, 1999.5, 1499.5, 0.08, -0.19, 5e-4, -4e-4, 0.1])
SIZE = (4000, 3000)


@dataclass(frozen=True)
class Walk:
    places: np.ndarray  # (n, 3) sheet centres
    sheets: np.ndarray  # (n, 3, 3) world_from_sheet
    eyes: np.ndarray  # (p, 3)
    turns: np.ndarray  # (p, 3, 3) world_from_camera
    half: float = 40.0

    def corners(self) -> np.ndarray:
        """(n, 4, 3) in the world."""
        return self.places[:, None] + np.einsum("nij,cj->nci", self.sheets, np.column_stack([CORNERS, np.zeros(4)])) * (
            self.half
        )

    def views(self, *, noise: float = 0.0, seed: int = 0, lens: np.ndarray = LENS) -> list[View]:
        """What each picture sees; `lens` is what its reader takes it for."""
        rng = np.random.default_rng(seed)
        made = []
        for k, (eye, turn) in enumerate(zip(self.eyes, self.turns, strict=True)):
            arm = (self.corners() - eye) @ turn
            pixels = project(LENS, arm.reshape(-1, 3)).reshape(-1, 4, 2)
            inside = np.all((pixels > 20) & (pixels < np.array(SIZE) - 20), axis=(1, 2)) & np.all(
                arm[..., 2] > 200, axis=1
            )
            facing = np.einsum("ni,ni->n", self.sheets[:, :, 2], eye - self.places)
            seen = np.flatnonzero(inside & (facing > 0.3 * np.linalg.norm(eye - self.places, axis=1)))
            corners = pixels[seen] + rng.normal(0.0, noise, (len(seen), 4, 2))
            made.append(View(f"p{k:02d}.jpg", seen.tolist(), corners, np.full(len(seen), 2 * self.half), lens))
        return made


def walk(pictures: int = 10, sheets: int = 16, seed: int = 0) -> Walk:
    """Sheets on a body about 3 m long that look down and outward, and a person who walks round it."""
    rng = np.random.default_rng(seed)
    places = np.column_stack([
        rng.uniform(-1500, 1500, sheets), rng.uniform(-600, 600, sheets), rng.uniform(-60, 60, sheets)
    ])  # fmt: skip
    down = np.diag([1.0, -1.0, -1.0])
    tilt = np.column_stack([rng.normal(0, 0.25, (sheets, 2)), rng.uniform(-3, 3, sheets)])
    turned = np.stack([_rotation(w) @ down for w in tilt])
    eyes, turns = [], []
    for k in range(pictures):
        a = 2 * np.pi * k / pictures
        eye = np.array([2300 * np.cos(a), 1700 * np.sin(a), -1500 + 250 * np.sin(2.7 * k)])
        forward = np.append(rng.uniform(-250, 250, 2), 0.0) - eye
        forward /= np.linalg.norm(forward)
        right = np.cross(forward, [0.0, 0.0, 1.0])
        right /= np.linalg.norm(right)
        R = np.column_stack([right, np.cross(forward, right), forward])
        if k % 3 == 2:
            R = R @ np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
        eyes.append(eye)
        turns.append(R)
    return Walk(places, turned, np.array(eyes), np.array(turns))


def _rotation(w: np.ndarray) -> np.ndarray:
    angle = float(np.linalg.norm(w))
    K = np.array([[0.0, -w[2], w[1]], [w[2], 0.0, -w[0]], [-w[1], w[0], 0.0]])
    return np.asarray(np.eye(3) + np.sin(angle) / angle * K + (1 - np.cos(angle)) / angle**2 * (K @ K))
