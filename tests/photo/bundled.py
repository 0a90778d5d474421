"""Target images without pictures, as a network of the adjustment: pictures all round a cloud of points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from measure.adjust.network import Network
from measure.job import Job, Point
from measure.photo.first_poses import FirstPoses
from measure.photo.lens import LENS
from measure.readings.kind import Site
from measure.readings.reading import Block, Camera, Reading, Seen
from measure.readings.stage import blocks_of, site_of
from measure.readings.unknowns import Array, Index, State
from measure.rotation import rotation_matrices
from tests.synthetic.photos.projection import project

SIZE = (4000, 3000)
STAGE = "before"
TRUE_LENS = np.array([2950.0, -0.001, 2012.0, 1489.0, 0.08, -0.19, 6e-4, -4e-4, 0.0])
PRIOR_LENS = np.array([3100.0, 0.0, 1999.5, 1499.5, 0.0, 0.0, 0.0, 0.0, 0.0])
PRIOR_SD = np.array([300.0, 2e-3, 80.0, 80.0, 0.3, 0.6, 5e-3, 5e-3, 0.6])  # as where EXIF tells the focal length
assert LENS[0] == "focal" and LENS[-1] == "k3"


@dataclass(frozen=True)
class Bundled:
    """Points (n, 3) mm, network_from_camera turns (p, 3, 3) and places (p, 3), and exact images.

    Image k is of point `point[k]` in picture `picture[k]`, at `exact[k]` px.
    """

    points: Array
    turns: Array
    places: Array
    picture: Index
    point: Index
    exact: Array
    standoffs: dict[int, float] = field(default_factory=dict)

    def seen(self, noise: float, rng: np.random.Generator) -> Array:
        """Pixels (m, 2) with noise."""
        return self.exact + rng.normal(0.0, noise, self.exact.shape)

    def readings(self, pixels: Array, sd: float, prior: Array = PRIOR_LENS) -> list[Reading]:
        """The images as readings; `prior` (9,) is what is known of the lens."""
        camera = Camera("phone", *SIZE, prior, np.diag(PRIOR_SD**2), "EXIF")
        first = FirstPoses(
            "photographs 1",
            {f"i{k}": turn for k, turn in enumerate(self.turns)},
            {f"i{k}": place for k, place in enumerate(self.places)},
            dict(enumerate(self.points)), {n: np.eye(3) for n in self.standoffs}, 0.0,
        )  # fmt: skip
        square = 20.0 * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
        return [
            Reading("target", f"i{i}:{j}", (f"p{j}",), (float(x), float(y)), sd, f"i{i}", "",
                    Seen(j, square + np.array([x, y]), 80.0, self.standoffs.get(j, 0.0), camera, first))
            for i, j, (x, y) in zip(self.picture.tolist(), self.point.tolist(), pixels, strict=True)
        ]  # fmt: skip

    def bar(self, a: int, b: int, sd: float = 0.1) -> Reading:
        """A bar of known length from one point to another."""
        length = float(np.linalg.norm(self.points[a] - self.points[b]))
        return Reading("bar", "tape.csv:2", (f"p{a}", f"p{b}"), (length,), sd)

    def network(self, pixels: Array, sd: float, prior: Array = PRIOR_LENS, bars: Sequence[Reading] = ()) -> Network:
        """The rows of the adjustment; without a bar the printed size holds the scale, vaguely."""
        site, blocks = self.site([*self.readings(pixels, sd, prior), *bars])
        return Network(site.unknowns, blocks)

    def site(self, readings: Sequence[Reading]) -> tuple[Site, list[Block]]:
        """What the readings touch, and their rows."""
        site = site_of(Job(Path("job"), stages=[STAGE], points=self._listed()), STAGE, readings)
        return site, blocks_of(readings, site)

    def state(self, network: Network, *, off: float = 0.0, seed: int = 0, lens: Array = PRIOR_LENS) -> State:
        """The truth, or where a start might stand: points and cameras `off` mm from it (sd), turns as much."""
        rng = np.random.default_rng(seed)
        u = network.unknowns
        points = self.points + rng.normal(0.0, 1.0, self.points.shape) * off
        turns = rotation_matrices(rng.normal(0.0, 1.0, self.places.shape) * off / 2500.0) @ self.turns
        places = self.places + rng.normal(0.0, 1.0, self.places.shape) * off
        mine, pictures = _numbers(u.points), _numbers(u.setups)
        return State(
            u, points[mine], np.zeros((0, 2)), np.zeros((0, 2)), turns[pictures], places[pictures], lens[None].copy()
        )

    def _listed(self) -> list[Point]:
        return [Point(f"p{j}") for j in range(len(self.points))]


def _numbers(names: Sequence[str]) -> Index:
    return np.array([int(name[1:]) for name in names])


def bundled(pictures: int, points: int, share: float = 1.0, seed: int = 0) -> Bundled:
    """Every third picture turned; of the points in a picture's frame that share is seen."""
    rng = np.random.default_rng(seed)
    cloud = rng.uniform([-1800.0, -700.0, 0.0], [1800.0, 700.0, 400.0], (points, 3))
    turns, places, picture, point, exact = [], [], [], [], []
    for i in range(pictures):
        a = 2 * np.pi * i / pictures
        place = np.array([4200 * np.cos(a), 3600 * np.sin(a), -1500 + 600 * np.sin(3 * a)])
        forward = rng.normal(0.0, 150.0, 3) - place
        forward /= np.linalg.norm(forward)
        right = np.cross(forward, [0.0, 0.0, 1.0] if i % 3 else [1.0, 0.3, 0.0])
        right /= np.linalg.norm(right)
        turn = np.column_stack([right, np.cross(forward, right), forward])
        pixels = project(TRUE_LENS, (cloud - place) @ turn)
        inside = np.all((pixels > 0) & (pixels < SIZE), axis=1) & (rng.uniform(size=points) < share)
        seen = np.flatnonzero(inside)
        turns.append(turn)
        places.append(place)
        picture.append(np.full(len(seen), i))
        point.append(seen)
        exact.append(pixels[seen])
    return Bundled(
        cloud, np.array(turns), np.array(places), np.concatenate(picture), np.concatenate(point), np.concatenate(exact)
    )
