"""Registration of two point sets with a reflection guarded against, on the example of the paper.

S. Umeyama, "Least-Squares Estimation of Transformation Parameters Between Two Point Patterns", IEEE Trans. PAMI 13
(1991) 376-380. Points and R, c, t to three decimals read in a public test-suite that cites the example (the paper not
seen); more digits computed by singular values. The program only needs the rigid part (c = 1): its R is the same; c
and t of the similarity follow from R and are checked here by the paper's formulae (eq. 41, 42).
"""

import numpy as np
import pytest

from measure.rigid_fit import rigid_fit

SOURCE = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 2.0]])
TARGET = np.array([[0.0, 0.0], [-1.0, 0.0], [0.0, 2.0]])


def mean_square(R: np.ndarray, t: np.ndarray, c: float = 1.0) -> float:
    return float(np.mean(np.sum((c * SOURCE @ R.T + t - TARGET) ** 2, axis=1)))


def test_rotation() -> None:
    R, _ = rigid_fit(SOURCE, TARGET)
    np.testing.assert_allclose(R, [[0.832, 0.555], [-0.555, 0.832]], rtol=0, atol=0.0005)
    np.testing.assert_allclose(R, [[0.8320502943, 0.5547001962], [-0.5547001962, 0.8320502943]], rtol=0, atol=6e-11)
    assert np.linalg.det(R) == pytest.approx(1.0, abs=1e-14)
    assert np.degrees(np.arctan2(R[1, 0], R[0, 0])) == pytest.approx(-33.6900675260, abs=1e-9)


def test_rigid_part() -> None:
    R, t = rigid_fit(SOURCE, TARGET)
    root = np.sqrt(13.0)  # in closed form, which the computed figures meet to eight digits only
    np.testing.assert_allclose(t, [-1 / 3 - 7 / (3 * root), 2 / 3 - 4 / (3 * root)], rtol=0, atol=1e-14)
    np.testing.assert_allclose(t, [-0.9804835647, 0.2968665391], rtol=0, atol=5e-9)
    assert mean_square(R, t) == pytest.approx(0.6197549887, abs=6e-11)


def test_similarity_follows_from_the_rotation() -> None:
    R, _ = rigid_fit(SOURCE, TARGET)
    a, b = SOURCE - SOURCE.mean(axis=0), TARGET - TARGET.mean(axis=0)
    c = float(np.sum(b * (a @ R.T)) / np.sum(a**2))
    t = TARGET.mean(axis=0) - c * R @ SOURCE.mean(axis=0)
    assert c == pytest.approx(0.721, abs=0.0005)
    assert c == pytest.approx(0.7211102551, abs=6e-11)
    np.testing.assert_allclose(t, [-0.800, 0.400], rtol=0, atol=1e-12)
    assert mean_square(R, t, c) == pytest.approx(8 / 15, abs=1e-12)
    assert np.sqrt(mean_square(R, t, c) / 2) == pytest.approx(0.516, abs=0.0005)


def test_the_reflection_fits_exactly_and_must_be_asked_for() -> None:
    R, t = rigid_fit(SOURCE, TARGET, mirror=True)
    np.testing.assert_allclose(R, [[-1.0, 0.0], [0.0, 1.0]], rtol=0, atol=1e-14)
    np.testing.assert_allclose(t, 0.0, rtol=0, atol=1e-14)
    assert mean_square(R, t) == pytest.approx(0.0, abs=1e-28)


def test_no_other_rotation_is_better() -> None:
    _, t = rigid_fit(SOURCE, TARGET)
    best = mean_square(*rigid_fit(SOURCE, TARGET))
    for angle in np.linspace(0.0, 2 * np.pi, 721):
        c, s = np.cos(angle), np.sin(angle)
        R = np.array([[c, -s], [s, c]])
        t = TARGET.mean(axis=0) - R @ SOURCE.mean(axis=0)
        assert mean_square(R, t) >= best - 1e-12


def test_in_space_as_in_the_plane() -> None:
    """The same example lifted into space: there a half turn about y does what no turn in the plane can."""
    lift = np.zeros((3, 1))
    R, t = rigid_fit(np.hstack([SOURCE, lift]), np.hstack([TARGET, lift]))
    assert np.linalg.det(R) == pytest.approx(1.0, abs=1e-12)
    np.testing.assert_allclose(np.hstack([SOURCE, lift]) @ R.T + t, np.hstack([TARGET, lift]), rtol=0, atol=1e-12)
