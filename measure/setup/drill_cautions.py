"""What a person must mind before drilling: always, and of this job."""

from __future__ import annotations

from collections.abc import Sequence

from measure.cautions import cautions
from measure.readings.kind import point_of
from measure.readings.tape import tape_of
from measure.setup.plumb_marks import Marks
from measure.setup.target import Target
from measure.survey import Surveyed

ALWAYS = (
    "Pilot first: drill one side 3 to 4 mm, measure where the hole came out, enter it in points.csv as a point of part "
    "mount:NAME named as the hole, and run this again: the other side follows the pilot as drilled.",
    "A bolt through a box section wants a crush sleeve, one through sheet a load spreader plate on the far side; "
    "otherwise the metal pulls in and the bolt comes loose.",
    "Look at what lies behind the panel before any drill turns: fuel and brake lines, wiring, the tank.",
    "A change to the structure of a road car is for local codes and licensed practice to decide.",
    "Never under a car that hangs on a jack alone: stands on firm ground, and shake it before you go under.",
    "Check the third length at every hole before you punch it; where it does not agree, a tape was misread or the car "
    "has moved since the marks were dropped.",
)


def drill_cautions(surveyed: Surveyed, marks: Marks, targets: Sequence[Target]) -> list[str]:
    """Cautions of this job first, then those that always hold."""
    job = surveyed.job
    told = []
    if not marks.dropped:
        told.append(
            "This stage has no plumb marks: drop the bob at the points named with the arcs, and mark the floor. The "
            "arcs allow for those drops."
        )
    tapes = sorted({r.via for r in surveyed.readings if r.kind in ("floor", "car")})
    wrong = [name for name in tapes if tape_of(job, name).zero or tape_of(job, name).scale]
    for name in wrong:
        tape = tape_of(job, name)
        told.append(
            f"The arcs are true lengths. Tape {name or 'in use'} shows {tape.zero:+.1f} mm and "
            f"{1000 * tape.scale:+.2f} mm a metre more: add that when you strike them."
        )  # fmt: skip
    if surveyed.solved.suspects:
        count = len(surveyed.solved.suspects)
        readings = "One reading is" if count == 1 else f"{count} readings are"
        told.append(f"{readings} probably wrong (`plumbsquare check` says which): settle that before drilling.")
    standing = surveyed.standing
    read = {point_of(mark) for reading in surveyed.readings for mark in reading.names}
    for target in targets:
        name = target.wanted.name
        loose = [point for point in target.unheld if point in read]
        if loose:
            told.append(f"{name}: {', '.join(loose)} not held by the readings of this stage, so left out.")
        if standing is not None and any(standing.points.dropped_once[d.point] for d in target.followed):
            told.append(f"{name}: the hole drilled was plumbed once only: drop the bob again before the other side.")
        if not target.pose.rails:
            told.append(f"{name}: no rail points beside it (part rail, two on each side), so no gap is given.")
        if not target.pose.z_known:
            told.append(
                f"{name}: heights were not measured where it goes; what a lean of the car makes of that is allowed for."
            )
    return [*told, *cautions(job, surveyed.stage, surveyed.readings, surveyed.solved, standing), *ALWAYS]
