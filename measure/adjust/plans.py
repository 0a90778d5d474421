"""Arrangements of the points in plan that fit the lengths, the likeliest by sides and order first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from measure.adjust.lateration import CAP, Edges, grow, polish, refine, reseat
from measure.adjust.layout import Layout
from measure.adjust.many_starts import settled_plans
from measure.readings.unknowns import Array, Index
from measure.rigid_fit import rigid_fit

SMALL = 60
"""Nodes up to which several starts and turned-over parts are tried."""


SPARSE = 3.0
"""Lengths for each point under which a wrong arrangement may fit nearly as well, so that rivals are looked for."""
LOTS = 4
"""Further starts from each seed, with points of two lengths put on either side by lot."""
RIVAL_MISFIT = 3.0
"""mm a length: arrangements that miss by so much more than the best are no rivals."""
MOST_RIVALS = 8
ALIKE = 5.0
"""mm of all misfits together: arrangements that differ by less fit alike."""
FAR_OFF = 2
"""Lengths that a right arrangement may miss by more than CAP, as misread; beyond, others are looked for."""
FOLD = 25.0
"""mm by which the lengths of one point may fit it worse, all together, on the other side of their line."""
APART = 15.0
"""mm; arrangements nearer to each other are the same."""


@dataclass(frozen=True)
class Plan:
    """One arrangement: positions (n, 2), the parts that fit either way up, its score by sides and order."""

    xy: Array
    either_way: list[list[int]]
    score: float


def plans(n: int, edges: Edges, clusters: list[tuple[Index, Array]], layout: Layout) -> list[Plan]:
    """Arrangements that fit the lengths, the likeliest first, pointed forward.

    Rivals only where lengths are few, where the first one misses many of them, and where a single point may be folded
    over the line of its tapes.
    """
    if len(clusters) == 1 and len(clusters[0][0]) == n:  # one setup saw them all: there is nothing to arrange
        nodes, seen = clusters[0]
        xy = np.empty((n, 2))
        xy[nodes] = seen
        return [Plan(layout.oriented(xy)[0], [], 0.0)]
    seeds = _seeds(n, edges, clusters)
    starts = [grow(n, edges, clusters, seed) for seed in seeds]
    if n <= SMALL or not starts:
        expected = layout.expected()
        if not np.isnan(layout.factory).any():
            starts.append(layout.factory.copy())
        starts.append(expected)
    sparse = n <= SMALL and not clusters and len(edges.lengths) < SPARSE * n
    if sparse:
        lot = np.random.default_rng(n)  # fixed, so that the same sheet is read alike each time
        starts += [grow(n, edges, clusters, seed, lot) for seed in seeds for _ in range(LOTS)]
    stiff = _with_clusters(edges, clusters)
    filled = [_filled(xy, edges, layout) for xy in starts]
    if n > SMALL:
        return [Plan(layout.oriented(min(filled, key=edges.misfit))[0], [], 0.0)]
    if not sparse:
        ranked = [_ranked(polish(xy, stiff), stiff, layout) for xy in filled]
        best = min(ranked, key=lambda r: r[0])[2].xy
        if len(clusters) > 1 or stiff.far_off(best) <= FAR_OFF:
            chosen, _ = _likeliest(ranked)
            return [chosen, *_folded(chosen, stiff, clusters, layout)]
    near = _near_the_best(settled_plans(stiff, layout.expected(), filled), stiff, layout)
    ranked = [_ranked(xy, stiff, layout) for xy in near]
    chosen, best_fit = _likeliest(ranked)
    found = [chosen]
    for misfit, _, plan in sorted(ranked, key=lambda r: r[0]):
        if _near_enough(misfit, best_fit, stiff) and len(found) <= MOST_RIVALS and _is_new(plan.xy, found):
            found.append(plan)
    found += [p for plan in tuple(found) for p in _folded(plan, stiff, clusters, layout) if _is_new(p.xy, found)]
    return found[: 2 * MOST_RIVALS]


_Ranked = tuple[float, tuple[float, float], Plan]
"""(misfit, how little it is like points.csv, plan)"""


def _ranked(xy: Array, stiff: Edges, layout: Layout) -> _Ranked:
    xy = layout.oriented(reseat(xy, stiff))[0]
    xy, either_way = _turn_over(xy, stiff, layout)
    plan = Plan(xy, either_way, layout.score(xy))
    return round(stiff.misfit(xy), 3), (-plan.score, layout.from_chart(xy)), plan


def _likeliest(ranked: Sequence[_Ranked]) -> tuple[Plan, float]:
    """The plan most like points.csv of those that fit the lengths alike, and the best misfit."""
    best_fit = min(r[0] for r in ranked)
    alike = [r for r in ranked if r[0] < best_fit + ALIKE]  # near enough: the sides decide, then the chart
    return min(alike, key=lambda r: (r[1], r[0]))[2], best_fit


def _near_enough(misfit: float, best_fit: float, edges: Edges) -> bool:
    return misfit <= best_fit + RIVAL_MISFIT * len(edges.lengths)


def _near_the_best(settled: Sequence[Array], edges: Edges, layout: Layout) -> list[Array]:
    """Of settled plans, best first, those that come near the best, each once; all turned forward."""
    best_fit = edges.misfit(settled[0])
    chosen: list[Array] = []
    for xy in settled:
        if len(chosen) > 2 * MOST_RIVALS or not _near_enough(edges.misfit(xy), best_fit, edges):
            break
        xy = layout.oriented(xy)[0]
        if all(_differ(xy, other) for other in chosen):
            chosen.append(xy)
    return chosen


def _is_new(xy: Array, found: Sequence[Plan]) -> bool:
    return all(_differ(xy, plan.xy) for plan in found)


def _folded(plan: Plan, edges: Edges, clusters: Sequence[tuple[Index, Array]], layout: Layout) -> list[Plan]:
    """The plan with one point on the other side of the line of its tapes, for each that fits there nearly as well."""
    xy, found = plan.xy, []
    fixed = {int(i) for nodes, _ in clusters for i in nodes}
    either = {i for part in plan.either_way for i in part}
    for node, (near, lengths) in enumerate(edges.neighbours(len(xy))):
        if node in fixed | either or len(near) < 3:
            continue
        centres = xy[near]
        here = np.minimum(np.abs(np.linalg.norm(xy[node] - centres, axis=1) - lengths), CAP).sum()
        middle = centres.mean(axis=0)
        along = np.linalg.svd(centres - middle, full_matrices=False)[2][0]
        arm = xy[node] - middle
        place = refine(middle + 2 * (arm @ along) * along - arm, centres, lengths)
        there = np.minimum(np.abs(np.linalg.norm(place - centres, axis=1) - lengths), CAP).sum()
        if there > here + FOLD or np.linalg.norm(place - xy[node]) < APART:
            continue
        folded = xy.copy()
        folded[node] = place
        folded = layout.oriented(polish(folded, edges))[0]
        if _differ(folded, xy):
            found.append(Plan(folded, plan.either_way, layout.score(folded)))
    return found


def _differ(a: Array, b: Array) -> bool:
    """Whether two arrangements are more than noise apart, laid over each other, turned over as a whole or not.

    Which way up the whole lies is settled by `Layout.oriented`.
    """
    R, t = rigid_fit(a, b, mirror=True)
    return bool(np.max(np.abs(a @ R.T + t - b)) > APART)


def _seeds(n: int, edges: Edges, clusters: Sequence[tuple[Index, Array]]) -> list[Sequence[int]]:
    """The largest cluster, else up to six broad triangles of three lengths."""
    if clusters and (best := max(clusters, key=lambda c: len(c[0])))[0].size >= 2:
        return [best[0].tolist()]
    near: list[set[int]] = [set() for _ in range(n)]
    length = {}
    for (a, b), d in zip(edges.ends.tolist(), edges.lengths.tolist(), strict=True):
        near[a].add(b)
        near[b].add(a)
        length[frozenset((a, b))] = d
    found: list[tuple[float, tuple[int, int, int]]] = []
    for a, b in map(sorted, length):
        for c in near[a] & near[b]:
            if c > b:
                x, y, z = sorted((length[frozenset(p)] for p in combinations((a, b, c), 2)), reverse=True)
                area2 = (x + y + z) * (y + z - x) * (x + z - y) * (x + y - z)
                found.append((area2, (a, b, c)))
        if len(found) > 3000:
            break
    found.sort(key=lambda f: (-f[0], f[1]))
    chosen: list[Sequence[int]] = []
    for area2, seed in found:
        if area2 <= 0 or len(chosen) == (6 if n <= SMALL else 1):
            break
        if all(len(set(seed) & set(c)) < 2 for c in chosen):  # a misread length spoils one seed, not all
            chosen.append(seed)
    return chosen


def _filled(xy: Array, edges: Edges, layout: Layout) -> Array:
    """Give nodes that could not be placed a first position: the expected plan laid over what is placed."""
    xy = xy.copy()
    missing = np.isnan(xy[:, 0])
    if not missing.any():
        return xy
    placed = ~missing
    expected = layout.expected()
    both = placed & ~np.isnan(expected[:, 0])
    if both.sum() >= 2:
        R, t = rigid_fit(expected[both], xy[both], mirror=True)
        xy[missing] = (expected @ R.T + t)[missing]
    elif not placed.any():
        xy[missing] = expected[missing]
    middle = np.nanmean(xy, axis=0) if not np.isnan(xy).all() else np.zeros(2)
    still = np.flatnonzero(np.isnan(xy[:, 0]))
    spread = np.column_stack([np.cos(2.4 * still), np.sin(2.4 * still)]) * (300.0 + 70.0 * still[:, None])
    xy[still] = middle + spread
    return xy


def _with_clusters(edges: Edges, clusters: Sequence[tuple[Index, Array]]) -> Edges:
    """The edges, and those that make each cluster stiff."""
    ends, lengths = [edges.ends], [edges.lengths]
    for nodes, local in clusters:
        i, j = np.triu_indices(len(nodes), 1)
        ends.append(np.column_stack([nodes[i], nodes[j]]))
        lengths.append(np.linalg.norm(local[i] - local[j], axis=1))
    return Edges(np.concatenate(ends), np.concatenate(lengths))


def _turn_over(xy: Array, edges: Edges, layout: Layout) -> tuple[Array, list[list[int]]]:
    """Turn over each part that hangs on two nodes only, where points.csv says so; return those it cannot tell."""
    n = len(xy)
    near = [0] * n
    for a, b in edges.ends.tolist():
        near[a] |= 1 << b
        near[b] |= 1 << a
    unsure: list[list[int]] = []
    for a, b in combinations(range(n), 2):
        parts = _parts_without(near, n, (1 << a) | (1 << b))
        if len(parts) < 2:
            continue
        parts.sort(key=len)
        for part in parts[:-1]:
            reach = 0
            for i in part:
                reach |= near[i]
            if not (reach >> a & 1 and reach >> b & 1):
                continue  # it does not hang on the two at all
            flipped = xy.copy()
            axis = xy[b] - xy[a]
            axis = axis / max(float(np.linalg.norm(axis)), 1e-9)
            arm = xy[part] - xy[a]
            flipped[part] = xy[a] + 2 * np.outer(arm @ axis, axis) - arm
            if np.max(np.abs(flipped[part] - xy[part])) < 20.0:
                continue  # in line with its two nodes: turned over it is the same
            gain = layout.score(layout.oriented(flipped)[0]) - layout.score(layout.oriented(xy)[0])
            if gain > 0:
                xy = flipped
            elif gain == 0 and part not in unsure:
                unsure.append(part)
    return layout.oriented(xy)[0], unsure


def _parts_without(near: list[int], n: int, removed: int) -> list[list[int]]:
    """Connected parts of the graph once some nodes are taken out; nodes as bits."""
    left = ((1 << n) - 1) & ~removed
    parts = []
    while left:
        grown = frontier = left & -left
        while frontier:
            reached = 0
            while frontier:
                bit = frontier & -frontier
                reached |= near[bit.bit_length() - 1]
                frontier ^= bit
            frontier = reached & left & ~grown
            grown |= frontier
        parts.append([i for i in range(n) if grown >> i & 1])
        left &= ~grown
    return parts
