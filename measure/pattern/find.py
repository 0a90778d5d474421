"""From a car that stands to what moved: the best explanation, what it leaves over, and every rival."""

from __future__ import annotations

from dataclasses import dataclass
from math import radians, sqrt, tan

import numpy as np
from scipy.special import ndtri

from measure import __version__
from measure.body.evidence import Evidence
from measure.body.explanations import Explanation, Search, tied
from measure.body.moved import explained
from measure.body.movements import Movement
from measure.body.verdict import judge
from measure.findings import BadInput
from measure.job import Job, inputs_sha256
from measure.pattern.result import Part, Pattern, Place, Seen, Told, Unexplained
from measure.pattern.tell import cautions, would_tell
from measure.pattern.words import KINDS, wrong
from measure.survey import Surveyed

K95 = 1.96
POWER = 0.84
"""Normal quantile of 80 %: a movement of sqrt(price) + POWER sd is found in four of five cars."""
MOST_TOLD = 6
HIDDEN = 8.0
"""mm; where a section could stand farther off than this and not be found, that nothing was found says nothing."""
IMPROBABLE = 0.001
"""A misfit this improbable after the best explanation: it is not the whole story."""
FEWEST_PAIRS = 3


@dataclass(frozen=True)
class Found:
    """The explanations behind a Pattern: for the corrections, which undo the best."""

    seen: Evidence
    moves: list[Movement]
    search: Search
    likely: list[Explanation]
    pattern: Pattern

    @property
    def best(self) -> Explanation:
        """The explanation told first."""
        return self.likely[0]


def find_pattern(surveyed: Surveyed) -> Found:
    """What moved. Raises BadInput where no centreline can be had."""
    job, standing = surveyed.job, surveyed.standing
    if standing is None:
        surveyed.findings.error(
            surveyed.stage, None, None, "too little to have a centreline by",
            "measure at least three pairs that stand apart along the car: a pattern is told by how they differ",
        )  # fmt: skip
        raise BadInput(surveyed.findings)
    seen, moves, search, likely = explained(
        job, standing.points, standing.centreline.pairs, standing.frame, standing.chart
    )
    told = [_told(e, likely[0], search, moves, job, seen) for e in likely]
    alike = [t for e, t in zip(likely[1:], told[1:], strict=True) if tied(e, likely[0])]
    rivals = [t for e, t in zip(likely[1:], told[1:], strict=True) if not tied(e, likely[0])]
    smallest = _smallest(search, moves, seen)
    pattern = Pattern(
        job=job.title, stage=surveyed.stage, units=job.units, version=__version__,
        inputs_sha256=inputs_sha256(job.folder, surveyed.stage), axes=_axes(seen),
        answer=_answer(told, surveyed, seen, smallest), best=told[0], tied=alike[:MOST_TOLD], rivals=rivals[:MOST_TOLD],
        more_rivals=max(len(rivals) - MOST_TOLD, 0) + max(len(alike) - MOST_TOLD, 0),
        unexplained=_unexplained(search, likely[0], seen), would_tell=would_tell(likely, moves, seen),
        smallest_seen=smallest,
        points=_places(job, seen, moves, likely[0], standing.points.height_known),
        cautions=cautions(surveyed, seen, likely[0], moves), notes=[f.text() for f in surveyed.findings.notes],
    )  # fmt: skip
    return Found(seen, moves, search, likely, pattern)


def _axes(seen: Evidence) -> str:
    return "chart" if seen.laid else "symmetry and charted lengths" if any(seen.charted) else "symmetry"


def exit_status(pattern: Pattern) -> int:
    """0 no pattern, or inside the limits; 1 found outside them; 3 undecided."""
    return {"none": 0, "within": 0, "found": 1, "undecided": 3}[pattern.answer]


def _told(e: Explanation, best: Explanation, search: Search, moves: list[Movement], job: Job, seen: Evidence) -> Told:
    parts = [_part(moves[k], size, sd, job, seen) for k, size, sd in zip(e.parts, e.sizes, e.sd, strict=True)]
    return Told(
        parts, e.misfit, search.freedom - len(parts), search.improbable(e), e.score - best.score,
        _in_words(e, best, parts),
    )  # fmt: skip


def _in_words(e: Explanation, best: Explanation, parts: list[Part]) -> str:
    """All its parts; of a rival only those that the best does not have, if it has others."""
    shared = set(e.parts) & set(best.parts) if e is not best else set()
    own = [p.words for k, p in zip(e.parts, parts, strict=True) if k not in shared]
    if not parts:
        return "nothing moved"
    if not own:
        return f"only {'; and '.join(p.words for p in parts)}"
    return "; and ".join(own) + (", the rest alike" if shared else "")


def _part(m: Movement, size: float, sd: float, job: Job, seen: Evidence) -> Part:
    limit = job.limits["offset"] if m.kind == "sway" or m.form == "sideways" else job.limits["chart"]
    if m.form == "square" and m.turn:
        limit = tan(radians(job.limits["angle"])) / abs(m.turn)
    u95 = K95 * sd
    pairs = [] if m.kind == "axle" else list(dict.fromkeys([m.first, m.last]))
    return Part(
        m.kind, m.form, size, u95, "mm", limit, judge(size, u95, limit), pairs, m.hinge, m.side,
        [seen.names[i] for i in m.points], wrong(m, size),
    )  # fmt: skip


def _answer(told: list[Told], surveyed: Surveyed, seen: Evidence, smallest: list[Seen]) -> str:
    """One word for all the likely explanations together."""
    standing = surveyed.standing
    if standing is None or not standing.points.scaled:
        return "undecided"
    if len(seen.stations) < FEWEST_PAIRS and not any(seen.charted):
        return "undecided"
    first, others = _of_one(told[0]), {_of_one(t) for t in told[1:]}
    if first == "found":
        return first if others <= {"found"} else "undecided"
    # that nothing moved is the plainest explanation: less likely ones count against it where they would lie outside
    if "found" in others or told[0].left_over < IMPROBABLE:
        return "undecided"
    sway = next(s.size for s in smallest if s.kind == "sway")
    return first if sway is not None and sway <= HIDDEN else "undecided"


def _of_one(told: Told) -> str:
    verdicts = {p.verdict for p in told.parts}
    if not verdicts:
        return "none"
    return "found" if "outside" in verdicts else "undecided" if "undecided" in verdicts else "within"


def _unexplained(search: Search, best: Explanation, seen: Evidence) -> list[Unexplained]:
    size, w = search.left_over(best)
    limit = -float(ndtri(0.025 / max(len(w), 1)))
    made = []
    for k in np.argsort(-np.abs(np.round(w, 9)), kind="stable"):
        if abs(w[k]) <= limit:
            break
        row = seen.rows[k]
        made.append(
            Unexplained(row.of, row.figure, float(size[k]), float(w[k]), _left(row.of, row.figure, float(size[k])))
        )
    return made


def _left(of: str, figure: str, size: float) -> str:
    ways = {
        "x": ("forward", "rearward"), "y": ("to the left", "to the right"), "z": ("up", "down"),
        "offset": ("to the left", "to the right"), "lead": ("left ahead", "right ahead"),
        "rise": ("left higher", "right higher"), "length": ("too long", "too short"),
    }[figure]  # fmt: skip
    return f"{of}: still {abs(size):.1f} mm {ways[0] if size > 0 else ways[1]}"


def _smallest(search: Search, moves: list[Movement], seen: Evidence) -> list[Seen]:
    """For the middle one of each kind."""
    made = []
    usable = set(search.usable.tolist())
    for kind, words in KINDS.items():
        sd = sorted(1.0 / sqrt(search.normal[k, k]) for k, m in enumerate(moves) if m.kind == kind and k in usable)
        if not sd and kind == "axle" and not seen.axles:
            continue
        size = (sqrt(search.price) + POWER) * sd[len(sd) // 2] if sd else None
        made.append(Seen(kind, size, words))
    return made


def _places(
    job: Job, seen: Evidence, moves: list[Movement], best: Explanation, height_known: np.ndarray
) -> list[Place]:
    moved = np.zeros((len(seen.names), 3))
    for k, size in zip(best.parts, best.sizes, strict=True):
        moved += size * moves[k].field.reshape(-1, 3)
    made = []
    for i, name in enumerate(seen.names):
        point = job.point(name)
        x, y, z = seen.xyz[i].tolist()
        dx, dy, dz = moved[i].tolist()
        high = z if height_known[i] else None
        made.append(Place(name, x, y, high, dx, dy, dz, point.side, point.pair, point.part))
    return made
