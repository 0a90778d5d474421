"""First poses: near the truth, safe against the two-fold tilt, against a wrong lens and against misread numbers."""

from dataclasses import replace

import numpy as np
import pytest

from measure.photo.first_poses import FirstPoses, first_poses
from measure.rigid_fit import rigid_fit
from tests.photo.walk import LENS, Walk, walk


def gaps(block: FirstPoses, truth: Walk) -> np.ndarray:
    """mm between the block's places and the truth, laid over each other."""
    numbers = sorted(block.places)
    mine, true = np.array([block.places[n] for n in numbers]), truth.places[numbers]
    R, t = rigid_fit(mine, true)
    return np.linalg.norm(mine @ R.T + t - true, axis=1)


@pytest.mark.parametrize("seed", range(6))
def test_places_are_near_with_the_right_lens(seed: int) -> None:
    truth = walk(seed=seed)
    blocks, lonely = first_poses(truth.views(noise=0.05, seed=seed))
    assert len(blocks) == 1 and lonely == []
    assert len(blocks[0].rotations) == 10
    assert np.max(gaps(blocks[0], truth)) < 5.0


@pytest.mark.parametrize("factor", [0.8, 1.1, 1.25])
def test_a_focal_length_a_quarter_off_still_puts_all_pictures_together(factor: float) -> None:
    guess = np.array([LENS[0] * factor, 0, *LENS[2:4], 0, 0, 0, 0, 0])
    for seed in range(4):
        truth = walk(seed=seed)
        blocks, lonely = first_poses(truth.views(noise=0.05, seed=seed, lens=guess))
        assert [len(b.rotations) for b in blocks] == [10] and not lonely
        assert np.max(gaps(blocks[0], truth)) < 400.0


def test_misread_numbers_do_no_harm_to_the_others() -> None:
    truth = walk(seed=2)
    views = truth.views(noise=0.05)
    for k in (1, 4, 7):  # two sheets changed about in each of three pictures
        numbers = list(views[k].numbers)
        numbers[0], numbers[1] = numbers[1], numbers[0]
        views[k] = replace(views[k], numbers=numbers)
    blocks, _ = first_poses(views)
    assert np.median(gaps(blocks[0], truth)) < 30.0
    turns = np.array([blocks[0].rotations[v.name] for v in views])
    relative = turns @ np.swapaxes(truth.turns, 1, 2)  # the same turn for all, where all are right
    assert np.max(np.abs(relative - relative[0])) < 0.05


def test_a_picture_that_shares_nothing_is_named() -> None:
    truth = walk(seed=1)
    views = truth.views()
    alone = replace(views[3], numbers=[n + 100 for n in views[3].numbers])
    blocks, lonely = first_poses([*views[:3], alone, *views[4:]])
    assert lonely == ["p03.jpg"]
    assert "p03.jpg" not in blocks[0].rotations


def test_two_walks_that_share_no_target_are_two_blocks() -> None:
    front, rear = walk(seed=3, pictures=8).views(), walk(seed=4, pictures=6).views()
    others = [replace(v, name=f"q{v.name}", numbers=[n + 100 for n in v.numbers]) for v in rear]
    blocks, lonely = first_poses([*others, *front])
    assert [len(b.rotations) for b in blocks] == [8, 6] and not lonely


def test_a_picture_that_shares_two_targets_is_placed_by_their_tilt() -> None:
    truth = walk(seed=5)
    views = truth.views(noise=0.02)
    seen = views[6]
    two = np.argsort([-np.min(np.linalg.norm(np.diff(c, axis=0), axis=1)) for c in seen.corners])[:2].tolist()
    views[6] = replace(seen, numbers=[seen.numbers[i] for i in two], corners=seen.corners[two], sides=seen.sides[two])
    blocks, lonely = first_poses(views)
    assert not lonely
    R, t = rigid_fit(
        np.array([blocks[0].places[n] for n in sorted(blocks[0].places)]), truth.places[sorted(blocks[0].places)]
    )
    assert np.linalg.norm(R @ blocks[0].centres["p06.jpg"] + t - truth.eyes[6]) < 200.0


def test_the_same_pictures_give_the_same_poses_to_the_last_digit() -> None:
    views = walk(seed=0).views(noise=0.1)
    one, other = first_poses(views)[0][0], first_poses(views)[0][0]
    for name in one.rotations:
        np.testing.assert_array_equal(one.rotations[name], other.rotations[name])


def test_no_pictures_no_blocks() -> None:
    assert first_poses([]) == ([], [])


def test_laying_points_over_points_agrees_with_an_independent_library() -> None:
    from scipy.spatial.transform import Rotation

    rng = np.random.default_rng(8)
    source = rng.normal(0.0, 500.0, (6, 3))
    noise = rng.normal([30.0, -20.0, 5.0], 5.0, (6, 3))
    target = Rotation.from_rotvec([0.4, -0.9, 2.0]).apply(source) + noise
    R, t = rigid_fit(source, target)
    theirs, _ = Rotation.align_vectors(target - target.mean(axis=0), source - source.mean(axis=0))
    np.testing.assert_allclose(R, theirs.as_matrix(), atol=1e-10)
    np.testing.assert_allclose(t, target.mean(axis=0) - R @ source.mean(axis=0), atol=1e-9)
    many = rigid_fit(np.stack([source, target]), np.stack([target, source]))[0]
    np.testing.assert_allclose(many[1], R.T, atol=1e-12)
