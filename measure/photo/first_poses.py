"""First poses of photographs from the targets they share, safe against the two-fold tilt of a small square.

From one photograph a target's centre is known in space without doubt (`measure.photo.square`); two photographs that
share three centres not in line stand to each other as those centres do. So nothing rests on the tilt of a single
square, but for a photograph that shares only one or two with the rest: there both tilts are tried on all it shares.
Sizes come from the printed side for now; the adjustment takes them from measured lengths.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from measure.photo.lens import rays
from measure.photo.square import CORNERS, poses
from measure.rigid_fit import rigid_fit
from measure.rotation import cross_matrices, rotation_matrices

Array = NDArray[np.float64]
Index = NDArray[np.int64]

DEPTH_SD = 0.006
"""Relative sd of a distance told from the size of one square, wrong focal length and printing apart."""
RAY_SD = 0.002
"""sd of a direction, in X/Z, while the lens is not known well."""
AGREES = 0.05
"""Share of its distance that a centre may stand off and still agree with a pose."""
IN_LINE = 0.05
"""Second singular value of shared centres over the first, under which they lie in a line."""
SURE = 3.0
"""Ratio of the two misfits from which the tilt of a single square may be believed,"""
LARGE = 100.0
"""and its side in pixels."""
MOST_TRIED = 8
"""Centres that triples are drawn from."""


@dataclass(frozen=True)
class View:
    """The targets of one photograph: their numbers, corners (k, 4, 2) px and printed sides (k,) mm; its lens (9,)."""

    name: str
    numbers: Sequence[int]
    corners: Array
    sides: Array
    lens: Array


@dataclass(frozen=True)
class FirstPoses:
    """Photographs joined through their targets, in axes of their own; mm by the printed sides.

    `rotations` block_from_camera and `centres` by photograph; `places` and `sheets` (block_from_sheet) by target.
    """

    name: str
    rotations: dict[str, Array]
    centres: dict[str, Array]
    places: dict[int, Array]
    sheets: dict[int, Array]
    misfit: float  # rms of the centres' directions, X/Z


@dataclass(frozen=True)
class _Sights:
    """Every target image, one a row: its view and target number, and what the view alone tells of it."""

    view: Index
    target: Index
    ray: Array  # (m, 2)
    corner_rays: Array  # (m, 4, 2)
    centre: Array  # (m, 3) in the camera
    turns: Array  # (m, 2, 3, 3) camera_from_sheet
    doubt: Array  # (m,) misfit of the better turn over that of the other
    size: Array  # (m,) side in pixels
    half: Array  # (m,) mm


def first_poses(views: Sequence[View]) -> tuple[list[FirstPoses], list[str]]:
    """Blocks of photographs that hang together, the largest first, and the photographs that hang with none."""
    numbers = sorted({n for view in views for n in view.numbers})
    sights = _sights(views, numbers)
    left = [i for i in range(len(views)) if np.any(sights.view == i)]
    blocks: list[FirstPoses] = []
    while True:
        posed = _grow(sights, left, len(numbers))
        if posed is None:
            break
        rotations, centres, places, known = posed
        mine = sorted(rotations)
        name = f"photographs {len(blocks) + 1}"
        blocks.append(FirstPoses(
            name, {views[i].name: rotations[i] for i in mine}, {views[i].name: centres[i] for i in mine},
            {numbers[k]: places[k] for k in np.flatnonzero(known)},
            {numbers[k]: turn for k, turn in _sheet_turns(sights, rotations).items()},
            _misfit(sights, rotations, centres, places),
        ))  # fmt: skip
        left = [i for i in left if i not in rotations]
    order = sorted(blocks, key=lambda b: -len(b.rotations))
    lonely = [view.name for view in views if not any(view.name in b.rotations for b in blocks)]
    return order, lonely


def _sights(views: Sequence[View], numbers: Sequence[int]) -> _Sights:
    number_idx = {n: i for i, n in enumerate(numbers)}
    view = np.repeat(np.arange(len(views)), [len(v.numbers) for v in views])
    target = np.array([number_idx[n] for v in views for n in v.numbers], dtype=np.int64)
    corners = np.concatenate([v.corners.reshape(-1, 4, 2) for v in views]) if views else np.zeros((0, 4, 2))
    half = np.concatenate([v.sides for v in views]) / 2 if views else np.zeros(0)
    seen = [rays(v.lens, v.corners.reshape(-1, 2)).reshape(-1, 4, 2) for v in views]
    corner_rays = np.concatenate(seen) if views else np.zeros((0, 4, 2))
    centre, turns, misfit = poses(corner_rays, half)
    size = np.mean(np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2), axis=1)
    return _Sights(
        view, target, centre[:, :2] / centre[:, 2:], corner_rays, centre, turns,
        misfit[:, 0] / np.maximum(misfit[:, 1], 1e-12), size, half,
    )  # fmt: skip


class _Places:
    """Target centres, gathered from every posed view as information (3, 3) a target; distances weigh by their doubt."""

    def __init__(self, count: int) -> None:
        self.information = np.zeros((count, 3, 3))
        self.vector = np.zeros((count, 3))

    def add(self, sights: _Sights, rows: Index, R: Array, C: Array) -> None:
        """What the rows of one view, posed at R (block_from_camera) and C, say of their targets."""
        centre = sights.centre[rows] @ R.T
        depth = np.linalg.norm(centre, axis=1)
        along = centre / depth[:, None]
        across = 1.0 / (RAY_SD * depth) ** 2
        deep = 1.0 / (DEPTH_SD * depth) ** 2
        W = across[:, None, None] * np.eye(3) + (deep - across)[:, None, None] * along[:, :, None] * along[:, None, :]
        np.add.at(self.information, sights.target[rows], W)
        np.add.at(self.vector, sights.target[rows], np.einsum("kij,kj->ki", W, centre + C))

    def known(self) -> NDArray[np.bool_]:
        """Targets that some posed view saw."""
        return np.asarray(self.information[:, 0, 0] > 0)

    def places(self) -> Array:
        """Positions (targets, 3); 0 where unknown."""
        known = self.known()
        out = np.zeros_like(self.vector)
        out[known] = np.linalg.solve(self.information[known], self.vector[known][:, :, None])[:, :, 0]
        return out


Posed = tuple[dict[int, Array], dict[int, Array], Array, NDArray[np.bool_]]


def _grow(sights: _Sights, left: Sequence[int], count: int) -> Posed | None:
    """One block: from the best-connected view outwards; None where no two views share enough."""
    rows_of = {i: np.flatnonzero(sights.view == i) for i in left}
    shared = np.bincount(sights.target[np.isin(sights.view, left)], minlength=count)
    seeds = sorted(left, key=lambda i: (-int(np.sum(shared[sights.target[rows_of[i]]] > 1)), i))
    for seed in seeds[:3]:
        rotations, centres = {seed: np.eye(3)}, {seed: np.zeros(3)}
        gathered = _Places(count)
        gathered.add(sights, rows_of[seed], rotations[seed], centres[seed])
        while True:
            waiting = [i for i in left if i not in rotations]
            known, places = gathered.known(), gathered.places()
            waiting.sort(key=lambda i: (-int(known[sights.target[rows_of[i]]].sum()), i))
            for i in waiting:
                rows = rows_of[i][known[sights.target[rows_of[i]]]]
                pose = _pose(sights, rows, places)
                if pose is None:
                    pose = _pose_by_tilt(sights, rows, places, rotations)
                if pose is not None:
                    rotations[i], centres[i] = pose
                    gathered.add(sights, rows_of[i], *pose)
                    break
            else:
                break
        if len(rotations) > 1:
            return _settled(sights, rows_of, rotations, centres, count)
    return None


def _settled(
    sights: _Sights, rows_of: dict[int, Index], rotations: dict[int, Array], centres: dict[int, Array], count: int
) -> Posed:
    """Places from all views, each view again from the places, in turn: what the first views got wrong fades."""
    agrees = np.ones(len(sights.view), dtype=bool)
    for _ in range(4):
        gathered = _Places(count)
        for i in sorted(rotations):
            gathered.add(sights, rows_of[i][agrees[rows_of[i]]], rotations[i], centres[i])
        places, known = gathered.places(), gathered.known()
        for i in sorted(rotations):
            rows = rows_of[i][known[sights.target[rows_of[i]]]]
            at = places[sights.target[rows]]
            rotations[i], centres[i] = _resect(sights.ray[rows], at, rotations[i], centres[i])
            arm = (at - centres[i]) @ rotations[i]
            gap = np.linalg.norm(sights.ray[rows] - arm[:, :2] / np.maximum(arm[:, 2:], 1.0), axis=1)
            agrees[rows] = gap < max(AGREES, 4 * float(np.median(gap))) if len(gap) else True
    return rotations, centres, places, known


def _pose(sights: _Sights, rows: Index, places: Array) -> tuple[Array, Array] | None:
    """A view's pose from three or more known centres not in line, whatever single ones say otherwise."""
    if len(rows) < 3:
        return None
    known = places[sights.target[rows]]
    spread = np.linalg.svd(known - known.mean(axis=0), compute_uv=False)
    if spread[1] < IN_LINE * max(spread[0], 1e-9):
        return None
    seen = sights.centre[rows]
    tolerance = AGREES * np.linalg.norm(seen, axis=1)
    largest = np.argsort(-sights.size[rows], kind="stable")[:MOST_TRIED]
    trios = np.array(list(combinations(largest.tolist(), 3)))
    R, t = rigid_fit(seen[trios], known[trios])
    gap = np.linalg.norm(np.einsum("nij,kj->nki", R, seen) + t[:, None] - known, axis=2) / tolerance
    agree = np.sum(gap < 1.0, axis=1)
    best = int(np.lexsort((np.minimum(gap, 1.0).sum(axis=1), -agree))[0])
    if agree[best] < 3:
        return None
    R, t = R[best], t[best]
    near = np.linalg.norm(seen @ R.T + t - known, axis=1) < tolerance
    R, t = rigid_fit(seen[near], known[near])
    return _resect(sights.ray[rows[near]], known[near], R, t)


def _resect(ray: Array, known: Array, R: Array, C: Array) -> tuple[Array, Array]:
    """The pose improved on directions (k, 2) to known centres (k, 3), large misfits weighing less; four or more."""
    if len(ray) < 4:
        return R, C
    for _ in range(8):
        arm = (known - C) @ R
        x, y, z = arm.T
        if np.any(z <= 1.0):
            break
        gap = ray - arm[:, :2] / arm[:, 2:]
        scale = max(1.5 * float(np.median(np.abs(gap))), 1e-5)
        weight = 1.0 / np.sqrt(1.0 + (np.linalg.norm(gap, axis=1) / (3 * scale)) ** 2)
        by_arm = np.zeros((len(ray), 2, 3))
        by_arm[:, 0, 0] = by_arm[:, 1, 1] = 1 / z
        by_arm[:, 0, 2], by_arm[:, 1, 2] = -x / z**2, -y / z**2
        # the camera turned by w in its own axes sees arm - w x arm = arm + arm x w
        J = np.concatenate([by_arm @ cross_matrices(arm), -by_arm @ R.T[None]], axis=2).reshape(-1, 6)
        root = np.sqrt(np.repeat(weight, 2))
        scales = np.array([1.0, 1.0, 1.0, 1e3, 1e3, 1e3])
        step = np.linalg.lstsq(J * scales * root[:, None], gap.ravel() * root, rcond=1e-9)[0] * scales
        angle = float(np.linalg.norm(step[:3]))
        if angle > 0.5:
            step = step * (0.5 / angle)
        R, C = R @ rotation_matrices(step[None, :3])[0], C + step[3:]
        if np.max(np.abs(step / scales)) < 1e-5:  # the adjustment does the rest
            break
    return R, C


def _pose_by_tilt(
    sights: _Sights, rows: Index, places: Array, rotations: dict[int, Array]
) -> tuple[Array, Array] | None:
    """A view that shares one or two targets, or centres in line: the tilt that suits all it shares."""
    if not len(rows):
        return None
    sheets = _sheet_turns(sights, rotations)
    flat = np.column_stack([CORNERS, np.zeros(4)])
    found: list[tuple[float, Array, Array]] = []
    for row in rows:
        sheet = sheets[int(sights.target[row])]
        for turn in sights.turns[row]:
            R = sheet @ turn.T
            C = places[sights.target[row]] - R @ sights.centre[row]
            gaps = []
            for other in rows:
                k = int(sights.target[other])
                corner = flat * sights.half[other] @ sheets[k].T + places[k]
                seen = (corner - C) @ R
                gaps.append(seen[:, :2] / np.maximum(seen[:, 2:], 1.0) - sights.corner_rays[other])
            found.append((float(np.sqrt(np.mean(np.square(gaps)))), R, C))
    found.sort(key=lambda f: f[0])
    if len(rows) == 1 and (sights.doubt[rows[0]] * SURE > 1.0 or sights.size[rows[0]] < LARGE):
        return None
    return found[0][1], found[0][2]


def _sheet_turns(sights: _Sights, rotations: dict[int, Array]) -> dict[int, Array]:
    """block_from_sheet of every target a posed view sees: of all tilts told, the one that most views come near."""
    posed = np.flatnonzero(np.isin(sights.view, list(rotations)))
    turned = np.stack([rotations[int(sights.view[r])] @ sights.turns[r] for r in posed])  # (m, 2, 3, 3)
    chosen = {}
    for k in np.unique(sights.target[posed]):
        mine = turned[sights.target[posed] == k]
        normals = mine[..., 2].reshape(-1, 3)
        agree = np.max((normals @ normals.T).reshape(len(normals), -1, 2), axis=2)
        weight = sights.size[posed][sights.target[posed] == k]
        best = int(np.argmax(np.round(agree @ weight, 9)))
        chosen[int(k)] = mine.reshape(-1, 3, 3)[best]
    return chosen


def _misfit(sights: _Sights, rotations: dict[int, Array], centres: dict[int, Array], places: Array) -> float:
    gaps = []
    for i in sorted(rotations):
        rows = np.flatnonzero(sights.view == i)
        arm = (places[sights.target[rows]] - centres[i]) @ rotations[i]
        gaps.append(sights.ray[rows] - arm[:, :2] / np.where(arm[:, 2:] > 1.0, arm[:, 2:], 1.0))
    return float(np.sqrt(np.median(np.sum(np.concatenate(gaps) ** 2, axis=1))))
