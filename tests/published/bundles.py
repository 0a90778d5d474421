"""Public bundle-adjustment problems, read into this project's axes, pixels and lens.

Theirs: X = R P + t, the camera looks along -z, y up, image = f (1 + k1 |p|^2 + k2 |p|^4) p. Turned half about x that is
the model of measure.photo.lens with cx = cy = 0 and y counted downwards; nothing is approximated.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from tests.synthetic.photos.projection import project

DATA = Path(__file__).parent / "data"
FLIP = np.diag([1.0, -1.0, -1.0])


@dataclass(frozen=True)
class Bundle:
    """`R` (c, 3, 3) and `centres` (c, 3): X_camera = R (P - centre); `lenses` (c, 9) in the order of LENS.

    `points` (n, 3); observation k is of point `point_idx[k]` in camera `camera_idx[k]` at `pixels[k]` (m, 2).
    """

    R: np.ndarray
    centres: np.ndarray
    lenses: np.ndarray
    points: np.ndarray
    camera_idx: np.ndarray
    point_idx: np.ndarray
    pixels: np.ndarray

    def residuals(self) -> np.ndarray:
        """Seen minus computed (m, 2) at the values held here."""
        at = self.points[self.point_idx] - self.centres[self.camera_idx]
        in_camera = np.einsum("mij,mj->mi", self.R[self.camera_idx], at)
        return self.pixels - project(self.lenses[self.camera_idx], in_camera)

    def cost(self) -> float:
        """Half the sum of squares, as the sources count it."""
        return 0.5 * float(np.sum(self.residuals() ** 2))


def read_bundle(name: str) -> Bundle:
    """`name` is "dubrovnik_3_7" or "balbianello"."""
    text = (DATA / f"bundle_{name}.txt").read_text(encoding="utf-8")
    lines = [line.split() for line in text.splitlines() if not line.startswith("#")]
    cameras, points, observations = map(int, lines[0])
    table = np.array(lines[1 : 1 + cameras], dtype=float)
    turns, rest = table[:, :-6], table[:, -6:]
    R = turns.reshape(-1, 3, 3) if turns.shape[1] == 9 else Rotation.from_rotvec(turns).as_matrix()
    lenses = np.zeros((cameras, 9))
    lenses[:, [0, 4, 5]] = rest[:, 3:]
    xyz = np.array(lines[1 + cameras : 1 + cameras + points], dtype=float)
    seen = np.array(lines[1 + cameras + points :], dtype=float)
    assert len(seen) == observations
    centres = -np.einsum("cji,cj->ci", R, rest[:, :3])
    return Bundle(
        FLIP @ R, centres, lenses, xyz, seen[:, 0].astype(int), seen[:, 1].astype(int), seen[:, 2:] * [1.0, -1.0]
    )
