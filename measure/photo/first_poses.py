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
ROUGHLY, WELL = 3, 8
"""Steps at most that improve a pose: when it joins the block, and once all have."""


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
        """What the rows say of their targets, their views posed at R (..., 3, 3) block_from_camera and C (..., 3)."""
        centre = (R @ sights.centre[rows][:, :, None])[:, :, 0]
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
    posed = sorted(rotations)
    R, C = np.array([rotations[i] for i in posed]), np.array([centres[i] for i in posed])
    most = max(len(rows_of[i]) for i in posed)
    rows = np.zeros((len(posed), most), dtype=np.int64)  # of each view, filled up
    there = np.zeros((len(posed), most), dtype=bool)
    for k, i in enumerate(posed):
        rows[k, : len(rows_of[i])], there[k, : len(rows_of[i])] = rows_of[i], True
    agrees = there
    for _ in range(4):
        gathered = _Places(count)
        view, column = np.nonzero(agrees)
        gathered.add(sights, rows[view, column], R[view], C[view])
        places, known = gathered.places(), gathered.known()
        seen = there & known[sights.target[rows]]
        at, ray = places[sights.target[rows]], sights.ray[rows]
        R, C = _resect(ray, at, seen, R, C, WELL)
        arm = (at - C[:, None]) @ R
        gap = np.linalg.norm(ray - arm[..., :2] / np.maximum(arm[..., 2:], 1.0), axis=2)
        agrees = there & (~seen | (gap < np.maximum(AGREES, 4 * _median(gap, seen))[:, None]))
    return dict(zip(posed, R, strict=True)), dict(zip(posed, C, strict=True)), places, known


def _median(values: Array, counts: NDArray[np.bool_]) -> Array:
    """Medians (v,) along rows (v, n) of those that count; 0 where none does."""
    ordered = np.sort(np.where(counts, values, np.inf), axis=1)
    n, each = counts.sum(axis=1), np.arange(len(values))
    middle = (ordered[each, np.maximum(n - 1, 0) // 2] + ordered[each, np.minimum(n // 2, values.shape[1] - 1)]) / 2
    return np.where(n > 0, middle, 0.0)


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
    every = np.ones((1, int(near.sum())), dtype=bool)
    R, t = _resect(sights.ray[rows[near]][None], known[near][None], every, R[None], t[None], ROUGHLY)
    return R[0], t[0]


def _resect(ray: Array, known: Array, seen: NDArray[np.bool_], R: Array, C: Array, steps: int) -> tuple[Array, Array]:
    """Poses (v, 3, 3), (v, 3) improved on directions (v, k, 2) to known centres (v, k, 3), where `seen` (v, k).

    Large misfits weigh less. A view of fewer than four, or one with a centre behind it, stays as it is.
    """
    R, C = R.copy(), C.copy()
    scales = np.array([1.0, 1.0, 1.0, 1e3, 1e3, 1e3])
    on = np.flatnonzero(seen.sum(axis=1) >= 4)
    for _ in range(steps):
        arm = (known[on] - C[on][:, None]) @ R[on]
        ahead = np.all((arm[..., 2] > 1.0) | ~seen[on], axis=1)
        on, arm = on[ahead], arm[ahead]
        if not len(on):
            break
        counts = seen[on]
        x, y, z = arm[..., 0], arm[..., 1], np.where(counts, arm[..., 2], 1.0)
        gap = np.where(counts[..., None], ray[on] - arm[..., :2] / z[..., None], 0.0)
        both = np.repeat(counts, 2, axis=1)
        scale = np.maximum(1.5 * _median(np.abs(gap).reshape(both.shape), both), 1e-5)
        weight = counts / (1.0 + (np.linalg.norm(gap, axis=2) / (3 * scale[:, None])) ** 2)
        by_arm = np.zeros((*arm.shape[:2], 2, 3))
        by_arm[..., 0, 0] = by_arm[..., 1, 1] = 1 / z
        by_arm[..., 0, 2], by_arm[..., 1, 2] = -x / z**2, -y / z**2
        # the camera turned by w in its own axes sees arm - w x arm = arm + arm x w
        turned = by_arm @ cross_matrices(arm.reshape(-1, 3)).reshape(*arm.shape[:2], 3, 3)
        moved = -by_arm @ np.swapaxes(R[on], 1, 2)[:, None]
        J = (np.concatenate([turned, moved], axis=3) * scales).reshape(len(on), -1, 6)
        weighted = np.swapaxes(J * np.repeat(weight, 2, axis=1)[..., None], 1, 2)
        N = weighted @ J
        N += 1e-12 * np.trace(N, axis1=1, axis2=2)[:, None, None] * np.eye(6)  # centres in line hold no turn about it
        step = np.linalg.solve(N, weighted @ gap.reshape(len(on), -1, 1))[:, :, 0] * scales
        step *= np.minimum(1.0, 0.5 / np.maximum(np.linalg.norm(step[:, :3], axis=1), 1e-12))[:, None]
        R[on], C[on] = R[on] @ rotation_matrices(step[:, :3]), C[on] + step[:, 3:]
        on = on[np.max(np.abs(step / scales), axis=1) >= 1e-5]  # the adjustment does the rest
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
