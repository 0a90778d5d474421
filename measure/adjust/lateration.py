"""Plan positions from lengths alone: points placed one by one, clusters joined, the whole polished.

Nodes are numbered 0..n-1; edges are (k, 2) node numbers with lengths (k,) in mm. Positions (n, 2) are NaN until
placed. Every step is robust against single misread lengths: candidates are judged by a capped misfit, never by
squares.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from measure.readings.unknowns import Array, Index
from measure.rigid_fit import rigid_fit

CAP = 25.0
"""mm; beyond this a length counts as misread and its misfit grows no further."""


@dataclass(frozen=True)
class Edges:
    """Lengths between nodes."""

    ends: Index  # (k, 2)
    lengths: Array  # (k,) mm

    def neighbours(self, n: int) -> list[tuple[Index, Array]]:
        """For each of n nodes: the nodes at the other end, and the lengths."""
        both = np.concatenate([self.ends, self.ends[:, ::-1]])
        lengths = np.tile(self.lengths, 2)
        order = np.argsort(both[:, 0], kind="stable")
        both, lengths = both[order], lengths[order]
        cut = np.searchsorted(both[:, 0], np.arange(n + 1))
        return [(both[a:b, 1], lengths[a:b]) for a, b in pairwise(cut.tolist())]

    def misfit(self, xy: Array) -> float:
        """Capped sum of absolute misfits in mm; edges to nodes not placed cost the cap."""
        error = np.abs(np.linalg.norm(xy[self.ends[:, 0]] - xy[self.ends[:, 1]], axis=1) - self.lengths)
        return float(np.minimum(np.nan_to_num(error, nan=CAP), CAP).sum())

    def far_off(self, xy: Array) -> int:
        """How many edges miss by more than CAP."""
        error = np.linalg.norm(xy[self.ends[:, 0]] - xy[self.ends[:, 1]], axis=1) - self.lengths
        return int((np.abs(error) > CAP).sum())


def crossings(centres: Array, radii: Array) -> Array:
    """Where circles cross, pair by pair: (pairs, 2 sides, 2). Circles that miss give their nearest point twice."""
    first, second = np.triu_indices(len(centres), 1)
    p, q, r, s = centres[first], centres[second], radii[first], radii[second]
    leg = q - p
    d = np.maximum(np.linalg.norm(leg, axis=1), 1e-9)
    along = (d**2 + r**2 - s**2) / (2 * d)
    across = np.sqrt(np.maximum(r**2 - along**2, 0.0))
    unit = leg / d[:, None]
    foot = p + along[:, None] * unit
    side = across[:, None] * np.column_stack([-unit[:, 1], unit[:, 0]])
    return np.stack([foot + side, foot - side], axis=1)


def candidates(centres: Array, radii: Array) -> Array:
    """Positions (c, 2) a node may have, best first, by capped misfit to all its circles."""
    if len(centres) > 8:  # the eight widest apart serve; all pairs of many would be slow
        spread = np.argsort(-np.linalg.norm(centres - centres.mean(axis=0), axis=1), kind="stable")[:8]
        found = crossings(centres[spread], radii[spread]).reshape(-1, 2)
    else:
        found = crossings(centres, radii).reshape(-1, 2)
    error = np.abs(np.linalg.norm(found[:, None] - centres, axis=2) - radii)
    cost = np.round(np.minimum(error, CAP).sum(axis=1), 3)
    # alike where every third length is out by more than the cap (a rough network): then the nearer one
    return found[np.lexsort((error.sum(axis=1), cost))]


def refine(place: Array, centres: Array, radii: Array) -> Array:
    """A node's position (2,) by reweighted least squares (least absolute deviations), six steps."""
    for _ in range(6):
        leg = place - centres
        d = np.maximum(np.linalg.norm(leg, axis=1), 1e-9)
        J, miss = leg / d[:, None], radii - d
        w = 1.0 / np.maximum(np.abs(miss), 1.0)
        N = (J * w[:, None]).T @ J + 1e-9 * np.eye(2)
        place = place + np.linalg.solve(N, J.T @ (w * miss))
    return np.asarray(place)


def grow(
    n: int,
    edges: Edges,
    clusters: Sequence[tuple[Index, Array]],
    seed: Sequence[int],
    either: np.random.Generator | None = None,
) -> Array:
    """Positions (n, 2) grown from a seed: the nodes of one cluster, or a triangle of three edges.

    Clusters are (nodes, positions) known rigidly; they join where two of their points are placed. A node that only two
    lengths hold is put on the side where it lies farther from what is placed already, or on either side by lot where
    `either` is given; `measure.adjust.starting` compares what comes of it.
    """
    xy = np.full((n, 2), np.nan)
    neighbours = edges.neighbours(n)
    home = next((c for c in clusters if set(seed) <= set(c[0].tolist())), None)
    if home is not None:
        xy[home[0]] = home[1]
    else:
        a, b, c = seed
        length = {tuple(sorted(e)): v for e, v in zip(edges.ends.tolist(), edges.lengths.tolist(), strict=True)}
        ab, ac, bc = (length[tuple(sorted(e))] for e in ((a, b), (a, c), (b, c)))
        xy[a], xy[b] = (0.0, 0.0), (ab, 0.0)
        xy[c] = crossings(xy[[a, b]], np.array([ac, bc]))[0, 0]
    placed = ~np.isnan(xy[:, 0])
    held_by = np.array([int(placed[near].sum()) for near, _ in neighbours])

    def settle(nodes: Sequence[int]) -> None:
        for node in nodes:
            placed[node] = True
            held_by[neighbours[node][0]] += 1

    while not placed.all():
        joined = _join_cluster(xy, placed, clusters)
        if joined is not None:
            settle(joined)
            continue
        waiting = np.where(placed, -1, held_by)
        node = int(np.argmax(waiting))
        if waiting[node] < 2:
            joined = _join_by_lengths(xy, placed, clusters, edges)
            if joined is None:
                return xy
            settle(joined)
            continue
        near, lengths = neighbours[node]
        on = placed[near]
        centres, radii = xy[near[on]], lengths[on]
        found = candidates(centres, radii)
        if len(centres) == 2:
            middle = np.nanmean(xy, axis=0)
            farther = int(np.argmax(np.linalg.norm(found - middle, axis=1)))
            xy[node] = found[farther if either is None else int(either.integers(len(found)))]
        else:
            xy[node] = refine(found[0], centres, radii)
        settle([node])
    return xy


def _join_cluster(xy: Array, placed: NDArray[np.bool_], clusters: Sequence[tuple[Index, Array]]) -> list[int] | None:
    """Lay a cluster over two or more points that are placed already."""
    for nodes, local in clusters:
        shared = placed[nodes]
        if shared.sum() >= 2 and not shared.all():
            R, t = rigid_fit(local[shared], xy[nodes[shared]])
            xy[nodes[~shared]] = local[~shared] @ R.T + t
            return [int(v) for v in nodes[~shared]]
    return None


def _join_by_lengths(
    xy: Array, placed: NDArray[np.bool_], clusters: Sequence[tuple[Index, Array]], edges: Edges
) -> list[int] | None:
    """Join a cluster that only lengths tie to what is placed: three or more, from 24 headings."""
    for nodes, local in clusters:
        if placed[nodes].any():
            continue
        slot = {int(v): i for i, v in enumerate(nodes)}
        ties = [
            (b if a in slot else a, slot[a] if a in slot else slot[b], d)
            for (a, b), d in zip(edges.ends.tolist(), edges.lengths.tolist(), strict=True)
            if (a in slot and placed[b]) or (b in slot and placed[a])
        ]
        if len(ties) < 3:
            continue
        outer, inner = xy[[t[0] for t in ties]], local[[t[1] for t in ties]]
        lengths = np.array([t[2] for t in ties])
        best, laid = np.inf, None
        for heading in np.linspace(0.0, 2 * np.pi, 24, endpoint=False):
            for side in candidates(outer - _turned(inner, heading), lengths)[:4]:
                pose = _settle_pose(np.array([heading, *side]), inner, outer, lengths)
                seen = _turned(inner, pose[0]) + pose[1:]
                cost = np.minimum(np.abs(np.linalg.norm(seen - outer, axis=1) - lengths), CAP).sum()
                if cost < best - 1e-9:
                    best, laid = cost, pose
        if laid is not None:
            xy[nodes] = _turned(local, laid[0]) + laid[1:]
            return [int(v) for v in nodes]
    return None


def _turned(xy: Array, heading: float) -> Array:
    c, s = np.cos(heading), np.sin(heading)
    return np.asarray(xy @ np.array([[c, s], [-s, c]]))


def _settle_pose(pose: Array, inner: Array, outer: Array, lengths: Array) -> Array:
    for _ in range(15):
        arm = _turned(inner, pose[0])
        leg = arm + pose[1:] - outer
        d = np.maximum(np.linalg.norm(leg, axis=1), 1e-9)
        unit = leg / d[:, None]
        spin = unit[:, 1] * arm[:, 0] - unit[:, 0] * arm[:, 1]
        J, miss = np.column_stack([spin, unit]), lengths - d
        pose = pose + np.linalg.lstsq(J, miss, rcond=1e-12)[0]
    return pose


def polish(xy: Array, edges: Edges, steps: int = 40) -> Array:
    """All positions (n, 2) together by damped, reweighted least absolute deviations.

    Beyond CAP a misfit counts by its logarithm only: the plain sum of one length misread by 1 m can be larger than that
    of a wrong arrangement which spreads it over several.
    """
    n, ends = len(xy), edges.ends
    damping = 1e-3
    total = _total(xy, edges)
    for _ in range(steps):
        leg = xy[ends[:, 1]] - xy[ends[:, 0]]
        d = np.maximum(np.linalg.norm(leg, axis=1), 1e-9)
        miss = edges.lengths - d
        size = np.maximum(np.abs(miss), 0.5)
        root = 1.0 / np.sqrt(size * np.maximum(size / CAP, 1.0))
        unit = leg / d[:, None] * root[:, None]
        by_node = np.zeros((len(ends), n, 2))
        k = np.arange(len(ends))
        by_node[k, ends[:, 1]], by_node[k, ends[:, 0]] = unit, -unit
        J = by_node.reshape(len(ends), 2 * n)
        N = J.T @ J
        N[np.diag_indices(2 * n)] += damping * np.diag(N) + 1e-9
        trial = xy + np.linalg.solve(N, J.T @ (miss * root)).reshape(n, 2)
        then = _total(trial, edges)
        if then < total:
            gain, total = total - then, then
            xy, damping = trial, max(damping / 10, 1e-9)
            if gain < 1e-4:
                break
        else:
            damping *= 10
            if damping > 1e6:
                break
    return xy


def reseat(xy: Array, edges: Edges) -> Array:
    """Polished positions (n, 2) with single nodes lifted out of a wrong place where all but few lengths fit another."""
    neighbours = edges.neighbours(len(xy))
    for _ in range(4):
        moved = xy.copy()
        for node, (near, lengths) in enumerate(neighbours):
            if len(near) < 3:
                continue
            centres = moved[near]
            here = np.abs(np.linalg.norm(moved[node] - centres, axis=1) - lengths)
            if np.max(here) < CAP:
                continue
            place = refine(candidates(centres, lengths)[0], centres, lengths)
            there = np.abs(np.linalg.norm(place - centres, axis=1) - lengths)
            if np.minimum(there, CAP).sum() < np.minimum(here, CAP).sum() - CAP / 5:
                moved[node] = place
        if np.array_equal(moved, xy):
            break
        moved = polish(moved, edges)
        if edges.misfit(moved) >= edges.misfit(xy):
            break
        xy = moved
    return xy


def _total(xy: Array, edges: Edges) -> float:
    leg = xy[edges.ends[:, 0]] - xy[edges.ends[:, 1]]
    miss = np.abs(np.linalg.norm(leg, axis=1) - edges.lengths)
    return float(np.where(miss > CAP, CAP * (1.0 + np.log(np.maximum(miss, CAP) / CAP)), miss).sum())
