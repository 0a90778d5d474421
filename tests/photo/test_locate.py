"""Places to hundredths of a pixel, against exact rendered truth; the sd says how well."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from measure.photo.find import SMALL
from measure.photo.linear import LIGHT, light
from measure.photo.search import Candidate, candidates
from tests.photo.shown import LARGE, Grey, fitted, located, off_by, printed, sheets, show
from tests.photo.shown import SMALL as CAMERA
from tests.synthetic.photos import Look, Pipe, Sheet, facing, phone_lens


def looked_at(look: Look, seeds: range, **how: Any) -> tuple[np.ndarray, np.ndarray, int]:
    """Errors (m, 2), sd (m,), and how many sheets there were."""
    errors, sds, there = [], [], 0
    for seed in seeds:
        shown = show(sheets(range(12 * seed, 12 * seed + 12), np.random.default_rng(seed)), look=look, seed=seed, **how)
        off, sd = off_by(shown, located(shown, "jpg"))
        errors.append(off)
        sds.append(sd)
        there += len(shown.sights)
    return np.vstack(errors), np.concatenate(sds), there


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


@pytest.mark.parametrize(
    ("look", "distance", "most"),
    [
        (Look(), 800.0, 0.012),
        (Look(curve="power"), 800.0, 0.012),
        (Look(blur_px=2.0), 1500.0, 0.03),
        (Look(motion_px=4.0, motion_deg=30.0), 800.0, 0.03),
        (Look(electrons=1500.0), 800.0, 0.03),
        (Look(), 1700.0, 0.04),
    ],
    ids=["clear", "other curve", "blurred", "moved", "noisy", "far"],
)
def test_centres_are_where_they_are_and_the_sd_says_how_well(look: Look, distance: float, most: float) -> None:
    camera = LARGE if look.blur_px > 1.0 else CAMERA
    off, sd, there = looked_at(look, range(1, 3), distance=distance, camera=camera)
    assert len(off) == there
    assert rms(off) < most
    assert 0.3 < rms(off / sd[:, None]) < 1.35  # on plain paper; with JPEG's own errors behind a workshop nearer to 1
    assert np.abs(off.mean(axis=0)).max() < 3.5 * rms(off) / np.sqrt(len(off))


def test_the_first_pixel_has_its_centre_at_nought() -> None:
    """A convention half a pixel off, or taken from a corner of the pixel, shifts all centres alike."""
    off, _, _ = looked_at(Look(electrons=0.0), range(5, 7))
    assert np.abs(off.mean(axis=0)).max() < 0.05  # far less: 0.002
    shown = show(sheets((1,), np.random.default_rng(1)))
    moved = replace(shown, grey=np.roll(shown.grey, (3, 5), axis=(0, 1)))
    shift = np.array(located(moved)[1].centre) - located(shown)[1].centre
    assert shift == pytest.approx([5.0, 3.0], abs=1e-3)


def test_the_centre_is_that_of_the_sheet_and_not_of_its_corners() -> None:
    """Near, slanted and off the lens's axis, the mean of the corners and the crossing of diagonals lie elsewhere."""
    turn = facing((-0.6, 0.35, 0.72), 20.0)
    lens = phone_lens(1200, 900, k1=0.12, k2=-0.2)
    near = Sheet(9, "p", np.array([0.0, 120.0, 90.0]), turn)
    shown = show((near,), distance=420.0, camera=replace(CAMERA, lens=lens), look=Look(electrons=40000.0))
    found, true = located(shown)[9], shown.sights[0]
    assert np.abs(true.corners.mean(axis=0) - true.centre).max() > 1.0
    assert np.abs(np.array(found.centre) - true.centre).max() < max(0.02, 3.5 * found.sd)
    assert np.abs(np.array(found.corners) - true.corners).max() < 0.15


def test_the_corners_are_in_the_light_and_not_in_the_tone_curve() -> None:
    """Edges of encoded values lie half a pixel inside the black; straightened light brings them back."""
    shown = show(sheets(range(12), np.random.default_rng(8)))
    found = located(shown)
    gaps = np.array([np.array(found[s.sheet.number].corners) - s.corners for s in shown.sights])
    arms = np.array([s.corners - s.centre for s in shown.sights])
    inward = -np.sum(gaps * arms, axis=2) / np.linalg.norm(arms, axis=2)
    assert abs(inward.mean()) < 0.02 and rms(gaps) < 0.05


def test_a_bar_before_a_sheet_does_not_pull_it_unnoticed() -> None:
    """Found in spite of it, or not at all; never far off with a small sd."""
    made = sheets(range(12), np.random.default_rng(9), tilt_deg=10.0)
    low, high = np.array([-80.0, 38.0, -70.0]), np.array([-80.0, 30.0, 70.0])
    bars = [Pipe(f"b{s.number}", s.centre + low, s.centre + high, 1.0 + 0.5 * s.number) for s in made]
    off, sd = off_by(shown := show(made, pipes=tuple(bars)), located(shown))
    assert np.abs(off / sd[:, None]).max() < 6.0 and np.abs(off).max() < 0.25


def test_the_paper_edge_and_the_frame_are_no_trap() -> None:
    scanned = printed(12, margin=24)
    (candidate,) = candidates(scanned, None)
    found = fitted(scanned, candidate)
    assert found is not None and np.allclose(found.centre, 24 + 47.5, atol=0.06)  # edges sharper than any lens's


def test_where_there_is_no_print_nothing_is_located() -> None:
    square = np.array([(40.0, 40.0), (120.0, 42.0), (118.0, 121.0), (41.0, 119.0)])
    rng = np.random.default_rng(10)
    for grey in (
        rng.integers(0, 256, (160, 160), dtype=np.uint8),
        np.where(np.arange(160) % 20 < 10, 20, 230).astype(np.uint8)[None].repeat(160, axis=0),
    ):
        assert fitted(grey, Candidate(4, square, 0)) is None


def test_a_rough_start_leads_to_the_same_place() -> None:
    shown = show(sheets((21,), np.random.default_rng(11)))
    (one,) = candidates(shown.grey, None)
    rng = np.random.default_rng(0)
    ends = []
    for _ in range(6):
        end = fitted(shown.grey, Candidate(21, one.corners + rng.normal(0.0, 0.7, (4, 2)), 0))
        assert end is not None
        ends.append(end.centre)
    assert np.ptp(ends, axis=0).max() < 0.01


def test_the_sd_grows_with_noise_blur_and_distance() -> None:
    made = sheets(range(3), np.random.default_rng(12))

    def sd(look: Look, distance: float = 1400.0) -> float:
        shown = show(made, look=look, distance=distance, camera=LARGE)
        return float(np.median(off_by(shown, located(shown))[1]))

    clear = sd(Look())
    assert sd(Look(electrons=1500.0)) > 1.3 * clear
    assert sd(Look(blur_px=2.0)) > 1.05 * clear
    assert sd(Look(), 3500.0) > clear


def test_light_of_the_curve() -> None:
    assert LIGHT[0] == 0 and LIGHT[255] == pytest.approx(1.0)
    assert LIGHT[188] == pytest.approx(0.5, abs=0.005)  # half the light is stored as 188
    values: Grey = np.array([[0, 10], [128, 255]], np.uint8)
    assert light(values).shape == (2, 2) and np.all(np.diff(LIGHT) > 0)


def test_small_ones_are_found() -> None:
    """At any spin: an outline at 45 degrees has fewer pixels than one that lies square in the picture."""
    shown = show(sheets(range(12), np.random.default_rng(13), tilt_deg=20.0), distance=2500.0)
    assert {s.sheet.number for s in shown.sights if s.side_px > SMALL} <= set(located(shown))


@pytest.mark.parametrize("value", [0, 128, 255])
def test_an_even_surface_is_no_print(value: int) -> None:
    square = np.array([(40.0, 40.0), (120.0, 42.0), (118.0, 121.0), (41.0, 119.0)])
    assert fitted(np.full((160, 160), value, np.uint8), Candidate(4, square, 0)) is None
