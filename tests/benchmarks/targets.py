"""Targets in pictures: how near to the truth, how many found, how fast, and what clutter is mistaken for one.

`python -m tests.benchmarks.targets [FOLDER...] [--clutter N] [--pictures N]`: each FOLDER holds truth.json (K, dist,
targets with corners in mm, photos with R, t) and before/photos. Beside our figures those of the plain chain: the common
detector with its sub-pixel corners, the centre as their diagonals' crossing and as their mean. Prints; asserts nothing.
"""

from __future__ import annotations

import argparse
import json
import os
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from measure.photo.find import FoundPicture, find_in
from measure.photo.linear import LIGHT
from tests.synthetic.photos import Camera, Look, Scene, Sheet, aimed, facing, jpeg, render, sights

Array = NDArray[np.float64]
Grey = NDArray[np.uint8]
Places = dict[int, Array]

BINS = ((25.0, 35.0), (35.0, 50.0), (50.0, np.inf))
"""px, sides by which the share found is told."""
CLEAR = 0.999
FAR_OFF = 1.0
"""px, an error from which a centre is a blunder, told apart from the rms."""
LOOKS: dict[str, tuple[Look, float]] = {
    "clear": (Look(), 2600.0),
    "blurred 1.5 px": (Look(blur_px=1.5), 2600.0),
    "blurred 2.5 px": (Look(blur_px=2.5), 2600.0),
    "motion 4 px": (Look(motion_px=4.0, motion_deg=25.0), 2600.0),
    "noisy": (Look(electrons=1200.0, read_noise=12.0), 2600.0),
    "small, 25 to 45 px": (Look(), 7000.0),
}
"""Looks, and mm from the wall."""


@dataclass
class Tally:
    """Errors of one way of finding centres, px an axis."""

    errors: list[Array] = field(default_factory=list)
    sd: list[float] = field(default_factory=list)

    def line(self, name: str) -> str:
        off = np.array(self.errors).reshape(-1, 2)
        far = np.abs(off).max(axis=1) > FAR_OFF if len(off) else np.zeros(0, dtype=bool)
        kept = off[~far]
        middle = float(np.median(np.linalg.norm(off, axis=1))) if len(off) else float("nan")
        words = f"    {name:33} {len(off):4} targets, rms {_rms(kept):.4f} px an axis, median distance {middle:.4f}, "
        words += f"mean {_mean(kept)}"
        if far.any():
            words += f", {int(far.sum())} off by more than {FAR_OFF:g} px"
        if self.sd:
            ratio = (off / np.array(self.sd)[:, None])[~far]
            words += f", error over sd {_rms(ratio):.2f}, beyond 3 sd {100 * np.mean(np.abs(ratio) > 3):.1f} %"
        return words


@dataclass
class Photo:
    """A picture on disk; of each target its true centre, side px and whether nothing hides it (None: not known).

    `there`: all numbers about, also those that are slanted away or cut by the frame.
    """

    path: Path
    centres: Places
    sides: dict[int, float]
    clear: dict[int, bool] | None
    there: frozenset[int]


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2))) if values.size else float("nan")


def _mean(values: Array) -> str:
    return ", ".join(f"{v:+.4f}" for v in values.mean(axis=0)) if len(values) else "-"


def wall(distance: float, seed: int) -> tuple[Scene, tuple[float, float]]:
    """48 sheets on a wall that fills the frame from this distance, each tilted and spun at random."""
    rng = np.random.default_rng(seed)
    apart = min(distance * 4000 / 2950 / 9, 0.24 * distance)
    numbers = rng.permutation(587)[:48]
    sheets = []
    for k, number in enumerate(numbers):
        row, column = divmod(k, 8)
        centre = apart * np.array([0.0, column - 3.5, row - 2.5]) + np.append(
            rng.uniform(-200, 200), rng.uniform(-20, 20, 2)
        )
        tilt, way = np.radians(rng.uniform(0, 55)), rng.uniform(0, 2 * np.pi)
        normal = (-np.cos(tilt), np.sin(tilt) * np.cos(way), np.sin(tilt) * np.sin(way))
        sheets.append(Sheet(int(number), f"p{number}", centre, facing(normal, rng.uniform(-180, 180))))
    return Scene(tuple(sheets), floor=-0.9 * distance), (float(rng.uniform(-150, 150)), float(rng.uniform(-150, 150)))


def rendered(folder: Path, look: Look, distance: float, pictures: int) -> list[Photo]:
    """So many pictures of such a wall, as JPEG."""
    made = []
    for k in range(pictures):
        scene, off = wall(distance, k)
        shot = aimed(f"{k}.jpg", Camera(), np.array([-distance, *off]), np.zeros(3), roll_deg=3.0 * k)
        path = folder / shot.name
        path.write_bytes(jpeg(render(scene, shot, look, k), shot, look.quality))
        seen = sights(scene, shot)
        made.append(Photo(
            path, {s.sheet.number: s.centre for s in seen}, {s.sheet.number: s.side_px for s in seen},
            {s.sheet.number: s.clear > CLEAR for s in seen}, frozenset(s.number for s in scene.sheets),
        ))  # fmt: skip
    return made


def walked(folder: Path) -> list[Photo]:
    """A folder of pictures with truth.json; centres are projections of the sheets' centres, by the library's lens."""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    fx, fy, cx, cy = truth["K"]
    K, dist = np.array([[fx, 0, cx], [0, fy, cy], [0, 0, 1.0]]), np.array(truth["dist"])
    made = []
    for name, photo in sorted(truth["photos"].items()):
        turn, _ = cv2.Rodrigues(np.array(photo["R"]))
        centres, sides = {}, {}
        for number, corners in photo["corners"].items():
            middle = np.mean(truth["targets"][number]["corners"], axis=0)
            centres[int(number)] = cv2.projectPoints(middle[None], turn, np.array(photo["t"]), K, dist)[0].reshape(2)
            sides[int(number)] = float(np.sqrt(cv2.contourArea(np.array(corners, dtype=np.float32))))
        made.append(
            Photo(folder / "before" / "photos" / name, centres, sides, None, frozenset(map(int, truth["targets"])))
        )
    return made


def crossing(corners: Array) -> Array:
    """Where the diagonals of (4, 2) corners cross."""
    a, b, c, d = corners
    A = np.column_stack([c - a, b - d])
    return np.asarray(a + np.linalg.solve(A, b - a)[0] * (c - a))


def plain(grey: Grey) -> dict[int, Array]:
    """Corners (4, 2) by number: the common detector with its sub-pixel refinement, on values as stored."""
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    return _detected(grey, settings)


def plain_in_light(grey: Grey) -> dict[int, Array]:
    """The same on linear light, in 256 steps."""
    return plain(np.round(255 * LIGHT[grey]).astype(np.uint8))


def _detected(grey: Grey, settings: cv2.aruco.DetectorParameters) -> dict[int, Array]:
    table = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    corners, numbers, _ = cv2.aruco.ArucoDetector(table, settings).detectMarkers(grey)
    if numbers is None:
        return {}
    return {int(n): c.reshape(4, 2).astype(float) for n, c in zip(numbers.ravel(), corners, strict=True)}


def compared(photos: Sequence[Photo]) -> list[str]:
    """Accuracy, share found, wrong numbers and time over some pictures."""
    ways: dict[str, Callable[[Grey], dict[int, Array]]] = {"plain": plain, "plain in light": plain_in_light}
    tallies = {"ours": Tally()} | {f"{way}, {how}": Tally() for way in ways for how in ("diagonals", "mean of corners")}
    for photo in photos:
        grey = np.asarray(cv2.imread(str(photo.path), cv2.IMREAD_GRAYSCALE | cv2.IMREAD_IGNORE_ORIENTATION), np.uint8)
        for way, chain in ways.items():
            for number, corners in chain(grey).items():
                if number in photo.centres:
                    tallies[f"{way}, diagonals"].errors.append(crossing(corners) - photo.centres[number])
                    tallies[f"{way}, mean of corners"].errors.append(corners.mean(axis=0) - photo.centres[number])
    found, seconds, of_cores, again = _timed([p.path for p in photos])
    there, seen = np.zeros(len(BINS), int), np.zeros(len(BINS), int)
    foreign = 0
    for photo, each in zip(photos, found, strict=True):
        targets = {t.number: t for t in each.targets}
        foreign += len(set(targets) - photo.there)
        for number, centre in photo.centres.items():
            if number in targets:
                tallies["ours"].errors.append(np.array(targets[number].centre) - centre)
                tallies["ours"].sd.append(targets[number].sd)
            k = next((i for i, (low, high) in enumerate(BINS) if low <= photo.sides[number] < high), None)
            if k is not None and (photo.clear is None or photo.clear[number]):
                there[k] += 1
                seen[k] += number in targets
    decoding = _decoding([p.path for p in photos])
    shares = (f"{low:g}{f' to {high:g}' if np.isfinite(high) else ' and more'} px: {s} of {t}"
              for (low, high), s, t in zip(BINS, seen, there, strict=True) if t)  # fmt: skip
    hidden = "" if all(p.clear is not None for p in photos) else " (hidden ones counted as well)"
    return [
        *(tally.line(name) for name, tally in tallies.items()),
        f"    found{hidden}: {'; '.join(shares)}; numbers that are nowhere about: {foreign}",
        f"    {len(photos)} pictures: {seconds:.2f} s, decoding in grey in one thread {decoding:.2f} s, "
        f"ratio {seconds / decoding:.2f} (by seconds of all cores {of_cores:.2f} s, {of_cores / decoding:.2f}); "
        f"the same again, remembered, {again:.2f} s",
    ]


def _timed(paths: Sequence[Path]) -> tuple[list[FoundPicture], float, float, float]:
    """What is found; seconds, seconds of all cores, seconds once it is remembered. The cache is a folder of its own."""
    kept = os.environ.get("XDG_CACHE_HOME")
    with tempfile.TemporaryDirectory() as cache:
        os.environ["XDG_CACHE_HOME"] = cache
        try:
            start, work = time.perf_counter(), time.process_time()
            found = find_in(paths)
            first, of_cores = time.perf_counter() - start, time.process_time() - work
            start = time.perf_counter()
            again = find_in(paths)
            second = time.perf_counter() - start
        finally:
            os.environ.pop("XDG_CACHE_HOME")
            if kept is not None:
                os.environ["XDG_CACHE_HOME"] = kept
    if found != again:
        raise RuntimeError("what is remembered is not what was found")
    return [each for each in found if isinstance(each, FoundPicture)], first, of_cores, second


def _decoding(paths: Sequence[Path]) -> float:
    cv2.setNumThreads(1)
    data = [np.fromfile(path, np.uint8) for path in paths]
    start = time.process_time()  # one thread: other work on the machine does not count
    for each in data:
        cv2.imdecode(each, cv2.IMREAD_GRAYSCALE | cv2.IMREAD_IGNORE_ORIENTATION)
    return time.process_time() - start


def clutter_picture(rng: np.random.Generator, kind: int) -> Grey:
    """600 x 800 of what is no target: rough textures, checkers, grids of random cells in black frames, letter-like."""
    page = _texture(rng)
    if kind % 4 == 0:
        return page
    for _ in range(int(rng.integers(15, 60))):
        patch = _PATCHES[kind % 4 - 1](rng)
        high, wide = patch.shape
        corners = np.array([(0, 0), (wide, 0), (wide, high), (0, high)], np.float32)
        spin, size = rng.uniform(0, 2 * np.pi), rng.uniform(30, 160) / max(wide, high)
        turn = size * np.array([(np.cos(spin), -np.sin(spin)), (np.sin(spin), np.cos(spin))])
        at = (corners - [wide / 2, high / 2]) @ turn.T * rng.uniform(0.5, 1.0, 2) + rng.uniform((40, 40), (760, 560))
        H = cv2.getPerspectiveTransform(corners, (at + rng.normal(0, 2, (4, 2))).astype(np.float32))
        mask = cv2.warpPerspective(np.full_like(patch, 255), H, (800, 600))
        page = np.where(mask > 127, cv2.warpPerspective(patch, H, (800, 600), flags=cv2.INTER_LINEAR), page)
    blurred = cv2.GaussianBlur(page, (0, 0), float(rng.uniform(0.4, 1.4)))
    return np.clip(blurred + rng.normal(0, rng.uniform(1, 8), blurred.shape), 0, 255).astype(np.uint8)


def _texture(rng: np.random.Generator) -> Grey:
    total = np.zeros((600, 800))
    for shrink in (100, 25, 8, 3, 1):
        coarse = rng.normal(0, 1, (600 // shrink + 2, 800 // shrink + 2))
        total += cv2.resize(coarse, (800, 600), interpolation=cv2.INTER_CUBIC) * rng.uniform(0, 40)
    return np.clip(128 + total, 0, 255).astype(np.uint8)


def _checkers(rng: np.random.Generator) -> Grey:
    n, m = rng.integers(2, 12, 2)
    board = np.indices((n, m)).sum(axis=0) % 2 * rng.integers(120, 230) + rng.integers(5, 25)
    return np.pad(np.kron(board, np.ones((12, 12))), 10, constant_values=235).astype(np.uint8)


def _cells(rng: np.random.Generator) -> Grey:
    cells = np.zeros((8, 8))
    cells[1:-1, 1:-1] = rng.random((6, 6)) < rng.uniform(0.3, 0.7)
    return np.pad(np.kron(cells * 205 + 20, np.ones((12, 12))), 24, constant_values=230).astype(np.uint8)


def _letters(rng: np.random.Generator) -> Grey:
    page = np.full((100, 140), 225, np.uint8)
    for line in range(4):
        text = "".join(chr(c) for c in rng.integers(33, 127, 9))
        cv2.putText(page, text, (8, 24 + 22 * line), int(rng.integers(0, 8)), 0.6, 20, int(rng.integers(1, 4)))
    cv2.rectangle(page, (2, 2), (137, 97), 15, int(rng.integers(1, 14)))
    return page


_PATCHES = (_checkers, _cells, _letters)


def clutter(count: int = 2000) -> list[str]:
    """Numbers read in so many pictures of clutter, all of them wrong."""
    wrong, common, seconds = [], 0, 0.0
    for first in range(0, count, 50):
        with tempfile.TemporaryDirectory() as folder:
            paths = []
            for k in range(first, min(first + 50, count)):
                grey = clutter_picture(np.random.default_rng(k), k)
                common += len(_detected(grey, cv2.aruco.DetectorParameters()))
                paths.append(Path(folder) / f"{k}.png")
                cv2.imwrite(str(paths[-1]), grey)
            found, took, _, _ = _timed(paths)
            seconds += took
            wrong += [(each.picture.path.stem, t.number, t.wrong_bits) for each in found for t in each.targets]
    return [
        f"{count} pictures of clutter, a quarter of them with random grids in black frames: {len(wrong)} wrong numbers "
        f"{wrong or ''} (the common detector as it comes: {common}), {1000 * seconds / max(count, 1):.0f} ms each"
    ]


def parts(folders: Sequence[Path], pictures: int, clutters: int) -> Iterator[str]:
    """All lines, as they come."""
    yield "targets in rendered pictures of 12 megapixels, a workshop behind"
    for name, (look, distance) in LOOKS.items():
        with tempfile.TemporaryDirectory() as folder:
            yield from [f"  {name}", *compared(rendered(Path(folder), look, distance, pictures))]
    for each in folders:
        yield from [f"  {each.name}", *compared(walked(each))]
    yield from clutter(clutters)


def table(pictures: int = 4, clutters: int = 2000) -> list[str]:
    """All lines."""
    return list(parts((), pictures, clutters))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.targets", description=__doc__)
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--pictures", type=int, default=4, help="of each look")
    parser.add_argument("--clutter", type=int, default=2000)
    asked = parser.parse_args()
    for line in parts(asked.folders, asked.pictures, asked.clutter):
        print(line, flush=True)
