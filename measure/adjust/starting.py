"""Starting values from readings alone: no coordinates are needed, and one misread length does no harm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from measure.adjust.from_photographs import PhotoBlocks, with_sheets
from measure.adjust.lateration import Edges
from measure.adjust.layout import Layout
from measure.adjust.plans import plans
from measure.adjust.setup_starts import Cluster, posed
from measure.readings.kind import Site, point_of
from measure.readings.reading import Reading
from measure.readings.tape import LENGTHS, corrected, tape_of
from measure.readings.unknowns import Array, Index, State
from measure.rigid_fit import rigid_fit

BASE_LINE_TELLS = 50.0
"""mm by which marks off a base line must fit one image worse than the other before they tell the two apart."""


@dataclass(frozen=True)
class Start:
    """Starting values, and the points that fit their lengths equally well turned over.

    `rivals`: other arrangements that come near the lengths, and `scores` of `state` and of each of them by the sides
    and the order of points.csv.
    """

    state: State
    either_way: tuple[tuple[str, ...], ...]
    rivals: tuple[State, ...] = ()
    scores: tuple[float, ...] = (0.0,)


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
    plan, *others = plans(n, edges, clusters, layout)
    xy = plan.xy
    if base_line is not None and len(base_line[0]) >= 2:
        xy = _on_base_line(xy, base_line[0], base_line[1], layout)
    positions = np.column_stack([xy, heights])
    rotations, origins, blocks = _setup_poses(site, setups, positions, photos)
    tapes = np.array([[tape_of(site.job, t).scale, 0.0] for t in u.tapes]).reshape(-1, 2)
    under = [u.point_idx[point_of(m)] for m in u.marks]
    marks = positions[under, :2].reshape(-1, 2)
    state = with_sheets(State(u, positions, marks, tapes, rotations, origins), photos, blocks)
    names = tuple(tuple(u.points[i] for i in part) for part in plan.either_way)
    rivals = tuple(
        replace(state, positions=np.column_stack([p.xy, positions[:, 2]]), marks=p.xy[under].reshape(-1, 2))
        for p in others
    )
    scores = [p.score for p in (plan, *others)]
    if len(setups) > 1:
        found = posed(site, readings, setups, photos, state)
        rivals += tuple(found)
        scores += [layout.score(each.positions[:, :2]) for each in found]
    return Start(state, names, rivals, tuple(scores))


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


def _setups_in_space(site: Site, readings: Sequence[Reading], heights: Array, photos: PhotoBlocks) -> list[Cluster]:
    """Merge setups and blocks of photographs that share three or more points, and level each as well as can be."""
    u = site.unknowns
    seen: dict[str, dict[int, Array]] = {}
    for reading in readings:
        if reading.kind == "xyz":
            seen.setdefault(reading.via, {})[u.point_idx[reading.names[0]]] = np.array(reading.values)
    seen |= photos.places()
    waiting = sorted(seen, key=lambda name: -len(seen[name]))
    clusters: list[Cluster] = []
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
        clusters.append(Cluster(nodes, xyz @ level.T, members))
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
    taped = [r for r in readings if r.kind in LENGTHS]
    ends = np.array([[site.unknowns.point_idx[point_of(n)] for n in r.names] for r in taped], dtype=np.int64)
    ends = ends.reshape(-1, 2)
    lengths = corrected(taped, site) if taped else np.zeros(0)
    rise = np.nan_to_num(heights[ends[:, 0]] - heights[ends[:, 1]]) if taped else lengths
    straight = np.array([r.kind != "floor" for r in taped], dtype=bool)
    plan = np.where(straight, np.sqrt(np.maximum(lengths**2 - rise**2, 1.0)), lengths)
    apart = ends[:, 0] != ends[:, 1]  # the tape between two drops of one point places nothing
    return Edges(ends[apart], plan[apart])


def _setup_poses(
    site: Site, setups: Sequence[Cluster], positions: Array, photos: PhotoBlocks
) -> tuple[Array, Array, dict[str, Array]]:
    """Each setup's rotation and origin in the network, and the rotation of each block of photographs.

    Fills in heights that only setups give.
    """
    u = site.unknowns
    poses: dict[str, tuple[Array, Array]] = {}
    blocks: dict[str, Array] = {}
    ground: float | None = None  # where nothing says how setups stand in height, their points lie alike
    for cluster in setups:
        target = positions[cluster.nodes]
        R2, t2 = rigid_fit(cluster.xyz[:, :2], target[:, :2]) if len(target) > 1 else (np.eye(2), np.zeros(2))
        R = np.eye(3)
        R[:2, :2] = R2
        rise = target[:, 2] - cluster.xyz[:, 2]
        typical = float(np.median(cluster.xyz[:, 2]))
        lift = float(np.nanmedian(rise)) if not np.isnan(rise).all() else 0.0 if ground is None else ground - typical
        ground = typical + lift if ground is None else ground
        t = np.array([*t2, lift])
        placed = cluster.xyz @ R.T + t
        unknown = np.isnan(target[:, 2])
        positions[cluster.nodes[unknown], 2] = placed[unknown, 2]
        stood, turns = cluster.stood(R, t, photos)
        poses |= stood
        blocks |= turns
    np.nan_to_num(positions, copy=False)
    return (
        np.array([poses[s][0] for s in u.setups]).reshape(-1, 3, 3),
        np.array([poses[s][1] for s in u.setups]).reshape(-1, 3),
        blocks,
    )
