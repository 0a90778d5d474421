"""What happens to an invented car's axle when its arms and rods are lengthened; written apart from the program."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from measure.setup.axle import axle_document
from tests.make_axle_car import ON_AXLE, axle_car, measured, write
from tests.synthetic import Car

Array = NDArray[np.float64]
MEMBERS = {
    "left arm": ("armbodyL", "armaxleL"), "right arm": ("armbodyR", "armaxleR"),
    "left lateral rod": ("rodbodyL", "pintop"), "right lateral rod": ("rodbodyR", "pinlow"),
}  # fmt: skip


def applied(car: Car, changes: Mapping[str, float]) -> tuple[float, float]:
    """(offset mm, rolling direction degrees) of the axle once each member named was lengthened by so much."""
    from scipy.optimize import least_squares

    place = {name: car.where(name) for name in (*MEMBERS_POINTS, "axleL", "axleR", "pivot")}
    wanted = {m: np.linalg.norm(place[a] - place[b]) + changes.get(m, 0.0) for m, (b, a) in MEMBERS.items()}

    def moved(u: Array) -> dict[str, Array]:
        c, s = np.cos(u[2]), np.sin(u[2])
        turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        c, s = np.cos(u[3]), np.sin(u[3])
        crank = np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])
        there = dict(place)
        for name in ("pintop", "pinlow"):
            there[name] = place["pivot"] + crank @ (place[name] - place["pivot"])
        about = (place["axleL"] + place["axleR"]) / 2
        for name in ("axleL", "axleR", *(n for n in ON_AXLE if n in there)):
            there[name] = about + turn @ (there[name] - about) + np.array([u[0], u[1], 0.0])
        return there

    def misfit(u: Array) -> Array:
        there = moved(u)
        return np.array([np.linalg.norm(there[a] - there[b]) - wanted[m] for m, (b, a) in MEMBERS.items()])

    u = least_squares(misfit, np.zeros(4), x_scale=[1.0, 1.0, 1e-3, 1e-2], xtol=1e-14, ftol=1e-14, gtol=1e-14).x
    there = moved(u)
    across = there["axleL"] - there["axleR"]
    return float(there["axleL"][1] + there["axleR"][1]) / 2, float(np.degrees(np.arctan2(-across[0], across[1])))


@dataclass(frozen=True)
class Moved:
    """What one car was said to come to and what it came to: (said, true, u95) of offset and rolling direction."""

    offset: tuple[float, float, float]
    thrust: tuple[float, float, float]
    verdicts: tuple[str, ...]


def moved_as_told(seed: Sequence[int], **how: float) -> Moved | None:
    """One car measured, and each adjuster set as told but for an error of up to half its step; None if nothing is told.

    The axle is off by 6 to 15 mm and 0.5 to 1.2 degrees either way.
    """
    rng = np.random.default_rng(seed)
    sides = rng.choice([-1.0, 1.0], 2)
    car = axle_car(rng, offset=float(sides[0] * rng.uniform(6, 15)), yaw_deg=float(sides[1] * rng.uniform(0.5, 1.2)))
    roll, pitch = rng.uniform(-0.5, 0.5, 2)
    sheet = measured(car, rng, roll_deg=float(roll), pitch_deg=float(pitch), **how)
    with tempfile.TemporaryDirectory() as folder:
        (axle,) = axle_document(write(Path(folder) / "job", sheet, "a car")).axles
    if len(axle.adjusters) < len(MEMBERS):  # a false alarm set the axle's own readings aside: nothing is said
        return None
    turned = {a.name: a.set_to + rng.uniform(-0.5, 0.5) * STEPS[a.name.split()[-1]] for a in axle.adjusters}
    then = {f.name.rpartition(".")[2]: f for f in axle.after}
    offset, thrust = applied(car, turned)
    return Moved(
        (then["offset"].value, offset, then["offset"].u95), (then["thrust"].value, thrust, then["thrust"].u95),
        tuple(f.verdict for f in axle.after),
    )  # fmt: skip


STEPS = {"arm": 3.0 / 24, "rod": 2 * 25.4 / 18 / 24}
"""mm of a quarter flat, by the threads of SETTINGS."""
MEMBERS_POINTS = tuple(dict.fromkeys(name for ends in MEMBERS.values() for name in ends))
