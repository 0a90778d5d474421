"""Target images in the adjustment: both ways of solving agree, covariances are those of re-solves, derivatives hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from measure.adjust.network import Network
from measure.adjust.solver import Adjustment, solve
from measure.readings.kind import Site
from measure.readings.reading import Block
from measure.readings.unknowns import State
from tests.photo.bundled import PRIOR_LENS, TRUE_LENS, Bundled, bundled
from tests.readings.sites import analytic, differences, random_state


@pytest.mark.parametrize("share", [1.0, 0.7])
def test_points_taken_out_first_leave_the_same_solution_and_covariance(
    share: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    images = bundled(12, 40, share)
    network = images.network(images.seen(0.3, np.random.default_rng(1)), 0.3, bars=[images.bar(3, 8)])
    start = images.state(network, off=5.0)
    solved: list[Adjustment] = []
    for limit in (0, 10**9):
        monkeypatch.setattr("measure.adjust.network.DENSE_LIMIT", limit)
        solved.append(solve(network, start))
    taken_out, dense = solved
    assert taken_out.factor.before is not None and dense.factor.before is None
    assert len(taken_out.factor.before.out) == 3 * 38  # all but the two ends of the bar
    assert taken_out.factor.defect == dense.factor.defect == 6
    for name, within in (("positions", 1e-6), ("origins", 1e-6), ("rotations", 1e-9), ("lenses", 1e-6)):
        one, other = getattr(taken_out.state, name), getattr(dense.state, name)
        np.testing.assert_allclose(one, other, rtol=0.0, atol=within)
    assert taken_out.sum_of_squares == pytest.approx(dense.sum_of_squares, rel=1e-10)
    sd = np.sqrt(np.diag(dense.Q))
    np.testing.assert_allclose(taken_out.Q / np.outer(sd, sd), dense.Q / np.outer(sd, sd), rtol=0.0, atol=1e-6)


def test_rows_set_aside_and_pictures_not_in_order_are_solved_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    images = bundled(12, 40, 0.7)
    rng = np.random.default_rng(2)
    order = rng.permutation(len(images.point))
    mixed = replace(images, picture=images.picture[order], point=images.point[order], exact=images.exact[order])
    network = mixed.network(mixed.seen(0.3, rng), 0.3, bars=[mixed.bar(3, 8)])
    active = (rng.uniform(size=len(network.sd)) > 0.1) | ~network.tested
    start = mixed.state(network, off=5.0)
    monkeypatch.setattr("measure.adjust.network.DENSE_LIMIT", 0)
    taken_out = solve(network, start, active=active)
    monkeypatch.setattr("measure.adjust.network.DENSE_LIMIT", 10**9)
    dense = solve(network, start, active=active)
    assert taken_out.factor.before is not None
    np.testing.assert_allclose(taken_out.state.positions, dense.state.positions, rtol=0.0, atol=1e-6)
    np.testing.assert_allclose(taken_out.Q, dense.Q, rtol=1e-5, atol=1e-6 * np.max(np.abs(dense.Q)))


def test_distances_scatter_over_re_solves_as_their_covariance_says() -> None:
    """8 pictures of 20 points, the lens free, 200 times: sizes are left out, only the vague printed one holds them."""
    sd, times = 0.3, 200
    images = bundled(8, 20)
    network = images.network(images.exact, sd, TRUE_LENS)
    truth = images.state(network, lens=TRUE_LENS)
    at_truth = solve(network, truth)
    a, b = np.triu_indices(20, 1)

    def shape(positions: np.ndarray) -> np.ndarray:
        lengths = np.linalg.norm(positions[a] - positions[b], axis=1)
        return np.asarray(np.log(lengths) - np.mean(np.log(lengths)))

    columns = network.unknowns.point_columns
    leg = truth.positions[a] - truth.positions[b]
    by_length = leg / np.sum(leg**2, axis=1)[:, None]
    J = np.zeros((len(a), network.unknowns.size))
    k = np.arange(len(a))[:, None]
    J[k, columns[a]], J[k, columns[b]] = by_length, -by_length
    J -= J.mean(axis=0)
    predicted = J @ at_truth.Q @ J.T
    rng = np.random.default_rng(4)
    spread = np.where([kind == "printed" for kind in network.kinds], 0.0, network.sd)  # what is known of the lens too
    found = []
    for _ in range(times):
        again = Network(network.unknowns, network.blocks)
        again.observed = network.observed + spread * rng.normal(size=len(spread))
        found.append(shape(solve(again, truth).state.positions))
    error = np.array(found) - shape(truth.positions)
    # each distance by itself: its scatter over what is said of it
    ratio = np.mean(error**2, axis=0) / np.diag(predicted)
    assert ratio.min() > 0.6 and ratio.max() < 1.5
    assert np.mean(ratio) == pytest.approx(1.0, abs=0.06)
    held = np.mean(np.abs(error) < 1.96 * np.sqrt(np.diag(predicted)))
    assert held == pytest.approx(0.95, abs=0.012)
    # and all together: the directions that are held at all, whitened
    values, vectors = np.linalg.eigh(predicted)
    firm = values > 1e-9 * values[-1]
    assert int(np.sum(firm)) == 3 * 20 - 7
    white = error @ vectors[:, firm] / np.sqrt(values[firm])
    assert np.mean(white**2) == pytest.approx(1.0, abs=5 * np.sqrt(2.0 / white.size))


def _sheets() -> tuple[Bundled, Site, list[Block]]:
    images = replace(bundled(3, 6), standoffs={1: 12.5, 4: -8.0})
    site, blocks = images.site(images.readings(images.exact, 0.1))
    return images, site, blocks


def _near(images: Bundled, site: Site, rng: np.random.Generator) -> State:
    """Cameras and points where they see each other, all that is unknown a little off."""
    u = site.unknowns
    mine = [int(name[1:]) for name in u.points]
    anywhere = random_state(site, rng)
    return replace(
        anywhere,
        positions=images.points[mine] + rng.normal(0.0, 20.0, (len(mine), 3)),
        rotations=images.turns[[int(name[1:]) for name in u.setups]],
        origins=images.places[[int(name[1:]) for name in u.setups]],
        lenses=(TRUE_LENS + rng.normal(0.0, 1.0, 9) * [50, 1e-3, 9, 9, 0.02, 0.05, 1e-3, 1e-3, 0.05])[None],
        sheet_rotations=anywhere.rotations[: len(u.sheets)],
        sheet_halves=rng.uniform(20.0, 60.0, len(u.sheets)),
    )


@pytest.mark.parametrize("seed", range(4))
def test_the_jacobian_of_images_corners_lens_and_printed_size_is_the_derivative(seed: int) -> None:
    images, site, blocks = _sheets()
    assert site.unknowns.sheets == ("p1", "p4")
    state = _near(images, site, np.random.default_rng(seed))
    rows = [(b.rows[0].reading.kind, b.rows[0].tested) for b in blocks]
    assert rows == [("target", True), ("target", False), ("lens", False), ("printed", False)]
    for block in blocks:
        J = analytic(block, state)
        numeric = differences(block, state)
        scale = np.maximum(np.max(np.abs(J), axis=0), 1e-6)  # pixels a radian beside pixels a millimetre
        np.testing.assert_allclose(J / scale, numeric / scale, rtol=0.0, atol=1e-5)


def test_a_network_without_sheets_has_no_columns_for_them() -> None:
    images = bundled(3, 6)
    _, blocks = images.site(images.readings(images.exact, 0.1))
    assert [b.rows[0].reading.kind for b in blocks] == ["target", "lens", "printed"]
    network = images.network(images.exact, 0.1)
    computed, derivatives, columns = blocks[0].linearise(images.state(network, lens=PRIOR_LENS))
    assert derivatives.shape == columns.shape == (len(computed), 18)
    assert np.all(columns >= 0)
