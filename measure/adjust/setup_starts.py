"""Setups in space that only lengths and a point or two join: their poses from many starts.

Each setup or block of photographs, or several merged by three shared points, is a rigid body that may lean; how it
leans and how high it stands against the others is tried by lot. The lot is fixed, so that the same sheet is read alike
each time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from measure.adjust.assembly import Assembly
from measure.adjust.from_photographs import PhotoBlocks, with_sheets
from measure.adjust.layout import Layout
from measure.adjust.plans import APART, MOST_RIVALS, RIVAL_MISFIT
from measure.readings.kind import Site, point_of
from measure.readings.reading import Reading
from measure.readings.tape import LENGTHS, corrected
from measure.readings.unknowns import NOWHERE, Array, Index, State
from measure.rigid_fit import rigid_fit
from measure.rotation import rotation_matrices

STARTS = 240
LEAN = 0.08
"""rad (sd) by which a setup levelled by its pairs may lean."""
SHIFT = (200.0, 600.0)
"""mm (sd), sideways; half the starts each."""
LIFT = 150.0
"""mm (sd), upwards."""
TURN = 0.4
"""rad (sd) in half of the starts; any turn in the others."""


@dataclass(frozen=True)
class Cluster:
    """Setups and blocks of photographs joined through shared points: (nodes, positions), roughly level."""

    nodes: Index
    xyz: Array
    members: dict[str, tuple[Array, Array]]  # setup or block -> (R, t) of this cluster from it

    def stood(self, R: Array, t: Array, photos: PhotoBlocks) -> tuple[dict[str, tuple[Array, Array]], dict[str, Array]]:
        """Setup or photograph -> (network_from_it, place) where R and t bring the cluster into the network.

        Also network_from_block of each block of photographs.
        """
        poses: dict[str, tuple[Array, Array]] = {}
        blocks: dict[str, Array] = {}
        for name, (own, shift) in self.members.items():
            turn, place = R @ own, R @ shift + t
            if name in photos:
                blocks[name] = turn
                poses |= photos.poses(name, turn, place)
            else:
                poses[name] = turn, place
        return poses, blocks


def posed(
    site: Site, readings: Sequence[Reading], clusters: Sequence[Cluster], photos: PhotoBlocks, state: State
) -> list[State]:
    """States that come near the readings between the clusters, best first; from this one, and by lot."""
    assembly, spots = _assembly(site, readings, clusters, state)
    if not len(assembly.lengths) + len(assembly.ties):
        return []
    start = _poses(clusters, photos, assembly, state)
    poses, total = assembly.settled(np.concatenate([start[None], _by_lot(start, clusters)]))
    order = np.argsort(np.round(total, 3), kind="stable")
    gravity = any(r.kind in ("floor", "heights", "levels", "marks") for r in readings)
    rises = bool(len(assembly.ties)) or bool((assembly.axes[:, 2] > 0).any())
    within = total[order[0]] + RIVAL_MISFIT * (len(assembly.lengths) + len(assembly.ties))
    chosen: list[Array] = []
    found = []
    for k in order:
        if total[k] > within or len(chosen) > MOST_RIVALS:
            break
        pose = poses[k]
        if not gravity:  # nothing but the pairs says what is level: leave the first as they had it
            back = start[0, :, :3] @ pose[0, :, :3].T
            pose = np.concatenate([back @ pose[:, :, :3], back @ pose[:, :, 3:]], axis=2)
        places = assembly.places(pose[None])[0]
        shape = places if rises else places[:, :2]
        if any(_differ_little(shape, other) for other in chosen):
            continue
        chosen.append(shape)
        found.append(_state(site, readings, clusters, photos, state, pose, places[spots]))
    return found


def _differ_little(a: Array, b: Array) -> bool:
    R, t = rigid_fit(a, b)
    return bool(np.max(np.abs(a @ R.T + t - b)) <= APART)


def _assembly(
    site: Site, readings: Sequence[Reading], clusters: Sequence[Cluster], state: State
) -> tuple[Assembly, Index]:
    """The clusters and all points outside them, and the spot of each point."""
    u = site.unknowns
    n = len(u.points)
    body = [np.full(len(c.nodes), k) for k, c in enumerate(clusters)]
    local = [c.xyz for c in clusters]
    nodes = np.concatenate([c.nodes for c in clusters])
    alone = np.setdiff1d(np.arange(n), nodes)
    body.append(len(clusters) + np.arange(len(alone)))
    local.append(np.zeros((len(alone), 3)))
    nodes = np.concatenate([nodes, alone])
    of_body, spots = np.concatenate(body), np.full(n, NOWHERE)
    ties: list[tuple[int, int, int, float]] = []
    for spot, node in enumerate(nodes.tolist()):
        if spots[node] == NOWHERE:
            spots[node] = spot
        else:
            ties += [(spot, int(spots[node]), axis, 0.0) for axis in range(3)]
    for r in readings:
        mine = [int(spots[u.point_idx[point_of(name)]]) for name in r.names] if r.kind in _TIES else []
        if r.kind == "heights":
            ties.append((mine[0], NOWHERE, 2, r.values[0]))
        elif r.kind == "levels":
            ties.append((mine[1], mine[0], 2, r.values[0]))
        elif r.kind == "marks":
            ties += [(mine[0], NOWHERE, axis, r.values[axis]) for axis in (0, 1)]
    taped = [r for r in readings if r.kind in LENGTHS]
    at = np.array([[u.point_idx[point_of(name)] for name in r.names] for r in taped], dtype=np.int64).reshape(-1, 2)
    ends, lengths = spots[at], corrected(taped, site) if taped else np.zeros(0)
    sets = site.level_sets[at]
    straight = np.array([r.kind != "floor" for r in taped], dtype=bool) & (sets[:, 0] == sets[:, 1]) & (sets[:, 0] >= 0)
    axes = np.column_stack([np.ones((len(taped), 2)), straight])
    between = of_body[ends[:, 0]] != of_body[ends[:, 1]]
    free = np.ones((len(clusters) + len(alone), 6), dtype=bool)
    free[len(clusters) :, :3] = False
    free[len(clusters) :, 5] = u.point_columns[alone, 2] >= 0
    columns = np.where(free, (np.cumsum(free) - 1).reshape(free.shape), NOWHERE)
    first, second, along = (np.array([t[i] for t in ties], dtype=np.int64) for i in range(3))
    return Assembly(
        of_body, np.concatenate(local), ends[between], axes[between], lengths[between],
        np.column_stack([first, second]), along, np.array([t[3] for t in ties]), columns,
    ), spots  # fmt: skip


_TIES = ("heights", "levels", "marks")


def _poses(clusters: Sequence[Cluster], photos: PhotoBlocks, assembly: Assembly, state: State) -> Array:
    """Where the state has the bodies (bodies, 3, 4)."""
    u = state.unknowns
    poses = np.zeros((len(assembly.columns), 3, 4))
    for k, cluster in enumerate(clusters):
        at_home, _ = cluster.stood(np.eye(3), np.zeros(3), photos)
        name, (own, shift) = next((name, pose) for name, pose in at_home.items() if name in u.setups)
        i = u.setups.index(name)
        R = state.rotations[i] @ own.T
        poses[k] = np.column_stack([R, state.origins[i] - R @ shift])
    alone = np.setdiff1d(np.arange(len(u.points)), np.concatenate([c.nodes for c in clusters]))
    poses[len(clusters) :, :, :3] = np.eye(3)
    poses[len(clusters) :, :, 3] = state.positions[alone]
    return poses


def _by_lot(start: Array, clusters: Sequence[Cluster]) -> Array:
    """Poses (starts, bodies, 3, 4) scattered about these: the first cluster leans only, single points stay."""
    lot = np.random.default_rng(len(start))
    poses = np.tile(start, (STARTS, 1, 1, 1))
    wide = np.arange(STARTS) % 2
    for k, cluster in enumerate(clusters):
        middle = cluster.xyz.mean(axis=0)
        turn = LEAN * lot.standard_normal((STARTS, 3))
        heading = np.where(wide, lot.uniform(-np.pi, np.pi, STARTS), TURN * lot.standard_normal(STARTS))
        sideways = np.take(SHIFT, wide)
        shift = lot.standard_normal((STARTS, 3)) * np.column_stack([sideways, sideways, np.full(STARTS, LIFT)])
        if k == 0:
            heading, shift = np.zeros(STARTS), np.zeros((STARTS, 3))
        turn[:, 2] = 0.0
        level = np.column_stack([np.zeros((STARTS, 2)), heading])
        R = rotation_matrices(level) @ rotation_matrices(turn) @ start[k, :, :3]
        centre = start[k, :, :3] @ middle + start[k, :, 3] + shift
        poses[:, k, :, :3], poses[:, k, :, 3] = R, centre - R @ middle
    return poses


def _state(
    site: Site, readings: Sequence[Reading], clusters: Sequence[Cluster], photos: PhotoBlocks, state: State,
    pose: Array, positions: Array,
) -> State:  # fmt: skip
    """The state with these poses; pointed forward, unless marks off a base line say where it stands."""
    u = state.unknowns
    turn, shift = np.eye(3), np.zeros(3)
    if not any(r.kind == "marks" for r in readings):
        turn[:2, :2], shift[:2] = Layout.of(site.job, u.points).forward_from(positions[:, :2])
    rotations, origins = state.rotations.copy(), state.origins.copy()
    blocks: dict[str, Array] = {}
    setup_idx = {name: i for i, name in enumerate(u.setups)}
    for k, cluster in enumerate(clusters):
        poses, turns = cluster.stood(turn @ pose[k, :, :3], turn @ pose[k, :, 3] + shift, photos)
        blocks |= turns
        for name in poses.keys() & setup_idx.keys():
            rotations[setup_idx[name]], origins[setup_idx[name]] = poses[name]
    positions = positions @ turn.T + shift
    under = [u.point_idx[point_of(m)] for m in u.marks]
    state = replace(
        state, positions=positions, marks=positions[under, :2].reshape(-1, 2), rotations=rotations, origins=origins
    )
    return with_sheets(state, photos, blocks)
