"""What a person must know of a stage's photographs: whether they hold the lens and the scale, and what to add."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import chdtri

from measure.adjust.solver import Adjustment
from measure.adjust.stage import Solved
from measure.job import Job
from measure.photo_scale import disagreeing_lengths, size_caution
from measure.readings.reading import Camera, Reading
from measure.readings.tape import LENGTHS
from measure.readings.unknowns import Array

LENS_OPEN = 0.003
"""Relative sd of a focal length, left after the adjustment, from which the pictures do not hold it."""
TURNED = 45.0
"""Degrees by which some pictures must be rolled against the others to hold the principal point,"""
FEW_TURNED = 2
"""and how many of them."""
LEVEL_HEIGHTS = 150.0
"""mm (sd) of the cameras' heights under which all pictures are from one height."""
WELL_SEEN = 3
"""Photographs from which a mistake in one of a target's images shows."""
MOST_NAMED = 6
CONTRADICTED = 1e-4
"""Chance of a lens so far from what was known of it."""


def photo_cautions(job: Job, stage: str, readings: Sequence[Reading], solved: Solved) -> list[str]:
    """The cautions of a stage with photographs; none for one without."""
    images = [r for r in readings if r.seen is not None]
    if not images:
        return []
    return [
        *_of_the_scale(readings, solved),
        *_of_other_lenses(images, solved.final),
        *_of_the_lenses(images, solved.final),
        *_of_few_pictures(images),
        *_of_faces(job, stage, images),
    ]


def _of_the_scale(readings: Sequence[Reading], solved: Solved) -> list[str]:
    if "printed" in solved.final.network.kinds:
        return [
            "No length was measured between targets, so the photographs hold angles and proportions only: figures in "
            "mm follow the printed size of the sheets, which printers change, and are left undecided. Lay a bar of "
            "known length under the car, or tape two targets, and enter it in tape.csv."
        ]
    told = size_caution(readings, solved)
    if disagreeing := disagreeing_lengths(solved):
        lines = ", ".join(source.replace(":", " line ") for source in disagreeing)
        told.append(
            f"The lengths that give the photographs their scale disagree ({lines}), and nothing tells which is wrong: "
            "figures in mm are left undecided. Measure the bars again, or lay a third."
        )
    final = solved.final
    used = [row.reading for row, on in zip(final.network.rows, final.active, strict=True) if on]
    lengths = {frozenset(r.names) for r in used if r.kind in LENGTHS}
    if len(lengths) == 1 and not any(r.kind in ("xyz", "marks") for r in readings):
        told.append("One length alone gives the photographs their scale, and nothing checks it: lay a second bar.")
    return told


def _of_other_lenses(images: Sequence[Reading], adjustment: Adjustment) -> list[str]:
    """Lenses that these pictures contradict: what was known of them beforehand is another camera's."""
    u, told = adjustment.network.unknowns, []
    for i, key in enumerate(u.lenses):
        mine = [r for r in images if r.seen and r.seen.camera.key == key]
        camera = next(r.seen.camera for r in mine if r.seen)
        off = adjustment.state.lenses[i] - camera.lens
        if float(off @ np.linalg.solve(camera.covariance, off)) <= chdtri(len(off), CONTRADICTED):
            continue
        found, known = adjustment.state.lenses[i, 0], camera.lens[0]
        told.append(
            f"{_which(camera, len(u.lenses), sorted({r.via for r in mine}))} They contradict what was known beforehand "
            f"(focal length {known:.0f} pixels, here {found:.0f}): another camera, zoom, or pictures cut to size? "
            "Calibrate with the settings of these pictures, or take what does not belong to them away."
        )
    return told


def _of_the_lenses(images: Sequence[Reading], adjustment: Adjustment) -> list[str]:
    u, state = adjustment.network.unknowns, adjustment.state
    setups = {name: i for i, name in enumerate(u.setups)}
    told = []
    for i, key in enumerate(u.lenses):
        mine = [r for r in images if r.seen and r.seen.camera.key == key]
        pictures = sorted({r.via for r in mine})
        camera = next(r.seen.camera for r in mine if r.seen)
        sd = np.sqrt(np.maximum(np.diag(adjustment.Q)[u.lens_columns[i]], 0.0))
        open_ = sd[0] > LENS_OPEN * state.lenses[i, 0]
        turned = _turned([state.rotations[setups[p]] for p in pictures])
        if not open_ and (turned >= FEW_TURNED or camera.known not in ("EXIF", "nothing")):
            continue
        told.append(f"{_which(camera, len(u.lenses), pictures)} {_what_to_add(open_, turned, pictures, adjustment)}")
    return told


def _which(camera: Camera, lenses: int, pictures: Sequence[str]) -> str:
    of = f" of {pictures[0]} and {len(pictures) - 1} more" if lenses > 1 and len(pictures) > 1 else ""
    known = (
        "nothing in the pictures says its focal length" if camera.known == "nothing" else f"known from {camera.known}"
    )
    return f"The lens{of} ({known}) is solved from these pictures."


def _what_to_add(open_: bool, turned: int, pictures: Sequence[str], adjustment: Adjustment) -> str:
    u = adjustment.network.unknowns
    heights = adjustment.state.origins[[i for i, name in enumerate(u.setups) if name in pictures], 2]
    add = []
    if turned < FEW_TURNED:
        add.append("hold the phone turned a quarter for some")
    if np.std(heights) < LEVEL_HEIGHTS:
        add.append("take some from higher and lower")
    if open_ and not add:
        add.append("take some from nearer and farther, at a slant")
    do = ", ".join(add)
    if open_:
        return f"They hold it poorly, which the uncertainty allows for: {do}. Or calibrate the camera once."
    return f"To hold it better: {do}."


def _turned(rotations: Sequence[Array]) -> int:
    """Pictures rolled against the commoner way of holding the camera (landscape or portrait), about the view axis."""
    roll = []
    for R in rotations:  # network_from_camera: columns are the camera's axes in the network
        forward = R[:, 2]
        up = np.array([0.0, 0.0, 1.0]) - forward * forward[2]
        if np.linalg.norm(up) < 0.2:
            up = np.array([1.0, 0.0, 0.0]) - forward * forward[0]  # looking straight up or down: any fixed way will do
        roll.append(np.degrees(np.arctan2(R[:, 0] @ up, -R[:, 1] @ up)))
    gap = np.abs((np.array(roll)[:, None] - np.array(roll)[None] + 180.0) % 360.0 - 180.0)
    alike = np.sum(gap < TURNED, axis=1)
    return int(len(rotations) - np.max(alike))


def _of_few_pictures(images: Sequence[Reading]) -> list[str]:
    views: dict[str, int] = {}
    for r in images:
        views[r.names[0]] = views.get(r.names[0], 0) + 1
    few = [name for name, count in views.items() if count < WELL_SEEN]
    if not few:
        return []
    more = f" and {len(few) - MOST_NAMED} more" if len(few) > MOST_NAMED else ""
    return [
        f"Seen in two photographs only, so that a mistake there would hardly show: {', '.join(few[:MOST_NAMED])}{more}."
    ]


def _of_faces(job: Job, stage: str, images: Sequence[Reading]) -> list[str]:
    faces = sorted({job.point(r.names[0]).group for r in images if job.point(r.names[0]).kind == "face"})
    info = job.stage_info.get(stage)
    if not faces or (info is not None and info.turned):
        return []
    return [
        f"The faces of {', '.join(faces)} were photographed in one position of the wheel. A hub wobbles, and sheets "
        "are never glued quite about its axis, which looks like an axle out of square: turn it half a turn, photograph "
        f"once more as a stage of its own, and name that stage in [stage.{stage}] as turned."
    ]
