"""Printed targets seen in photographs: two rows an image, of the point, the camera's place and turn, and its lens.

The image of a sheet's centre is measured. The point lies `standoff` mm along the sheet's outward normal from there;
where that is not nought the sheet's turn and the half of its printed side are unknowns too, held by its corners.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from measure.job import PHOTOS
from measure.photo.lens import project_with_derivatives
from measure.photo.square import CORNERS
from measure.readings.kind import Kind, Sheet, Site
from measure.readings.reading import Block, Camera, Linearised, Reading, Row
from measure.readings.unknowns import NOWHERE, Array, Index, State, Unknowns
from measure.rotation import cross_matrices
from measure.tables import Column
from measure.tables import Row as TableRow

COLUMNS = (
    Column("target", "number", required=True, minimum=0.0),
    Column("point", "name", required=True),
    Column("side", "length", positive=True),
    Column("standoff", "length"),
    Column("note", "text"),
)
CORNER_SD = 3.0
"""A corner's sd over that of the centre: the centre is a mean of the whole pattern."""
NEAREST = 1.0
"""mm in front of the camera; nearer, or behind, an image is reckoned as from there while the sums find their way."""
PRINTED_SD, BY_EXIF, BY_GUESS = 0.03, 0.1, 0.3
"""Relative sd of lengths by the printed side, where no length was measured: printers shrink pages. More where the focal
length that the first poses rest on was rounded, or guessed."""


def read(rows: Sequence[TableRow], sheet: Sheet) -> list[Reading]:
    """A reading for each image of a target that the rows list."""
    if not rows and not (sheet.job.folder / sheet.stage / PHOTOS).is_dir():
        return []
    from measure.readings.photographs import photographs  # heavy: pictures are decoded there

    return photographs(rows, sheet)


def blocks(readings: Sequence[Reading], site: Site) -> list[Block]:
    """The images of all targets, the corners of sheets that stand off their points, and what is known of each lens."""
    made = [_images(readings, site)]
    on_sheets = [r for r in readings if r.seen and r.seen.standoff != 0]
    if on_sheets:
        made.append(_corners(on_sheets, site))
    cameras = {r.seen.camera.key: r.seen.camera for r in readings if r.seen}
    made += [_lens_prior(cameras[key], i, site) for i, key in enumerate(site.unknowns.lenses)]
    return made + _printed_sizes(readings, site)


def seen_at(readings: Sequence[Reading], state: State) -> Array:
    """Pixels (m, 2) where each image should lie at this state."""
    return _Sights(readings, state.unknowns).look(state)[0]


class _Sights:
    """Where the unknowns of each image (m,) stand."""

    def __init__(self, readings: Sequence[Reading], u: Unknowns) -> None:
        setups = {name: i for i, name in enumerate(u.setups)}
        lenses = {name: i for i, name in enumerate(u.lenses)}
        sheets = {name: i for i, name in enumerate(u.sheets)}
        self.point = np.array([u.point_idx[r.names[0]] for r in readings])
        self.setup = np.array([setups[r.via] for r in readings])
        self.lens = np.array([lenses[r.seen.camera.key] for r in readings if r.seen])
        self.sheet = np.array([sheets.get(r.names[0], NOWHERE) for r in readings])
        self.standoff = np.array([r.seen.standoff for r in readings if r.seen])
        columns = [u.point_columns[self.point], u.setup_columns[self.setup], u.lens_columns[self.lens]]
        if u.sheets:
            columns.append(np.vstack([u.sheet_columns, np.full((1, 4), NOWHERE)])[self.sheet])
        self.columns: Index = np.hstack(columns)

    def look(self, state: State, from_centre: Array | None = None) -> tuple[Array, Array, Array]:
        """Pixels (m, 2), derivatives by the columns (m, 2, 18; 22 with sheets) and by the place looked at (m, 2, 3).

        `from_centre` (m, 3): offset in the network of what is looked at from the sheet's centre.
        """
        normals = np.vstack([state.sheet_rotations[:, :, 2], np.zeros((1, 3))])[self.sheet]
        off = -self.standoff[:, None] * normals  # from the point to what is looked at
        if from_centre is not None:
            off = off + from_centre
        arm = state.positions[self.point] + off - state.origins[self.setup]
        camera_from_network = np.swapaxes(state.rotations[self.setup], 1, 2)
        in_camera = np.einsum("kij,kj->ki", camera_from_network, arm)
        in_camera[:, 2] = np.maximum(in_camera[:, 2], NEAREST)
        pixels, by_camera, by_lens = project_with_derivatives(state.lenses[self.lens], in_camera)
        derivatives = np.zeros((len(arm), 2, self.columns.shape[1]))
        by_place = by_camera @ camera_from_network
        derivatives[:, :, :3], derivatives[:, :, 6:9], derivatives[:, :, 9:18] = by_place, -by_place, by_lens
        # turning the camera by w on the left turns what it sees by -w; turning the sheet by w moves off by w x off
        derivatives[:, :, 3:6] = by_place @ cross_matrices(arm)
        if state.unknowns.sheets:
            derivatives[:, :, 18:21] = -by_place @ cross_matrices(off)
        return pixels, derivatives, by_place


def _images(readings: Sequence[Reading], site: Site) -> Block:
    sights = _Sights(readings, site.unknowns)
    columns = np.repeat(sights.columns, 2, axis=0)

    def linearise(state: State) -> Linearised:
        pixels, derivatives, _ = sights.look(state)
        return pixels.ravel(), derivatives.reshape(columns.shape), columns

    rows = [Row(r, axis, r.values[i]) for r in readings for i, axis in enumerate(("across", "down"))]
    observed = np.array([r.values for r in readings]).ravel()
    return Block(rows, observed, np.repeat([r.sd for r in readings], 2).astype(float), linearise)


def _corners(readings: Sequence[Reading], site: Site) -> Block:
    """Four corners of each image; they hold the sheet's turn and its half side, and are tested with its centre only."""
    fourfold = [r for r in readings for _ in range(4)]
    sights = _Sights(fourfold, site.unknowns)
    corner = np.tile(np.column_stack([CORNERS, np.zeros(4)]), (len(readings), 1))
    columns = np.repeat(sights.columns, 2, axis=0)

    def linearise(state: State) -> Linearised:
        direction = np.einsum("kij,kj->ki", state.sheet_rotations[sights.sheet], corner)
        half = state.sheet_halves[sights.sheet][:, None]
        pixels, derivatives, by_place = sights.look(state, half * direction)
        derivatives[:, :, -1] = np.einsum("kij,kj->ki", by_place, direction)
        return pixels.ravel(), derivatives.reshape(columns.shape), columns

    observed = np.concatenate([r.seen.corners for r in readings if r.seen]).ravel()
    rows = [
        Row(r, f"corner {k + 1} {axis}", float(r.seen.corners[k, i]), tested=False)
        for r in readings if r.seen for k in range(4) for i, axis in enumerate(("across", "down"))
    ]  # fmt: skip
    sd = np.repeat([r.sd * CORNER_SD for r in readings], 8).astype(float)
    return Block(rows, observed, sd, linearise)


def _lens_prior(camera: Camera, lens: int, site: Site) -> Block:
    """What is known of a lens beforehand: nine rows, whitened by the root of its covariance."""
    white = np.linalg.inv(np.linalg.cholesky(camera.covariance))
    columns = np.tile(site.unknowns.lens_columns[lens], (9, 1))
    reading = Reading("lens", camera.known, (camera.key,), tuple(camera.lens.tolist()), 1.0)
    rows = [Row(reading, "", float(v), tested=False) for v in white @ camera.lens]

    def linearise(state: State) -> Linearised:
        return white @ state.lenses[lens], white, columns

    return Block(rows, white @ camera.lens, np.ones(9), linearise)


def _printed_sizes(readings: Sequence[Reading], site: Site) -> list[Block]:
    """One row for each block of photographs without a measured length: its extent by the printed side, vaguely."""
    u = site.unknowns
    found = []
    for block in {r.seen.block.name: r.seen.block for r in readings if r.seen}.values():
        if block.name in site.scaled_blocks:
            continue
        numbers = {r.seen.number: u.point_idx[r.names[0]] for r in readings if r.seen and r.seen.block is block}
        at = np.array([block.places[n] for n in numbers])
        apart = np.linalg.norm(at[:, None] - at[None], axis=2)
        a, b = np.unravel_index(int(np.argmax(apart)), apart.shape)
        ends = list(numbers.values())
        known = {r.seen.camera.known for r in readings if r.seen and r.seen.block is block}
        share = BY_GUESS if "nothing" in known else BY_EXIF if "EXIF" in known else PRINTED_SD
        found.append((ends[int(a)], ends[int(b)], float(apart[a, b]), share))
    if not found:
        return []
    one, other = (np.array([f[i] for f in found], dtype=np.int64) for i in (0, 1))
    extent, sd = np.array([f[2] for f in found]), np.array([f[2] * f[3] for f in found])
    rows = [
        Row(Reading("printed", "", (u.points[a], u.points[b]), (e,), share * e), "", e, tested=False)
        for a, b, e, share in found
    ]
    columns = np.column_stack([u.point_columns[one], u.point_columns[other]])

    def linearise(state: State) -> Linearised:
        leg = state.positions[other] - state.positions[one]
        length = np.linalg.norm(leg, axis=1)
        unit = leg / np.maximum(length, 1e-9)[:, None]
        return length, np.hstack([-unit, unit]), columns

    return [Block(rows, extent, sd, linearise)]


KIND = Kind("targets", COLUMNS, read, blocks, ("target",))
