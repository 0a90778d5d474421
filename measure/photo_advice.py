"""From where to take one more picture: what each of some standpoints round the car would take off a figure's variance.

The new picture brings six unknowns of its own (place and turn); they are projected out before its rows are weighed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from measure.adjust.stage import Solved
from measure.body.frame import Frame
from measure.photo.lens import project_with_derivatives
from measure.readings.reading import Reading
from measure.readings.unknowns import Array, Index
from measure.rotation import cross_matrices

DISTANCE = 1600.0
"""mm from the middle of the car's points, or of one end of them, to a person with a phone,"""
HEIGHTS = (-250.0, 350.0)
"""mm, the phone below and above the points."""
FACING = 0.25
"""Cosine of the slant under which a sheet is still read."""
FEWEST = 4
"""Targets that make a picture worth taking."""
EDGE = 60.0
"""px kept clear along the picture's border."""
WHERE = (
    ("front", 1.0, 0.0), ("left front", 0.7, 0.7), ("left", 0.0, 1.0), ("left rear", -0.7, 0.7),
    ("rear", -1.0, 0.0), ("right rear", -0.7, -0.7), ("right", 0.0, -1.0), ("right front", 0.7, -0.7),
)  # fmt: skip


@dataclass(frozen=True)
class View:
    """A picture not yet taken: `words`; whitened rows (k, c) by the unknowns `columns` (c,), its own pose taken out."""

    words: str
    columns: Index
    rows: Array


def views(solved: Solved, frame: Frame) -> list[View]:
    """Pictures worth taking; none for a stage without photographs. Signs and words are in the car's axes."""
    images = [r for r in solved.final.network.rows if r.reading.seen is not None and r.tested]
    one_each = {row.reading.names[0]: row.reading for row in images}
    if len(one_each) < FEWEST:
        return []
    names = list(one_each)
    u, state = solved.final.network.unknowns, solved.final.state
    at = state.positions[[u.point_idx[name] for name in names]]
    normals = _normals(solved, list(one_each.values()))
    typical = images[len(images) // 2].reading
    made = []
    for words, eye, aim in _standpoints(at, frame):
        view = _view(words, eye, aim, names, at, normals, typical, solved)
        if view is not None:
            made.append(view)
    return made


def gain(view: View, shared: Array, Q: Array) -> float:
    """Variance that the view takes off a figure whose covariance with all unknowns is `shared` (n,)."""
    pull = view.rows @ shared[view.columns]
    innovation = np.eye(len(pull)) + view.rows @ Q[np.ix_(view.columns, view.columns)] @ view.rows.T
    return float(pull @ np.linalg.solve(innovation, pull))


def _standpoints(at: Array, frame: Frame) -> Iterator[tuple[str, Array, Array]]:
    """(words, eye, aim) in the network."""
    network_from_car = frame.car_from_network.T
    in_car = (at - frame.origin) @ frame.car_from_network.T
    low, high = in_car.min(axis=0), in_car.max(axis=0)
    middle = (low + high) / 2
    for where, along, across in WHERE:
        aim = middle + (high - low) / 4 * [along, across, 0.0]
        for rise in HEIGHTS:
            reach = (high - low) / 2 * [along, across, 0.0]
            eye = (
                middle + reach + DISTANCE * np.array([along, across, 0.0]) / np.hypot(along, across) + [0.0, 0.0, rise]
            )
            how = "low down" if rise < 0 else "from above"
            words = f"take one more picture from the {where}, {how}"
            yield words, network_from_car @ eye + frame.origin, network_from_car @ aim + frame.origin


def _normals(solved: Solved, one_each: list[Reading]) -> Array:
    """Outward normals (k, 3) of the sheets in the network, from their first poses."""
    u, state = solved.final.network.unknowns, solved.final.state
    setups = {name: i for i, name in enumerate(u.setups)}
    normals = []
    for r in one_each:
        if r.seen is None:
            continue
        network_from_block = state.rotations[setups[r.via]] @ r.seen.block.rotations[r.via].T
        normals.append(network_from_block @ r.seen.block.sheets[r.seen.number][:, 2])
    return np.array(normals)


def _view(
    words: str, eye: Array, aim: Array, names: list[str], at: Array, normals: Array, typical: Reading, solved: Solved
) -> View | None:
    if typical.seen is None:
        return None
    u, state = solved.final.network.unknowns, solved.final.state
    forward = (aim - eye) / np.linalg.norm(aim - eye)
    right = np.cross(forward, [0.0, 0.0, 1.0])
    if np.linalg.norm(right) < 1e-6:
        return None
    right /= np.linalg.norm(right)
    R = np.column_stack([right, np.cross(forward, right), forward])
    lens = u.lenses.index(typical.seen.camera.key)
    arm = at - eye
    in_camera = arm @ R
    facing = -np.sum(arm * normals, axis=1) / np.linalg.norm(arm, axis=1)
    ahead = np.flatnonzero((in_camera[:, 2] > 300.0) & (facing > FACING))
    pixels, by_camera, by_lens = project_with_derivatives(state.lenses[lens], in_camera[ahead])
    size = np.array([typical.seen.camera.width, typical.seen.camera.height])
    inside = np.all((pixels > EDGE) & (pixels < size - EDGE), axis=1)
    seen = ahead[inside]
    if len(seen) < FEWEST:
        return None
    by_place = by_camera[inside] @ R.T
    pose = np.concatenate([by_place @ cross_matrices(arm[seen]), -by_place], axis=2).reshape(-1, 6)
    columns = np.concatenate([u.point_columns[[u.point_idx[names[i]] for i in seen]].ravel(), u.lens_columns[lens]])
    rows = np.zeros((2 * len(seen), len(columns)))
    for k in range(len(seen)):
        rows[2 * k : 2 * k + 2, 3 * k : 3 * k + 3] = by_place[k]
        rows[2 * k : 2 * k + 2, -9:] = by_lens[inside][k]
    # what no turn or shift of the new camera can take up is what the picture tells
    left = np.linalg.qr(pose / np.abs(pose).max(axis=0), mode="complete")[0][:, 6:]
    return View(words, columns, left.T @ rows / typical.sd)
