"""Starting values of photographs: each joined block is one more set of axes in space, sized by what was taped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from measure.photo.first_poses import FirstPoses
from measure.readings.kind import Site, point_of
from measure.readings.reading import Reading
from measure.readings.tape import LENGTHS
from measure.readings.unknowns import Array, State

MISPRINTED = 0.1
"""Relative, by which printers change a page at most, and lengths by the printed side with it."""


class PhotoBlocks:
    """The blocks of a stage: their points in axes of their own, and what follows from where those axes lie."""

    def __init__(self, site: Site, readings: Sequence[Reading]) -> None:
        self._site = site
        self._images = [r for r in readings if r.seen is not None]
        self._blocks: dict[str, FirstPoses] = {r.seen.block.name: r.seen.block for r in self._images if r.seen}
        self._size = {name: self._scale(block, readings) for name, block in self._blocks.items()}

    def __contains__(self, name: str) -> bool:
        return name in self._blocks

    def places(self) -> dict[str, dict[int, Array]]:
        """Block -> point number -> (3,) mm in the block's axes."""
        made: dict[str, dict[int, Array]] = {name: {} for name in self._blocks}
        for r in self._images:
            if r.seen:
                made[r.seen.block.name][self._site.unknowns.point_idx[r.names[0]]] = self._place(r)
        return made

    def poses(self, block: str, R: Array, t: Array) -> dict[str, tuple[Array, Array]]:
        """Photograph -> (network_from_camera, place), where R and t bring the block into the network."""
        b, size = self._blocks[block], self._size[block]
        return {name: (R @ b.rotations[name], R @ (size * b.centres[name]) + t) for name in b.rotations}

    def sheets(self, rotations: dict[str, Array]) -> tuple[Array, Array]:
        """network_from_sheet (s, 3, 3) and half sides (s,); `rotations` network_from_block by block."""
        by_point = {r.names[0]: r.seen for r in self._images if r.seen}
        turns, halves = [], []
        for point in self._site.unknowns.sheets:
            seen = by_point[point]
            turns.append(rotations[seen.block.name] @ seen.block.sheets[seen.number])
            halves.append(seen.side / 2)
        return np.array(turns).reshape(-1, 3, 3), np.array(halves)

    def lenses(self) -> Array:
        """(lenses, 9) as known beforehand."""
        known = {r.seen.camera.key: r.seen.camera.lens for r in self._images if r.seen}
        return np.array([known[key] for key in self._site.unknowns.lenses]).reshape(-1, 9)

    def _place(self, reading: Reading, size: float | None = None) -> Array:
        seen = reading.seen
        if seen is None:
            raise ValueError("not an image")
        block, number = seen.block, seen.number
        size = self._size[block.name] if size is None else size
        return np.asarray(size * block.places[number] + seen.standoff * block.sheets[number][:, 2])

    def _scale(self, block: FirstPoses, readings: Sequence[Reading]) -> float:
        """What the block must be multiplied by for its taped lengths: their median, straight ones before floor ones."""
        places = {r.names[0]: self._place(r, 1.0) for r in self._images if r.seen and r.seen.block is block}
        ratios: dict[bool, list[float]] = {True: [], False: []}
        for r in readings:
            ends = [places.get(point_of(name)) for name in r.names]
            if r.kind in LENGTHS and ends[0] is not None and ends[1] is not None:
                apart = float(np.linalg.norm(ends[1] - ends[0]))
                if apart > 1.0:
                    ratios[r.kind != "floor"].append(r.values[0] / apart)
        chosen = ratios[True] or ratios[False]
        likely = [ratio for ratio in chosen if abs(ratio - 1.0) < MISPRINTED]  # one in another unit must not drag it
        return float(np.median(likely or chosen)) if chosen else 1.0


def with_sheets(state: State, blocks: PhotoBlocks, rotations: dict[str, Array]) -> State:
    """The state with what photographs bring besides cameras' places: lenses and sheets."""
    turns, halves = blocks.sheets(rotations)
    return replace(state, lenses=blocks.lenses(), sheet_rotations=turns, sheet_halves=halves)
