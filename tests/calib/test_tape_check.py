"""Zero error and scale of a tape: exact cases, refusals, and whether the stated intervals hold."""

import itertools

import numpy as np
import pytest

from calib.tape_check import KnownLength, TapeCheck, TapeCheckError, check_tape

BARS = np.array([300.0, 500.0, 1000.0, 2000.0, 3000.0])


def sheet(
    rng: np.random.Generator,
    *,
    zero: float = 1.2,
    scale: float = 4e-4,
    known_sd: float = 0.1,
    sd: float = 0.5,
    times: int = 2,
    rougher: float = 1.0,
) -> list[KnownLength]:
    """Every bar read `times` times; its own error is the same each time. `rougher`: times the stated sd."""
    length = BARS + known_sd * rng.standard_normal(len(BARS))
    return [
        KnownLength(bar, zero + (1.0 + scale) * true + sd * rougher * rng.standard_normal(), known_sd, sd)
        for bar, true in zip(BARS, length, strict=True)
        for _ in range(times)
    ]


def exact(zero: float, scale: float, lengths: np.ndarray = BARS) -> TapeCheck:
    return check_tape([KnownLength(x, zero + (1.0 + scale) * x, 0.0, 0.5) for x in lengths])


@pytest.mark.parametrize(("zero", "scale"), [(0.0, 0.0), (1.5, 0.0), (-0.8, 5e-4), (100.0, -1e-3)])
def test_exact_readings_give_back_zero_and_scale(zero: float, scale: float) -> None:
    tape = exact(zero, scale)
    assert tape.zero == pytest.approx(zero, abs=1e-9)
    assert tape.scale == pytest.approx(scale, abs=1e-12)
    np.testing.assert_allclose(tape.residuals, 0.0, atol=1e-9)


def test_signs_a_tape_that_reads_long_has_plus() -> None:
    tape = exact(2.0, 1e-3)
    assert tape.zero > 0.0 < tape.scale


def test_two_readings_leave_nothing_to_judge_by() -> None:
    tape = exact(0.4, 1e-4, BARS[[0, -1]])
    assert tape.degrees_of_freedom == 0
    assert tape.passed is tape.sigma0 is tape.p_value is tape.sigma0_limit is None
    assert tape.factor == 1.0
    # by hand: slope from two readings of sd 0.5 that lie 2700 mm apart
    assert tape.scale_sd == pytest.approx(0.5 * np.sqrt(2.0) / 2700.0)


def test_reading_one_bar_more_often_does_not_make_the_bar_better() -> None:
    bars = [KnownLength(x, x, 1.0, 1e-3) for x in (1000.0, 2000.0)]
    assert check_tape(bars * 50).scale_sd == pytest.approx(np.sqrt(2.0) / 1000.0, rel=1e-3)


def test_rough_readings_scale_the_sd_up_and_both_figures_are_kept() -> None:
    tape = check_tape(sheet(np.random.default_rng(1), rougher=3.0))
    assert tape.passed is False
    assert tape.sigma0 is not None
    assert tape.sigma0_limit is not None
    assert tape.factor == tape.sigma0 > tape.sigma0_limit > 1.0
    assert tape.zero_sd == pytest.approx(tape.zero_sd_as_stated * tape.sigma0)
    assert tape.scale_sd == pytest.approx(tape.scale_sd_as_stated * tape.sigma0)
    assert tape.coverage_factor == pytest.approx(2.306004, abs=1e-6)  # Student's t table, 8 degrees of freedom


def test_smooth_readings_never_scale_the_sd_down() -> None:
    tape = exact(0.0, 0.0)
    assert tape.sigma0 == pytest.approx(0.0, abs=1e-9)
    assert tape.factor == 1.0
    assert tape.zero_sd == tape.zero_sd_as_stated
    assert tape.coverage_factor == pytest.approx(1.959964, abs=1e-6)


def holding(*, rougher: float, trials: int = 3000) -> tuple[float, float, float]:
    """Share of 95 % intervals that hold zero, scale, and the zero and scale of a reading of 2500 mm together."""
    rng = np.random.default_rng(20)
    held = np.zeros(3)
    lever = np.array([1.0, 2500.0])
    for _ in range(trials):
        tape = check_tape(sheet(rng, rougher=rougher))
        off = lever @ (tape.zero - 1.2, tape.scale - 4e-4)
        held += (
            abs(tape.zero - 1.2) <= tape.zero_u95,
            abs(tape.scale - 4e-4) <= tape.scale_u95,
            abs(off) <= tape.coverage_factor * np.sqrt(lever @ tape.covariance @ lever),
        )
    return tuple(held / trials)


def test_intervals_hold_95_percent_where_the_sd_are_as_stated() -> None:
    # 3000 trials: sd of a share 0.4 %. The one sheet in twenty that the test rejects is given too much.
    assert all(0.94 <= share <= 0.97 for share in holding(rougher=1.0))


def test_intervals_hold_where_readings_are_far_rougher_than_stated() -> None:
    assert all(0.94 <= share <= 0.975 for share in holding(rougher=4.0))


def test_the_chi_square_test_rejects_one_good_sheet_in_twenty() -> None:
    rng = np.random.default_rng(21)
    rejected = [check_tape(sheet(rng)).passed is False for _ in range(3000)]
    assert 0.035 <= np.mean(rejected) <= 0.065


def test_predicted_covariance_is_the_scatter_of_repeated_sheets() -> None:
    rng = np.random.default_rng(22)
    checks = [check_tape(sheet(rng)) for _ in range(4000)]
    scatter = np.cov([(c.zero, c.scale) for c in checks], rowvar=False)
    stated = checks[0].covariance_as_stated
    for a, b in itertools.product(range(2), repeat=2):
        assert scatter[a, b] == pytest.approx(stated[a, b], rel=0.1)


def test_settings_are_what_a_job_keeps() -> None:
    assert exact(1.23456, 4.56789e-4).settings() == {
        "zero": 1.235,
        # by hand, sd 0.5 each: mean of the bars 1360, squared distances from it 5 092 000
        "zero_sd": round(0.5 * np.sqrt(1.0 / 5.0 + 1360.0**2 / 5_092_000.0), 3),
        "scale": 0.0004568,
        "sd": round(0.5 / np.sqrt(5_092_000.0), 7),
    }


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([], "no readings"),
        ([KnownLength(1000.0, 1000.5, 0.1, 0.5)] * 3, "readings of one length only, 1000 mm"),
        (
            [KnownLength(1000.0, 1001.0, 0.1, 0.0), KnownLength(2000.0, 2000.0, 0.1, 0.5)],
            "no tape is read exactly",
        ),
        ([KnownLength(float("nan"), 1.0, 0.1, 0.5)], "reading 1"),
        ([KnownLength(500.0, float("inf"), 0.1, 0.5)], "reading 1"),
        ([KnownLength(500.0, 501.0, 0.1, 0.5), KnownLength(0.0, 1.0, 0.1, 0.5)], "reading 2"),
        ([KnownLength(500.0, 501.0, -0.1, 0.5)], "its sd"),
    ],
)
def test_what_cannot_be_used_is_refused_in_words(rows: list[KnownLength], words: str) -> None:
    with pytest.raises(TapeCheckError, match=words):
        check_tape(rows)
