"""The car in space, for its drawing: points, what joins them, where the cameras stood. Millimetres, car axes."""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise
from typing import Any

from measure.web.live import View


def scene(view: View) -> dict[str, Any] | None:
    """Points, lines and cameras as plain data; None where no centreline can be had."""
    doc, surveyed = view.doc, view.surveyed
    if doc is None or surveyed is None or doc.frame != "car":
        return None
    there = [p for p in doc.points if p.x is not None and p.y is not None]
    points = [
        {"name": p.name, "x": p.x, "y": p.y, "z": p.z or 0.0, "side": p.side, "part": p.part.partition(":")[0]}
        for p in there
    ]  # fmt: skip
    groups: dict[tuple[str, str], list[str]] = defaultdict(list)
    for p in there:
        if p.part == "rail":
            groups["rail", p.side].append(p.name)
        elif p.part.startswith("face:"):
            groups["face", p.part + p.side].append(p.name)
        elif p.part.startswith("axle:"):
            groups["axle", p.part].append(p.name)
        if p.pair:
            groups["pair", p.pair].append(p.name)
    lines = []
    for (kind, _), names in groups.items():
        ring = [*names, names[0]] if kind == "face" else names
        lines += [{"kind": kind, "a": a, "b": b} for a, b in pairwise(ring)]
    return {"points": points, "lines": lines, "cameras": _cameras(view), "flat": all(p.z is None for p in there)}


def _cameras(view: View) -> list[dict[str, Any]]:
    """Where each photograph was taken from, and which way the camera looked."""
    surveyed = view.surveyed
    if surveyed is None or surveyed.standing is None:
        return []
    state, frame = surveyed.solved.final.state, surveyed.standing.frame
    seen = {r.via for r in surveyed.readings if r.kind == "target"}
    made = []
    for i, name in enumerate(state.unknowns.setups):
        if name in seen:
            place = frame.car_from_network @ (state.origins[i] - frame.origin)
            ahead = frame.car_from_network @ state.rotations[i][:, 2]
            x, y, z = (float(v) for v in place)
            made.append({"name": name, "x": x, "y": y, "z": z, "look": [float(v) for v in ahead]})
    return made
