"""How far each arm and lateral rod must grow or shrink, in one go, so that an axle stands central and rolls straight.

A figure that is within its limit is kept, one that is not goes to nought. Moving one adjuster disturbs what the others
set, so all are worked out together for the pose wanted (measure.setup.axle_pose), rounded to what a spanner can set;
the pose that these rounded lengths lead to is what is expected afterwards.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from measure.body import face
from measure.body.axle import square
from measure.body.check import Check
from measure.body.stand import Judged, Stand
from measure.body.verdict import Verdict
from measure.body.words import Words, pointing, side_of, sideways
from measure.job import Job
from measure.job.axle_settings import Thread
from measure.readings.unknowns import Array
from measure.setup.axle_points import AxlePoints
from measure.setup.axle_pose import (
    CRANK,
    FORWARD,
    LEFT,
    TURN,
    Mechanism,
    crank_lean,
    displacements,
    end_places,
    forward_with_fixed_arm,
    lengths,
    mechanism,
    middle,
    settled,
)
from measure.setup.axle_result import Adjuster, EndMove, Status
from measure.setup.figures import judged, wobble
from measure.setup.linkage import UPRIGHT_DEG, upright
from measure.setup.threads import Turns, turns_for, which_way

STATUS: dict[Verdict, Status] = {"outside": "move", "undecided": "not yet", "within": "leave it"}
LEAST_MOVE = 0.05
"""mm under which a move prints as nought."""
MOST_MOVE = 25.0
"""mm beyond which no adjuster is asked for a cure: something is bent or fitted wrong (common practice, no source)."""


@dataclass(frozen=True)
class Plan:
    """Moves of one axle, and the checks of how it is expected to stand afterwards: offset, square, thrust."""

    status: Status
    ends: tuple[EndMove, ...]
    goes: dict[int, Array]  # number of a point -> (3,) mm it goes by
    adjusters: tuple[Adjuster, ...]
    after: tuple[Judged, ...]
    sets_upright: bool = False  # the rods bring a leaning crank upright as well


def axle_status(offset: Verdict, thrust: Verdict) -> Status:
    """What the two figures together ask for."""
    each = {offset, thrust}
    return "move" if "outside" in each else "not yet" if "undecided" in each else "leave it"


def plan_moves(job: Job, axle: AxlePoints, standing: Stand, offset: Judged, thrust: Judged) -> Plan:
    """Everything to be turned on one axle; `offset` and `thrust` are the checks of the same names, with figures."""
    status = axle_status(offset.verdict, thrust.verdict)
    m = mechanism(axle)
    X = standing.frame.xyz[list(axle.numbers)]
    if status == "leave it":
        return Plan(status, (), {}, (), ())
    wanted = _Wanted.of(m, standing, offset, thrust)
    pose = wanted.pose(X)
    change = wanted.change(X)
    threads = _threads(m)
    turns = [turns_for(float(c), t) if t is not None else None for c, t in zip(change, threads, strict=True)]
    fixed = _fixed(m)
    settings = np.array([t.mm if t is not None else c for t, c in zip(turns, change, strict=True)])
    settings[fixed] = 0.0
    after = tuple(
        judged(check, limit, standing)
        for check, limit in _after(m, X, pose, settings, turns, fixed, job, wanted.wobble)
    )  # fmt: skip
    statuses = _statuses(m, offset.verdict, thrust.verdict, status)
    adjusters = tuple(
        _adjuster(m, k, standing, wanted, float(change[k]), float(settings[k]), turns[k], threads[k], statuses[k])
        for k in range(len(m.members)) if k not in fixed
    )  # fmt: skip
    return Plan(status, _end_moves(m, X, pose), _goes(m, standing, X, pose), adjusters, after, wanted.set_upright)


@dataclass(frozen=True)
class _Wanted:
    """The pose wanted as a function of where the points are."""

    m: Mechanism
    keep_offset: bool  # within its limit: it stays as it is
    keep_thrust: bool
    set_upright: bool
    wobble: float  # degrees; what a second stage with the wheels turned half round took off the thrust

    @staticmethod
    def of(m: Mechanism, standing: Stand, offset: Judged, thrust: Judged) -> _Wanted:
        leans = m.pivot is not None and judged(upright(m.axle), UPRIGHT_DEG, standing).verdict == "outside"
        return _Wanted(m, offset.verdict == "within", thrust.verdict == "within", leans, wobble(standing, thrust))

    def pose(self, X: Array) -> Array:
        """(..., 4) for coordinates (..., points, 3) in the car."""
        pose = np.zeros((*X.shape[:-2], 4))
        if not self.keep_offset:
            pose[..., LEFT] = -middle(self.m, X)[..., 1]
        if not self.keep_thrust:
            pose[..., TURN] = -np.radians(thrust_of(self.m, X) + self.wobble)
        if self.set_upright:
            pose[..., CRANK] = crank_lean(self.m, X)
        if self.m.arms and self.m.axle.settings.adjust != "both":
            other = 1 if self.m.axle.settings.adjust == "L" else 0
            pose = forward_with_fixed_arm(self.m, X, pose, other)
        return pose

    def change(self, X: Array) -> Array:
        """(..., k) mm by which each member must grow."""
        pose = self.pose(X)
        return lengths(self.m, X, pose) - lengths(self.m, X, np.zeros_like(pose))


def thrust_of(m: Mechanism, X: Array) -> Array:
    """Yaw (degrees, + left) of the rolling direction: mean of the faces where both are held, else of the ends."""
    if m.faces is None:
        return square(end_places(m, X))
    return np.asarray(sum(face.heading(X[..., f, :], s) for f, s in zip(m.faces, "LR", strict=True)) / 2)


def _threads(m: Mechanism) -> list[Thread | None]:
    return [m.axle.settings.arm] * m.arms + [m.axle.settings.link] * m.rods


def _fixed(m: Mechanism) -> list[int]:
    """Members that cannot be adjusted: the trailing arm of the other side."""
    return [] if m.axle.settings.adjust == "both" or not m.arms else [1 if m.axle.settings.adjust == "L" else 0]


def _after(
    m: Mechanism,
    X: Array,
    pose: Array,
    settings: Array,
    turns: list[Turns | None],
    fixed: list[int],
    job: Job,
    wobbling: float,
) -> list[tuple[Check, float]]:
    """Offset, squareness and rolling direction once every adjuster is set, with what the settings themselves add."""
    name, numbers = m.axle.name, m.axle.numbers

    def reached(X: Array, change: Array) -> Array:
        return settled(m, X, np.broadcast_to(change, (*X.shape[:-2], len(change))),
                       np.broadcast_to(pose, (*X.shape[:-2], 4)).copy())  # fmt: skip

    def offset(X: Array, change: Array) -> Array:
        return np.asarray(middle(m, X)[..., 1] + reached(X, change)[..., LEFT])

    def squareness(X: Array, change: Array) -> Array:
        return np.asarray(square(end_places(m, X)) + np.degrees(reached(X, change)[..., TURN]))

    def thrust(X: Array, change: Array) -> Array:
        return np.asarray(thrust_of(m, X) + wobbling + np.degrees(reached(X, change)[..., TURN]))

    steps = [(k, t.setting_sd) for k, t in enumerate(turns) if t is not None and k not in fixed]
    made = []
    for figure, what, unit, family, words in (
        (offset, "offset", "mm", "offset", _told(name, "stands", sideways)),
        (squareness, "square", "deg", "angle", _told(name, "is out of square by", pointing)),
        (thrust, "thrust", "deg", "angle", _told(name, "rolls", pointing)),
    ):
        further = []
        for k, sd in steps:
            nudge = np.zeros(len(settings))
            nudge[k] = sd
            effect = figure(X, settings + nudge) - figure(X, settings - nudge)
            further.append((f"setting of the {m.names[k]}", float(effect) / 2))
        check = Check(
            f"after.axle.{name}.{what}", unit, numbers, partial(figure, change=settings), words, side_of, family,
            further=tuple(further),
        )  # fmt: skip
        made.append((check, job.limits.get(f"axle.{name}.{what}", job.limits[family])))
    return made


def _told(name: str, verb: str, form: Words) -> Words:
    return lambda value: f"{name} axle then {verb} {form(value)}"


def _statuses(m: Mechanism, offset: Verdict, thrust: Verdict, whole: Status) -> list[Status]:
    """Arms answer for the rolling direction, rods for the offset; where that one is fine they only follow the other."""
    arms = whole if thrust == "within" else STATUS[thrust]
    rods = whole if offset == "within" else STATUS[offset]
    return [arms] * m.arms + [rods] * m.rods


def _adjuster(
    m: Mechanism, k: int, standing: Stand, wanted: _Wanted, move: float, set_to: float, turns: Turns | None,
    thread: Thread | None, status: Status,
) -> Adjuster:  # fmt: skip
    check = Check(f"move.{m.names[k]}", "mm", m.axle.numbers, lambda X: wanted.change(X)[..., k], lambda v: "", side_of)
    j = judged(check, None, standing)
    u95 = j.u95 or 0.0
    X = standing.frame.xyz[list(m.axle.numbers)]
    nothing = abs(move) < LEAST_MOVE or (turns is not None and set_to == 0.0)
    if nothing:
        status = "leave it"
    way = "" if nothing or thread is None else which_way(set_to, thread)
    grows = f"{abs(move):.1f} mm {'longer' if move > 0 else 'shorter'}"
    turned = turns.words if turns is not None and not nothing else ""
    words = f"{m.names[k]}: leave it" if nothing else f"{m.names[k]}: {grows}" + (f", {turned}" if turned else "")
    names = standing.points.names
    rod = (*m.axle.arms, *m.axle.rods)[k]
    return Adjuster(
        m.names[k], names[rod.body], names[rod.axle], float(lengths(m, X, np.zeros(4))[k]), move, u95,
        turns.turns if turns else None, turns.flats if turns else None, set_to, turned, way, status, words,
    )  # fmt: skip


def _goes(m: Mechanism, standing: Stand, X: Array, pose: Array) -> dict[int, Array]:
    low = [lower for _, lower in m.axle.shocks]
    points, shocks = displacements(m, X, pose, standing.frame.xyz[low].reshape(-1, 3))
    return dict(zip((*m.axle.numbers, *low), (*points, *shocks), strict=True))


def _end_moves(m: Mechanism, X: Array, pose: Array) -> tuple[EndMove, ...]:
    """How far each end goes, forward and sideways."""
    ends, about = end_places(m, X), middle(m, X)
    c, s = np.cos(pose[TURN]), np.sin(pose[TURN])
    moved = about[:2] + (ends[:, :2] - about[:2]) @ np.array([[c, s], [-s, c]]) + pose[[FORWARD, LEFT]]
    made = []
    for side, word, at, to in zip("LR", ("left", "right"), ends, moved, strict=True):
        forward, left = (to - at[:2]).tolist()
        ways = [f"{abs(forward):.1f} mm {'forward' if forward > 0 else 'back'}"] if abs(forward) >= LEAST_MOVE else []
        ways += [sideways(left)] if abs(left) >= LEAST_MOVE else []
        made.append(
            EndMove(side, float(at[0]), float(at[1]), forward, left, f"{word} end {', '.join(ways) or 'stays'}")
        )  # fmt: skip
    return tuple(made)
