"""Whether the lengths that give photographs their scale can be believed: against each other, and against the print.

Printing changes a page by a few per cent; a length in another unit or with two digits swapped changes all by more.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from measure.adjust.stage import Solved
from measure.findings import Findings
from measure.photo.lens import rays
from measure.photo.square import poses
from measure.readings.reading import Reading
from measure.readings.tape import LENGTHS
from measure.readings.unknowns import Array

UNLIKELY = 0.02
"""Relative, from which a page is not as it was printed, or a length not as it was measured: told."""
IMPOSSIBLE = 0.10
"""Relative, beyond what printers do (fitting a page to another paper takes 6 %; our judgement): refused."""


def disagreeing_lengths(solved: Solved) -> list[str]:
    """Sources of the lengths that alone give photographs their scale and contradict each other; mostly none."""
    network = solved.as_stated.network
    if "target" not in network.kinds:
        return []
    lengths = {i for i, row in enumerate(network.rows) if row.reading.kind in LENGTHS and solved.as_stated.active[i]}
    for suspect in solved.suspects:
        tied = {*suspect.rows, *suspect.cannot_tell_from}
        if not suspect.set_aside and tied & lengths and lengths <= tied:
            return sorted({network.rows[i].reading.source for i in lengths})
    return []


def out_of_size(readings: Sequence[Reading], solved: Solved) -> float | None:
    """How much larger than stated the targets come out, relative, median; None without a length or without targets."""
    images = [r for r in readings if r.seen is not None and not r.seen.standoff]
    if not images or "printed" in solved.final.network.kinds:
        return None
    return float(np.median(_ratios(images, solved))) - 1.0


def refuse_impossible_sizes(stage: str, readings: Sequence[Reading], solved: Solved, findings: Findings) -> None:
    """Raise BadInput where the lengths make the targets a size that no printer does, and name the lengths."""
    off = out_of_size(readings, solved)
    if off is None or abs(off) <= IMPOSSIBLE:
        return
    used = {id(row.reading) for row, on in zip(solved.final.network.rows, solved.final.active, strict=True) if on}
    side = float(np.median([r.seen.side for r in readings if r.seen]))
    for r in [r for r in readings if r.kind in LENGTHS and id(r) in used][:3]:
        file, _, line = r.source.rpartition(":")
        findings.error(
            f"{stage}/{file}", int(line), "length", r.typed or f"{r.values[0]:g}",
            f"by this length a target of {side:g} mm comes out {side * (1 + off):.1f} mm: look for another unit, "
            "for two digits swapped, for the wrong two targets, or correct side in targets.csv",
        )  # fmt: skip
    findings.raise_if_errors()


def size_caution(readings: Sequence[Reading], solved: Solved) -> list[str]:
    """A caution where the targets come out larger or smaller than printed by more than paper and printer explain."""
    off = out_of_size(readings, solved)
    if off is None or abs(off) <= UNLIKELY:
        return []
    more = "larger" if off > 0 else "smaller"
    return [
        f"By the measured lengths the targets are {100 * abs(off):.0f} % {more} than targets.csv says. Lay a steel "
        "rule on one: either the printer changed the page, which does no harm, or a length in tape.csv is wrong, and "
        "with it every figure in mm."
    ]


def _ratios(images: Sequence[Reading], solved: Solved) -> Array:
    """Distance (m,) of each target from its camera as solved, over the distance that its stated side makes it."""
    u, state = solved.final.network.unknowns, solved.final.state
    setups = {name: i for i, name in enumerate(u.setups)}
    seen = [r.seen for r in images if r.seen]
    pixels, looked = np.stack([s.corners for s in seen]), np.empty((len(seen), 4, 2))
    for i, key in enumerate(u.lenses):
        mine = np.array([s.camera.key == key for s in seen])
        looked[mine] = rays(state.lenses[i], pixels[mine].reshape(-1, 2)).reshape(-1, 4, 2)
    stated = np.linalg.norm(poses(looked, np.array([s.side / 2 for s in seen]))[0], axis=1)
    at = state.positions[[u.point_idx[r.names[0]] for r in images]]
    solved_at = np.linalg.norm(at - state.origins[[setups[r.via] for r in images]], axis=1)
    return np.asarray(solved_at / stated)
