"""Where the points stand on the recording sheet's sketch: front up, the car's left on the left."""

from collections.abc import Sequence

from measure.job.points import Point
from measure.tape_plan import groups


def sketch_places(points: Sequence[Point]) -> tuple[dict[str, tuple[float, float]], bool]:
    """Places by name in a box from (-1, 0) to (1, 1), y up, and whether they are to scale along the car.

    Factory positions are used where every point of the stations has them. Otherwise the stations stand at
    equal steps in the order of points.csv, pairs at half the width of an axle.
    """
    stations = groups(points)
    listed = [point for station in stations for point in station]
    known = [(p.x, p.y) for p in listed if p.x is not None and p.y is not None]
    if listed and len(known) == len(listed):
        xs = [x for x, _ in known]
        length = max(max(xs) - min(xs), 1.0)
        half = max(max(abs(y) for _, y in known), 1.0)
        places = zip(listed, known, strict=True)
        return {p.name: (-y / half, (x - min(xs)) / length) for p, (x, y) in places}, True
    steps = max(len(stations) - 1, 1)
    placed = {}
    for i, station in enumerate(stations):
        for point in station:
            reach = 1.0 if point.kind == "axle" else 0.6
            across = {"L": -reach, "R": reach}.get(point.side, 0.0)
            placed[point.name] = (across, 1.0 - i / steps if len(stations) > 1 else 0.5)
    return placed, False
