"""What the checks would say of a car if its points were known exactly.

Written apart from the program, from the table of checks alone: the program is tested against it.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from tests.synthetic.car import Array, Car

if TYPE_CHECKING:
    from tests.synthetic.survey import Survey


def car_from_design(car: Car) -> Array:
    """(3, 3) rotation into the car's own axes: x along the line through the pairs' midpoints, y as designed.

    The symmetry plane is the design's; only the pitch is turned, by the least-squares line through all
    midpoints. Without pairs nothing is turned.
    """
    middles = np.array([(car.points[i] + car.points[j]) / 2.0 for _, i, j in car.pairs()])
    if len(middles) < 2:
        return np.eye(3)
    slope = np.polyfit(middles[:, 0], middles[:, 2], 1)[0]
    c, s = np.array([1.0, slope]) / np.hypot(1.0, slope)
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])


def truth(car: Car, *, chart: bool = False) -> dict[str, float]:
    """Check name -> value, mm and degrees, in the car's own axes; `chart` adds deviations from the design."""
    p = car.points @ car_from_design(car).T
    figures = _pairs(car, p) | _rails(car, p) | _axle(car, p) | _faces(car, p)
    if chart:
        off = car.points - car.design
        figures |= {
            f"chart.{m.name}.{axis}": float(off[i, k]) for i, m in enumerate(car.meta) for k, axis in enumerate("xyz")
        }
    return figures


def tilt(car: Car, survey: Survey) -> tuple[float, float]:
    """(roll + left side high, pitch + nose low) of the car's own axes to gravity, degrees."""
    r = survey.network_from_car @ car_from_design(car).T
    return float(np.degrees(np.arctan2(r[2, 1], r[2, 2]))), float(np.degrees(-np.arcsin(r[2, 0])))


def _pairs(car: Car, p: Array) -> dict[str, float]:
    figures = {}
    pairs = car.pairs()
    for key, i, j in pairs:
        figures[f"pair.{key}.offset"] = (p[i, 1] + p[j, 1]) / 2.0
        figures[f"pair.{key}.lead"] = p[i, 0] - p[j, 0]
        figures[f"pair.{key}.rise"] = p[i, 2] - p[j, 2]
        figures[f"pair.{key}.width"] = np.linalg.norm(p[i] - p[j])
    for (front, fi, fj), (rear, ri, rj) in pairwise(pairs):
        figures[f"cross.{front}.{rear}"] = np.linalg.norm(p[fi] - p[rj]) - np.linalg.norm(p[fj] - p[ri])
    if len(pairs) > 1:
        roll = [np.degrees(np.arctan2(p[i, 2] - p[j, 2], p[i, 1] - p[j, 1])) for _, i, j in pairs]
        figures["body.twist"] = roll[-1] - roll[0]
    return {name: float(value) for name, value in figures.items()}


def _rails(car: Car, p: Array) -> dict[str, float]:
    figures = {}
    pairs = [(key, i, j) for key, i, j in car.pairs() if car.meta[i].part == "rail"]
    if len(pairs) < 2:
        return {}
    angles = []
    for side, out in (("L", 1.0), ("R", -1.0)):
        rail = p[car.part("rail", side), :2]
        own_line = np.linalg.svd(rail - rail.mean(axis=0))[2][0]  # the line nearest to its points
        angles.append(float(np.degrees(np.arctan(own_line[1] / own_line[0]))))
        figures[f"rail.{side}.angle"] = angles[-1]
        along = (rail[0] - rail[-1]) / np.linalg.norm(rail[0] - rail[-1])
        off = out * (along[0] * (rail - rail[-1])[:, 1] - along[1] * (rail - rail[-1])[:, 0])
        figures[f"rail.{side}.bow"] = float(off[np.argmax(np.abs(off))])
    offsets = [(p[i, 1] + p[j, 1]) / 2.0 for _, i, j in pairs]
    figures["rails.yaw"] = float(np.mean(angles))
    figures["rails.asymmetry"] = float(max(offsets, key=abs))
    spacing = [p[i, 1] - p[j, 1] for _, i, j in pairs]
    figures["rails.taper"] = float(spacing[0] - spacing[-1])
    return figures


def _axle(car: Car, p: Array) -> dict[str, float]:
    if not car.part("axle:rear", "L"):
        return {}
    left, right = (p[car.part("axle:rear", side)[0]] for side in "LR")
    square = float(np.degrees(np.arctan2(right[0] - left[0], left[1] - right[1])))
    return {
        "axle.rear.offset": float((left[1] + right[1]) / 2.0),
        "axle.rear.square": square,
        "axle.rear.thrust": square,
        "axle.rear.lead": float(left[0] - right[0]),
    }


def _faces(car: Car, p: Array) -> dict[str, float]:
    figures, headings, centres = {}, [], []
    for side, sign in (("L", 1.0), ("R", -1.0)):
        studs = p[car.part("face:rear", side)]
        if len(studs) < 3:
            return {}
        centres.append(studs.mean(axis=0))
        normal = np.linalg.svd(studs - centres[-1])[2][2]
        normal *= np.sign(normal[1]) * sign  # outward
        headings.append(float(np.degrees(np.arctan2(-sign * normal[0], sign * normal[1]))))
        figures[f"face.rear.{side}.toe"] = -sign * headings[-1]
        figures[f"face.rear.{side}.camber"] = float(np.degrees(np.arcsin(-normal[2])))
    figures["axle.rear.thrust"] = float(np.mean(headings))
    if not car.part("axle:rear", "L"):  # the centres of the circles stand for the axle ends
        left, right = centres
        figures["axle.rear.offset"] = float((left[1] + right[1]) / 2.0)
        figures["axle.rear.square"] = float(np.degrees(np.arctan2(right[0] - left[0], left[1] - right[1])))
        figures["axle.rear.lead"] = float(left[0] - right[0])
    return figures
