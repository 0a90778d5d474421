"""Starting values from readings alone: no coordinates are needed, and one misread length does no harm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from measure.adjust.from_photographs import PhotoBlocks, with_sheets
from measure.adjust.lateration import Edges, grow, polish, reseat, rigid_fit
from measure.adjust.layout import Layout
from measure.readings.kind import Site, point_of
from measure.readings.reading import Reading
from measure.readings.tape import corrected, tape_of
from measure.readings.unknowns import Array, Index, State

BASE_LINE_TELLS = 50.0
"""mm by which marks off a base line must fit one image worse than the other before they tell the two apart."""
SMALL = 60
"""Nodes up to which several starts and turned-over parts are tried."""


SPARSE = 3.0
"""Lengths for each point under which a wrong arrangement may fit nearly as well, so that rivals are looked for."""
LOTS = 4
"""Further starts from each seed, with points of two lengths put on either side by lot."""
RIVAL_MISFIT = 3.0
"""mm a length: arrangements that miss by so much more than the best are no rivals."""
MOST_RIVALS = 5
APART = 15.0
"""mm; arrangements nearer to each other are the same."""
LIFTS = (-250.0, -120.0, -60.0, 60.0, 120.0, 250.0)
"""mm, other heights tried for setups that only lengths join."""


@dataclass(frozen=True)
class Start:
    """Starting values, and the points that fit their lengths equally well turned over.

    `floating`: (points, setups) whose height against the rest is no more than supposed; see `at_other_heights`.
    `rivals`: other arrangements that come near the lengths, and `scores` of `state` and of each of them by the sides
    and the order of points.csv.
    """

    state: State
    either_way: tuple[tuple[str, ...], ...]
    floating: tuple[tuple[Index, Index], ...] = ()
    rivals: tuple[State, ...] = ()
    scores: tuple[float, ...] = (0.0,)

    def at_other_heights(self) -> list[State]:
        """The state with each floating setup lifted or lowered: lengths between flat groups fit two ways up."""
        states = []
        for points, setups in self.floating:
            for lift in LIFTS:
                positions, origins = self.state.positions.copy(), self.state.origins.copy()
                positions[points, 2] += lift
                origins[setups, 2] += lift
                states.append(replace(self.state, positions=positions, origins=origins))
        return states


def starting_state(site: Site, readings: Sequence[Reading]) -> Start:
    """A state near the solution for every unknown of the site.

    Points that the readings do not hold get some position; `measure.adjust.held` finds them.
    """
    u = site.unknowns
    n = len(u.points)
    heights = _heights(site, readings)
    photos = PhotoBlocks(site, readings)
    setups = _setups_in_space(site, readings, heights, photos)
    layout = Layout.of(site.job, u.points)
    edges = _edges(site, readings, heights)
    clusters = [(s.nodes, s.xyz[:, :2]) for s in setups]
    marked = [r for r in readings if r.kind == "marks"]
    base_line = None
    if marked:
        nodes = np.array([u.point_idx[point_of(r.names[0])] for r in marked])
        nodes, first = np.unique(nodes, return_index=True)
        base_line = (nodes, np.array([marked[i].values for i in first]))
        clusters.insert(0, base_line)
    plan, *others = _plans(n, edges, clusters, layout)
    xy = plan.xy
    if base_line is not None and len(base_line[0]) >= 2:
        xy = _on_base_line(xy, base_line[0], base_line[1], layout)
    positions = np.column_stack([xy, heights])
    rotations, origins, floating, blocks = _setup_poses(site, setups, positions, photos)
    tapes = np.array([[tape_of(site.job, t).scale, 0.0] for t in u.tapes]).reshape(-1, 2)
    under = [u.point_idx[point_of(m)] for m in u.marks]
    marks = positions[under, :2].reshape(-1, 2)
    state = with_sheets(State(u, positions, marks, tapes, rotations, origins), photos, blocks)
    names = tuple(tuple(u.points[i] for i in part) for part in plan.either_way)
    rivals = tuple(
        replace(state, positions=np.column_stack([p.xy, positions[:, 2]]), marks=p.xy[under].reshape(-1, 2))
        for p in others
    )
    return Start(state, names, tuple(floating), rivals, tuple(p.score for p in (plan, *others)))


def _on_base_line(xy: Array, nodes: Index, marked: Array, layout: Layout) -> Array:
    """The plan laid over its marks off the base line (k, 2): the mirror image where the marks say so.

    Marks in one line, two above all, fit both images; then the sides decide, as seen from where the marks put the car.
    """
    images, gaps, scores = [], [], []
    for image in (xy, xy * [1.0, -1.0]):
        R, t = rigid_fit(image[nodes], marked)
        images.append(image @ R.T + t)
        gaps.append(float(np.max(np.linalg.norm(images[-1][nodes] - marked, axis=1))))
        R, t = layout.forward_from(images[-1])
        scores.append((layout.score(images[-1] @ R.T + t), -layout.from_chart(images[-1])))
    if abs(gaps[0] - gaps[1]) > BASE_LINE_TELLS:
        return images[int(np.argmin(gaps))]
    return images[1] if scores[1] > scores[0] else images[0]


@dataclass(frozen=True)
class _Setup:
    """Setups joined through shared points: (nodes, positions), roughly level."""

    nodes: Index
    xyz: Array
    members: dict[str, tuple[Array, Array]]  # setup -> (R, t) of this cluster from the setup


def _heights(site: Site, readings: Sequence[Reading]) -> Array:
    """Heights (n,) from heights.csv, carried on by level readings; 0 or the chart's where there is none."""
    u = site.unknowns
    z = np.array([site.assumed_heights.get(name, np.nan) for name in u.points])
    for reading in readings:
        if reading.kind == "heights":
            z[u.point_idx[reading.names[0]]] = reading.values[0]
    levels = [r for r in readings if r.kind == "levels"]
    for _ in range(len(u.points)):
        before = int(np.isnan(z).sum())
        for reading in levels:
            a, b = (u.point_idx[name] for name in reading.names)
            if np.isnan(z[a]) and not np.isnan(z[b]):
                z[a] = z[b] - reading.values[0]
            elif np.isnan(z[b]) and not np.isnan(z[a]):
                z[b] = z[a] + reading.values[0]
        if int(np.isnan(z).sum()) == before:
            loose = [u.point_idx[r.names[0]] for r in levels if np.isnan(z[u.point_idx[r.names[0]]])]
            if not loose:
                break
            z[loose[0]] = 0.0  # a set of levels with no datum of its own
    return z


def _setups_in_space(site: Site, readings: Sequence[Reading], heights: Array, photos: PhotoBlocks) -> list[_Setup]:
    """Merge setups and blocks of photographs that share three or more points, and level each as well as can be."""
    u = site.unknowns
    seen: dict[str, dict[int, Array]] = {}
    for reading in readings:
        if reading.kind == "xyz":
            seen.setdefault(reading.via, {})[u.point_idx[reading.names[0]]] = np.array(reading.values)
    seen |= photos.places()
    waiting = sorted(seen, key=lambda name: -len(seen[name]))
    clusters: list[_Setup] = []
    while waiting:
        base = waiting.pop(0)
        places = dict(seen[base])
        members = {base: (np.eye(3), np.zeros(3))}
        joined = True
        while joined:
            joined = False
            for name in list(waiting):
                shared = [i for i in seen[name] if i in places]
                if len(shared) < 3:
                    continue
                local = np.array([seen[name][i] for i in shared])
                if np.linalg.svd(local - local.mean(axis=0), compute_uv=False)[1] < 1.0:
                    continue  # in one line: they would not hold the turn about it
                R, t = rigid_fit(local, np.array([places[i] for i in shared]))
                members[name] = (R, t)
                for i, xyz in seen[name].items():
                    places.setdefault(i, R @ xyz + t)
                waiting.remove(name)
                joined = True
        nodes = np.array(sorted(places))
        xyz = np.array([places[i] for i in nodes])
        level = _level(site, nodes, xyz, heights)
        members = {name: (level @ R, level @ t) for name, (R, t) in members.items()}
        clusters.append(_Setup(nodes, xyz @ level.T, members))
    return clusters


def _level(site: Site, nodes: Index, xyz: Array, heights: Array) -> Array:
    """Rotation (3, 3) that brings a cluster's z upright: by heights, else by the car's sides and order."""
    z = heights[nodes]
    known = ~np.isnan(z)
    if known.sum() >= 3:
        local = xyz[known] - xyz[known].mean(axis=0)
        if np.linalg.svd(local, compute_uv=False)[1] > 10.0:
            up = np.linalg.lstsq(local, z[known] - z[known].mean(), rcond=1e-6)[0]
            return _upright(up) if np.linalg.norm(up) > 0.5 else np.eye(3)
    pairs = Layout.of(site.job, tuple(site.unknowns.points[i] for i in nodes)).pairs
    if len(pairs) >= 2:
        across = (xyz[pairs[:, 0]] - xyz[pairs[:, 1]]).mean(axis=0)
        middles = (xyz[pairs[:, 0]] + xyz[pairs[:, 1]]) / 2
        forward = middles[0] - middles[-1]
        up = np.cross(forward, across)
        if np.linalg.norm(up) > 0:
            return _upright(up)  # the car lies nearer to level than an arm or a scanner may stand
    return np.eye(3)


def _upright(up: Array) -> Array:
    z = up / np.linalg.norm(up)
    x = np.cross([0.0, 1.0, 0.0] if abs(z[1]) < 0.9 else [1.0, 0.0, 0.0], z)
    x /= np.linalg.norm(x)
    return np.array([x, np.cross(z, x), z])


def _edges(site: Site, readings: Sequence[Reading], heights: Array) -> Edges:
    """Plan lengths between points; a straight tape over known heights is reduced to plan."""
    taped = [r for r in readings if r.kind in ("floor", "car", "bar")]
    ends = np.array([[site.unknowns.point_idx[point_of(n)] for n in r.names] for r in taped], dtype=np.int64)
    ends = ends.reshape(-1, 2)
    lengths = corrected(taped, site) if taped else np.zeros(0)
    rise = np.nan_to_num(heights[ends[:, 0]] - heights[ends[:, 1]]) if taped else lengths
    straight = np.array([r.kind != "floor" for r in taped], dtype=bool)
    plan = np.where(straight, np.sqrt(np.maximum(lengths**2 - rise**2, 1.0)), lengths)
    apart = ends[:, 0] != ends[:, 1]  # the tape between two drops of one point places nothing
    return Edges(ends[apart], plan[apart])


@dataclass(frozen=True)
class _Plan:
    """One arrangement: positions (n, 2), the parts that fit either way up, its score by sides and order."""

    xy: Array
    either_way: list[list[int]]
    score: float


def _plans(n: int, edges: Edges, clusters: list[tuple[Index, Array]], layout: Layout) -> list[_Plan]:
    """Arrangements that fit the lengths, the likeliest first, pointed forward; rivals only where lengths are few."""
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
        return [_Plan(layout.oriented(min(filled, key=edges.misfit))[0], [], 0.0)]
    ranked: list[tuple[float, tuple[float, float], int, _Plan]] = []
    for xy in filled:
        xy = layout.oriented(reseat(polish(xy, stiff), stiff))[0]
        xy, either_way = _turn_over(xy, stiff, layout)
        plan = _Plan(xy, either_way, layout.score(xy))
        ranked.append((round(stiff.misfit(xy), 3), (-plan.score, layout.from_chart(xy)), len(ranked), plan))
    best_fit = min(r[0] for r in ranked)
    alike = [r for r in ranked if r[0] < best_fit + 5.0]  # near enough: the sides decide, then the chart
    chosen = min(alike, key=lambda r: (r[1], r[0], r[2]))
    plans = [chosen[3]]
    if sparse:
        for misfit, _, _, plan in sorted(ranked, key=lambda r: (r[0], r[2])):
            within = misfit < best_fit + RIVAL_MISFIT * len(edges.lengths)
            if within and len(plans) <= MOST_RIVALS and all(_differ(plan.xy, p.xy) for p in plans):
                plans.append(plan)
    return plans


def _differ(a: Array, b: Array) -> bool:
    """Whether two arrangements are more than noise apart, laid over each other."""
    R, t = rigid_fit(a, b)
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


def _setup_poses(
    site: Site, setups: Sequence[_Setup], positions: Array, photos: PhotoBlocks
) -> tuple[Array, Array, list[tuple[Index, Index]], dict[str, Array]]:
    """Each setup's rotation and origin in the network; fills in heights that only setups give.

    Also (points, setups) of each cluster whose height against the first was no more than supposed, and the rotation of
    each block of photographs.
    """
    u = site.unknowns
    floating: list[tuple[Index, Index]] = []
    rotations, origins, blocks = {}, {}, {}
    ground: float | None = None  # where nothing says how setups stand in height, their points lie alike
    for cluster in setups:
        target = positions[cluster.nodes]
        R2, t2 = rigid_fit(cluster.xyz[:, :2], target[:, :2]) if len(target) > 1 else (np.eye(2), np.zeros(2))
        R = np.eye(3)
        R[:2, :2] = R2
        rise = target[:, 2] - cluster.xyz[:, 2]
        typical = float(np.median(cluster.xyz[:, 2]))
        lift = float(np.nanmedian(rise)) if not np.isnan(rise).all() else 0.0 if ground is None else ground - typical
        if ground is not None and np.isnan(rise).all():
            moved = [i for s in cluster.members for i in ([u.setups.index(s)] if s in u.setups else photos.setups(s))]
            floating.append((cluster.nodes, np.array(moved)))
        ground = typical + lift if ground is None else ground
        t = np.array([*t2, lift])
        placed = cluster.xyz @ R.T + t
        unknown = np.isnan(target[:, 2])
        positions[cluster.nodes[unknown], 2] = placed[unknown, 2]
        for name, (own, shift) in cluster.members.items():
            if name in u.setups:
                rotations[name], origins[name] = R @ own, R @ shift + t
                continue
            blocks[name] = R @ own
            for picture, (turn, place) in photos.poses(name, R @ own, R @ shift + t).items():
                rotations[picture], origins[picture] = turn, place
    np.nan_to_num(positions, copy=False)
    return (
        np.array([rotations[s] for s in u.setups]).reshape(-1, 3, 3),
        np.array([origins[s] for s in u.setups]).reshape(-1, 3),
        floating,
        blocks,
    )
