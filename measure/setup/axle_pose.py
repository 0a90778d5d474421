"""The axle as a rigid body on its arms and lateral rods, in plan: what each length must be, and where lengths put it.

The axle keeps its height and its lean, which the springs carry; it may go forward, sideways and turn about z, and the
crank of a lateral linkage may turn about its pivot. Every member then gives one equation, its length. All functions
take coordinates (..., points, 3) in the car's axes, mm, and work on many copies at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from measure.body import face
from measure.readings.unknowns import Array
from measure.setup.axle_points import AxlePoints, Rod

FORWARD, LEFT, TURN, CRANK = range(4)
MOST_STEPS = 30
LEAST_CRANK = 20.0
"""mm from pivot to pin under which a crank is no crank but one point measured twice."""


@dataclass(frozen=True)
class Mechanism:
    """One axle; numbers are places in the coordinates given.

    `members` are the arms, then the rods: (body end, axle end).
    `on_axle`, `on_crank` (members, 2): whether each end goes with the axle, and whether it sits on the crank.
    """

    axle: AxlePoints
    members: tuple[tuple[int, int], ...]
    names: tuple[str, ...]
    on_axle: Array
    on_crank: Array
    ends: tuple[tuple[int, ...], tuple[int, ...]]
    faces: tuple[tuple[int, ...], tuple[int, ...]] | None
    pivot: int | None

    @property
    def arms(self) -> int:
        """How many of the members are trailing arms: two or none."""
        return len(self.axle.arms)

    @property
    def rods(self) -> int:
        """How many are lateral rods."""
        return len(self.axle.rods)


def mechanism(axle: AxlePoints) -> Mechanism:
    """The members of an axle, numbered as `axle.numbers` puts its points."""
    at = {number: i for i, number in enumerate(axle.numbers)}
    by_crank = axle.pivot is not None
    crank_on_axle = by_crank and axle.settings.pivot == "axle"
    members: list[Rod] = [*axle.arms, *axle.rods]
    on_crank = [[False, False] for _ in axle.arms]
    on_crank += [[by_crank and not crank_on_axle, crank_on_axle] for _ in axle.rods]

    def local(points: tuple[int, ...]) -> tuple[int, ...]:
        return tuple(at[i] for i in points)

    return Mechanism(
        axle, tuple((at[m.body], at[m.axle]) for m in members), tuple(m.name for m in members),
        np.array([[False, True] for _ in members], dtype=bool).reshape(-1, 2),
        np.array(on_crank, dtype=bool).reshape(-1, 2), (local(axle.ends[0]), local(axle.ends[1])),
        (local(axle.faces[0]), local(axle.faces[1])) if axle.faces else None,
        None if axle.pivot is None else at[axle.pivot],
    )  # fmt: skip


def middle(m: Mechanism, X: Array) -> Array:
    """(..., 3) the middle between the axle's ends, about which it turns."""
    return np.asarray(end_places(m, X).mean(axis=-2))


def end_places(m: Mechanism, X: Array) -> Array:
    """(..., 2, 3) the axle's ends, left and right: its end points, or the centres of its face circles."""
    return np.stack([end_of(X[..., end, :]) for end in m.ends], axis=-2)


def end_of(X: Array) -> Array:
    """(..., 3) of one point (..., 1, 3) itself, or the centre of a circle through several."""
    return X[..., 0, :] if X.shape[-2] == 1 else face.centre(X)


def member_vectors(m: Mechanism, X: Array, pose: Array) -> tuple[Array, Array]:
    """From body end to axle end (..., k, 3) with the axle moved by pose (..., 4), and derivatives (..., k, 3, 4)."""
    places, slopes = member_places(m, X, pose)
    return places[1] - places[0], slopes[1] - slopes[0]


def member_places(m: Mechanism, X: Array, pose: Array) -> tuple[list[Array], list[Array]]:
    """Body ends and axle ends (..., k, 3) with the axle moved by pose (..., 4), and their derivatives (..., k, 3, 4).

    pose: forward, left (mm), turn about z, turn of the crank about its pivot's fore-and-aft axis (rad).
    """
    about = middle(m, X)
    places: list[Array] = []
    slopes: list[Array] = []
    for end in (0, 1):
        p = X[..., [member[end] for member in m.members], :]
        D = np.zeros((*np.broadcast_shapes(p.shape[:-1], pose[..., None, 0].shape), 3, 4))
        if m.pivot is not None and m.on_crank.any():
            pivot = X[..., m.pivot, None, :]
            turned, by_turn = _about_x(p - pivot, pose[..., None, CRANK])
            on = m.on_crank[:, end, None]
            p = np.where(on, pivot + turned, p)
            D[..., CRANK] = np.where(on, by_turn, 0.0)
        carried = m.on_axle[:, end, None]
        if m.pivot is not None:  # a crank on the body stays there, one on the axle goes with it
            carried = np.where(m.on_crank[:, end, None], m.axle.settings.pivot == "axle", carried)
        arm = p - about[..., None, :]
        turned, by_turn = _about_z(arm, pose[..., None, TURN])
        shift = np.concatenate([pose[..., :2], np.zeros_like(pose[..., :1])], axis=-1)[..., None, :]
        c, s = np.cos(pose[..., None, TURN]), np.sin(pose[..., None, TURN])
        d = D[..., CRANK].copy()
        D[..., CRANK] = np.where(
            carried, np.stack([c * d[..., 0] - s * d[..., 1], s * d[..., 0] + c * d[..., 1], d[..., 2]], axis=-1), d
        )
        D[..., TURN] = np.where(carried, by_turn, 0.0)
        D[..., FORWARD] = np.where(carried, np.array([1.0, 0.0, 0.0]), 0.0)
        D[..., LEFT] = np.where(carried, np.array([0.0, 1.0, 0.0]), 0.0)
        places.append(np.where(carried, about[..., None, :] + turned + shift, p))
        slopes.append(D)
    return places, slopes


def displacements(m: Mechanism, X: Array, pose: Array, lower_shocks: Array) -> tuple[Array, Array]:
    """How far each point of X (points, 3) goes, and each lower end of a shock (s, 3), with the axle at `pose` (4,)."""
    moved = np.zeros_like(X)
    places, _ = member_places(m, X, pose)
    for end in (0, 1):
        for k, member in enumerate(m.members):
            moved[member[end]] = places[end][k] - X[member[end]]
    about = middle(m, X)

    def carried(p: Array) -> Array:
        turned, _ = _about_z(p - about, np.broadcast_to(pose[TURN], p.shape[:-1]))
        return np.asarray(about + turned + [pose[FORWARD], pose[LEFT], 0.0] - p)

    rigid = [i for f in (*m.ends, *(m.faces or ())) for i in f]
    if m.pivot is not None and m.axle.settings.pivot == "axle":
        rigid.append(m.pivot)
    moved[rigid] = carried(X[rigid])
    return moved, carried(lower_shocks)


def slackest(m: Mechanism, X: Array) -> float:
    """How well the members hold the axle where it stands: 0 not at all, near 1 well.

    Least singular value of the members' rows, turns counted in mm at the axle's ends and at the crank's pins.
    """
    if not m.members:
        return 1.0
    v, slope = member_vectors(m, X, np.zeros(4))
    rows = (slope * (v / np.linalg.norm(v, axis=-1)[:, None])[..., None]).sum(axis=-2)
    scale = np.ones(4)
    scale[TURN] = 1 / max(float(np.ptp(end_places(m, X)[:, 1])) / 2, 1.0)
    if m.pivot is not None:
        pins = X[[member[int(np.argmax(on))] for member, on in zip(m.members, m.on_crank, strict=True) if on.any()]]
        scale[CRANK] = 1 / max(float(np.linalg.norm(pins - X[m.pivot], axis=1).max()), LEAST_CRANK)
    return float(np.linalg.svd((rows * scale)[:, _free(m)], compute_uv=False)[-1])


def lengths(m: Mechanism, X: Array, pose: Array) -> Array:
    """(..., k) mm: what each member measures with the axle at `pose`."""
    return np.asarray(np.linalg.norm(member_vectors(m, X, pose)[0], axis=-1))


def settled(m: Mechanism, X: Array, change: Array, otherwise: Array) -> Array:
    """Pose (..., 4) the axle comes to when the members are lengthened by change (..., k), mm.

    Freedoms that no member holds stay as in `otherwise` (..., 4): sideways without a lateral rod, forward and turn
    without arms. Newton's method; raises numpy's LinAlgError where the members stand so that they hold nothing.
    """
    wanted = lengths(m, X, np.zeros_like(otherwise)) + change
    free = _free(m)
    pose = otherwise.copy()
    for _ in range(MOST_STEPS):
        v, slope = member_vectors(m, X, pose)
        length = np.linalg.norm(v, axis=-1)
        rows = (slope * (v / length[..., None])[..., None]).sum(axis=-2)[..., free]
        step = np.linalg.solve(rows, (wanted - length)[..., None])[..., 0]
        pose[..., free] += step
        if np.max(np.abs(step), initial=0.0) < 1e-12:
            break
    return pose


def _free(m: Mechanism) -> list[int]:
    """The freedoms that the members hold, as many as there are members."""
    free = [FORWARD, TURN] if m.arms else []
    free += [LEFT] if m.rods else []
    return sorted(free + ([CRANK] if m.pivot is not None else []))


def forward_with_fixed_arm(m: Mechanism, X: Array, pose: Array, arm: int) -> Array:
    """`pose` (..., 4) with that forward movement at which the arm (0 left, 1 right) keeps its length.

    The arm's end runs along x as the axle goes forward: one quadratic equation, of which the nearer root is taken.
    """
    whole = lengths(m, X, np.zeros_like(pose))[..., arm]
    start = pose.copy()
    start[..., FORWARD] = 0.0
    v = member_vectors(m, X, start)[0][..., arm, :]
    along = np.sqrt(np.maximum(whole**2 - v[..., 1] ** 2 - v[..., 2] ** 2, 0.0))
    start[..., FORWARD] = np.where(v[..., 0] < 0, -along, along) - v[..., 0]
    return np.asarray(start)


def crank_lean(m: Mechanism, X: Array) -> Array:
    """(...) rad: the crank's lean from upright, + its top to the left; line from its lower to its upper pin.

    Zero where there is no crank.
    """
    if m.pivot is None:
        return np.zeros(X.shape[:-2])
    inner = 1 if m.axle.settings.pivot == "axle" else 0
    a, b = (X[..., member[inner], :] for member in m.members[m.arms :])
    across = np.where((a[..., 2:] > b[..., 2:]), a - b, b - a)
    return np.asarray(np.arctan2(across[..., 1], across[..., 2]))


def _about_z(v: Array, angle: Array) -> tuple[Array, Array]:
    """Vectors v (..., 3) turned by angle (...) about z, and their derivative."""
    c, s = np.cos(angle), np.sin(angle)
    x, y, z = v[..., 0], v[..., 1], v[..., 2]
    tx, ty = c * x - s * y, s * x + c * y
    return np.stack([tx, ty, z + 0 * tx], axis=-1), np.stack([-ty, tx, 0 * tx], axis=-1)


def _about_x(v: Array, angle: Array) -> tuple[Array, Array]:
    c, s = np.cos(angle), np.sin(angle)
    x, y, z = v[..., 0], v[..., 1], v[..., 2]
    ty, tz = c * y - s * z, s * y + c * z
    return np.stack([x + 0 * ty, ty, tz], axis=-1), np.stack([0 * ty, -tz, ty], axis=-1)
