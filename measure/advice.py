"""The one further act that would shrink a figure's uncertainty most, and the u95 it would reach.

Acts tried: a second drop of the bob at any point, a further floor tape between any two marks, one more picture,
levelling the car, a further pair for the centreline. Each is predicted from the covariance before it is done (update
of a least-squares solution by further rows); the weights of the centreline are held as they are, which errs on the
careful side.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations
from math import hypot, sqrt
from typing import NamedTuple

import numpy as np

from measure.adjust.stage import Solved
from measure.body.check import Figure
from measure.body.frame import SHIFT, YAW
from measure.body.stand import Judged, Stand
from measure.job import Job
from measure.photo_advice import gain, views
from measure.readings.kind import point_of
from measure.readings.unknowns import Array
from measure.result import ActKind

WORTH_IT = 0.02
"""An act that takes less than this share off u95 is not worth crawling under the car for."""


MOST_MARKS = 60
"""Beyond so many marks no further tape is proposed: such a network has enough of them."""
SHORTEST = 300.0
"""mm, the shortest tape worth proposing."""


@dataclass(frozen=True)
class Act:
    """What to do: its kind, the points or marks it is about, shop words; and the u95 the figure would then have."""

    kind: ActKind
    names: tuple[str, ...]
    words: str
    u95: float


class _What(NamedTuple):
    """An act of which no figure is known yet."""

    kind: ActKind
    names: tuple[str, ...]
    words: str


_Gain = tuple[float, _What]
"""The variance that an act takes off a figure."""


@dataclass(frozen=True)
class _Reading:
    """A reading not yet made, as two rows of four derivatives (2, 4) by the unknowns `columns` (2, 4)."""

    what: _What
    columns: tuple[Array, Array]
    derivatives: tuple[tuple[float, ...], tuple[float, ...]]
    sd: float


class Adviser:
    """Prepared once a stage, asked once a figure."""

    def __init__(self, job: Job, solved: Solved, stand: Stand) -> None:
        self._job, self._solved, self._stand = job, solved, stand
        u = solved.final.network.unknowns
        columns = u.point_columns[[u.point_idx[name] for name in stand.points.names]].ravel()
        there = columns >= 0
        acts = [*self._drops(), *self._tapes()]
        self._views = views(solved, stand.frame)
        self._readings = [act.what for act in acts]
        self._pictures = [_What("picture", (), view.words) for view in self._views]
        self._at = np.array([act.columns for act in acts], dtype=np.int64).reshape(-1, 2, 4)
        self._by = np.array([act.derivatives for act in acts]).reshape(-1, 2, 4)
        Q, at = solved.final.Q, self._at
        cofactors = Q[at[:, :, None, :, None], at[:, None, :, None, :]]
        spread = np.einsum("aik,aijkl,ajl->aij", self._by, cofactors, self._by)
        # of the unknowns (n,) with the points' coordinates in the car (3p,)
        self._covariance = Q[:, columns[there]] @ stand.frame.jacobian[:, there].T
        sources = stand.frame.sources
        self._lean = sources.effects[:, [label.startswith("lean of the car") for label in sources.labels]]
        self._innovation = spread + np.array([act.sd**2 + 1e-12 for act in acts])[:, None, None] * np.eye(2)

    def best(self, judged: Judged) -> Act | None:
        """The most useful single act for a figure; None where none takes off a worthwhile share."""
        figure = judged.figure
        if figure is None or judged.u95 is None or figure.sd == 0:
            return None
        k = judged.u95 / figure.sd
        gains = [*self._reading_gains(figure), *self._picture_gains(figure), *self._other_gains(figure)]
        if not gains:
            return None
        gain, what = min(gains, key=lambda gain: (-round(gain[0], 9), gain[1].words))
        reached = k * sqrt(max(figure.sd**2 - gain, 0.0))
        if reached > judged.u95 * (1 - WORTH_IT):
            return None
        return Act(*what, reached)

    def _drops(self) -> Iterator[_Reading]:
        """A second drop of the bob: the point against its first mark once more, by a short tape between the marks."""
        u = self._solved.final.network.unknowns
        sd = hypot(self._job.sd.plumb, self._job.sd.tape)
        firsts: dict[str, int] = {}
        for mark, name in enumerate(u.marks):
            firsts.setdefault(point_of(name), mark)
        dropped = Counter(map(point_of, u.marks))
        for point, mark in firsts.items():
            columns = np.append(u.point_columns[u.point_idx[point], :2], u.mark_columns[mark])
            words = f"drop the bob {_times(dropped[point] + 1)} at {point} and tape to the new mark"
            what = _What("drop", (point,), words)
            yield _Reading(what, (columns, columns), ((1.0, 0.0, -1.0, 0.0), (0.0, 1.0, 0.0, -1.0)), sd)

    def _tapes(self) -> Iterator[_Reading]:
        """A further floor tape between any two first marks; the second row stays empty."""
        adjustment = self._solved.final
        u, marks = adjustment.network.unknowns, adjustment.state.marks
        firsts = [i for i, name in enumerate(u.marks) if "#" not in name]
        if len(firsts) > MOST_MARKS:
            return
        for a, b in combinations(firsts, 2):
            leg = marks[b] - marks[a]
            length = float(np.linalg.norm(leg))
            if length < SHORTEST:
                continue
            columns = np.append(u.mark_columns[a], u.mark_columns[b])
            along = (*(-leg / length), *(leg / length))
            ends = u.marks[a], u.marks[b]
            what = _What("tape", ends, f"run another floor tape from {ends[0]} to {ends[1]}")
            yield _Reading(what, (columns, columns), (along, (0.0,) * 4), self._job.sd.tape)

    def _reading_gains(self, figure: Figure) -> Iterable[_Gain]:
        """Variance each further reading would take off."""
        moved = np.flatnonzero(figure.gradient)
        shared = np.sum(self._by * (self._covariance[:, moved] @ figure.gradient[moved])[self._at], axis=2)
        taken = np.sum(shared * np.linalg.solve(self._innovation, shared[..., None])[..., 0], axis=1)
        return zip(taken.tolist(), self._readings, strict=True)

    def _picture_gains(self, figure: Figure) -> Iterable[_Gain]:
        """Variance each further picture would take off."""
        moved = np.flatnonzero(figure.gradient)
        shared = self._covariance[:, moved] @ figure.gradient[moved]
        gains = [gain(view, shared, self._solved.final.Q) for view in self._views]
        return zip(gains, self._pictures, strict=True)

    def _other_gains(self, figure: Figure) -> Iterable[_Gain]:
        frame, pairs, job = self._stand.frame, self._stand.centreline.pairs, self._job
        lean = float(np.sum((figure.gradient @ self._lean) ** 2))
        if frame.roll_sd is None and lean > 0 and job.sd.level > 0:
            widths = frame.xyz[pairs.ends[:, 0], 1] - frame.xyz[pairs.ends[:, 1], 1]
            rise = sqrt(2) * hypot(job.sd.build, job.sd.heights)
            roll = np.degrees(rise / (widths.mean() * sqrt(len(widths))))
            taken = lean * max(1.0 - (roll / job.sd.level) ** 2, 0.0)
            yield taken, _What("heights", (), "measure the heights of all points (water level or laser)")
        # a further pair at the better end of the car
        touch = np.array([figure.gradient @ frame.bend[:, YAW], figure.gradient @ frame.bend[:, SHIFT]])
        if touch.any():
            M = frame.axes_covariance
            for station, where in ((frame.stations.max(), "front"), (frame.stations.min(), "rear")):
                d = np.array([station, 1.0])
                Md = M @ d
                gain = float((touch @ Md) ** 2 / (frame.midpoint_variance + d @ Md))
                yield gain, _What("pair", (), f"measure a further pair near the {where} of the car")


def _times(number: int) -> str:
    return {2: "a second time", 3: "a third time"}.get(number, f"for the {number}th time")
