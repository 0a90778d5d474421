"""Which tapes to run: the list that the recording sheet and the table of a new job have in common."""

from collections.abc import Sequence
from itertools import pairwise, product

from measure.job.points import BODY_PARTS, Point


def groups(points: Sequence[Point]) -> list[list[Point]]:
    """The stations of a car, front to back as first named: pairs, axles, and points that stand alone.

    A station holds its left point, then its right one; points on the centreline or without a twin make a
    station of their own. Wheel faces, drilled mounts, and what hangs on an axle or drives it are left out: a plumb bob
    does not reach them well, and between its stations they would tear the body's own tapes apart.
    """
    stations: dict[tuple[str, str], list[Point]] = {}
    for point in points:
        if point.kind != "axle" and point.part not in (*BODY_PARTS, ""):
            continue
        if point.kind == "axle":
            key = ("axle", point.group)
        elif point.side in ("L", "R") and point.pair is not None:
            key = ("pair", point.pair)
        else:
            key = ("alone", point.name)
        stations.setdefault(key, []).append(point)
    return [sorted(station, key=lambda p: "LRC".index(p.side)) for station in stations.values()]


def tapes_to_run(points: Sequence[Point]) -> list[tuple[str, str]]:
    """Tapes (from, to) in the order of a walk from front to back; about 60 for seven pairs and an axle.

    Each station gets its width; each station and the next, and each and the next but one, get both lengths
    and both diagonals. Widths and lengths alone would let the network lean over like an open gate; the reach
    over the neighbour checks each tape by others and keeps the line of stations straight. An axle is taped to
    the first station as well: long tapes say best how its ends lie fore and aft. No pair of points comes twice.
    """
    stations = groups(points)
    tapes: list[tuple[str, str]] = []
    for i, station in enumerate(stations):
        if len(station) == 2:
            tapes.append((station[0].name, station[1].name))
        for further in stations[i + 1 : i + 3]:
            tapes += _lengths_then_diagonals(station, further)
    for axle in (station for station in stations[3:] if station[0].kind == "axle"):
        tapes += _lengths_then_diagonals(stations[0], axle)
    return tapes


def _lengths_then_diagonals(near: Sequence[Point], far: Sequence[Point]) -> list[tuple[str, str]]:
    """Every point of one station to every point of the other, those of the same side first."""
    both = sorted(product(near, far), key=lambda ends: ends[0].side != ends[1].side)
    return [(a.name, b.name) for a, b in both]


def levels_to_read(points: Sequence[Point]) -> list[tuple[str, str]]:
    """Spirit or water level readings (from, to): across each station, right to left, and along the left side.

    Across holds the car's roll, which nothing else in a taped plan does; along holds its pitch.
    """
    stations = groups(points)
    across = [(station[1].name, station[0].name) for station in stations if len(station) == 2]
    along = [(near[0].name, far[0].name) for near, far in pairwise(stations)]
    return across + along
