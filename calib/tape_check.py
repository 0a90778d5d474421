"""Zero error and scale of a tape from readings of known lengths: a bar, a steel rule, a measured base.

Model: reading = zero + (1 + scale) * length. `zero` is what the tape shows at length 0 (a bent hook; + reads
long), `scale` is relative (+ reads long).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc, chdtri, ndtri, stdtrit

from measure.line import Array, fit_line

SIGNIFICANCE = 0.05
"""How often the chi-square test may call readings rougher than stated that are not."""


class TapeCheckError(ValueError):
    """Readings that cannot give a zero error and a scale; the text says what would do."""


@dataclass(frozen=True)
class KnownLength:
    """A known length and the tape's reading of it, mm. `sd` is of one reading, `known_sd` of the length.

    Lines with the same `known` and `known_sd` are readings of the same bar, which is wrong by the same
    amount each time: reading it more often does not make the bar better.
    """

    known: float
    reading: float
    known_sd: float
    sd: float


@dataclass(frozen=True)
class TapeCheck:
    """What readings of known lengths say of a tape.

    `covariance_as_stated` (2, 2) of (zero in mm, scale) follows from the stated sd alone. `sigma0` is
    root(chi-square / degrees of freedom), None where two readings leave nothing to judge by; `sigma0_limit`
    is the largest that chance explains (5 %). `factor` multiplies the stated sd: sigma0 where the test
    failed, else 1; never below 1. `residuals` (n,) are line minus reading, mm.
    Included: reading noise and the known lengths' own error. Not included: a tape bent or graduated
    unevenly between the lengths checked. `shortest` and `longest`: the lengths checked, mm.
    """

    zero: float
    scale: float
    covariance_as_stated: Array
    chi_square: float
    degrees_of_freedom: int
    p_value: float | None
    sigma0: float | None
    sigma0_limit: float | None
    residuals: Array
    shortest: float
    longest: float

    @property
    def passed(self) -> bool | None:
        """Whether the readings scatter no more than stated; None where nothing is left over to tell."""
        return None if self.p_value is None else self.p_value >= SIGNIFICANCE

    @property
    def factor(self) -> float:
        """By what the stated sd are multiplied."""
        return self.sigma0 if self.passed is False and self.sigma0 is not None else 1.0

    @property
    def covariance(self) -> Array:
        """(2, 2) of (zero, scale), scaled where the chi-square test asks for it."""
        return self.covariance_as_stated * self.factor**2

    @property
    def zero_sd_as_stated(self) -> float:
        """Mm, from the stated sd alone."""
        return float(np.sqrt(self.covariance_as_stated[0, 0]))

    @property
    def scale_sd_as_stated(self) -> float:
        """Relative, from the stated sd alone."""
        return float(np.sqrt(self.covariance_as_stated[1, 1]))

    @property
    def zero_sd(self) -> float:
        """Mm, scaled where the chi-square test asks for it."""
        return self.zero_sd_as_stated * self.factor

    @property
    def scale_sd(self) -> float:
        """Relative, scaled where the chi-square test asks for it."""
        return self.scale_sd_as_stated * self.factor

    @property
    def coverage_factor(self) -> float:
        """K for 95 %: 1.96, or Student's t where the sd had to be estimated from the readings."""
        if self.factor > 1.0:
            return float(stdtrit(self.degrees_of_freedom, 0.975))
        return float(ndtri(0.975))

    @property
    def zero_u95(self) -> float:
        """Expanded uncertainty of the zero error at 95 %, mm."""
        return self.coverage_factor * self.zero_sd

    @property
    def scale_u95(self) -> float:
        """Expanded uncertainty of the scale at 95 %, relative."""
        return self.coverage_factor * self.scale_sd

    def settings(self) -> dict[str, float]:
        """What goes into [tape.NAME] of job.toml: mm to the micrometre, scale to 1e-7."""
        return {
            "zero": round(self.zero, 3),
            "zero_sd": round(self.zero_sd, 3),
            "scale": round(self.scale, 7),
            "sd": round(self.scale_sd, 7),
        }


def check_tape(readings: Sequence[KnownLength]) -> TapeCheck:
    """Fit zero and scale by least squares to two or more readings of two or more different lengths.

    Raises TapeCheckError for fewer, for values that are not finite or a length not above 0, and for a
    reading without an sd. The sd are scaled up by sigma0 only where the chi-square test rejects them at
    5 % (JCGM 100:2008, H.3 takes the scatter always; here the stated sd stand while they may).
    """
    _refuse_what_cannot_do(readings)
    known = np.array([r.known for r in readings])
    error = np.array([r.reading for r in readings]) - known
    line = fit_line(known, error, _covariance(readings))
    f = line.degrees_of_freedom
    return TapeCheck(
        zero=line.intercept,
        scale=line.slope,
        covariance_as_stated=line.covariance,
        chi_square=line.chi_square,
        degrees_of_freedom=f,
        p_value=float(chdtrc(f, line.chi_square)) if f > 0 else None,
        sigma0=line.sigma0,
        sigma0_limit=float(np.sqrt(chdtri(f, SIGNIFICANCE) / f)) if f > 0 else None,
        residuals=line.residuals,
        shortest=float(known.min()),
        longest=float(known.max()),
    )


def _covariance(readings: Sequence[KnownLength]) -> Array:
    """(n, n) of reading minus known, mm2: readings of one bar share the bar's error."""
    known = np.array([r.known for r in readings])
    known_sd = np.array([r.known_sd for r in readings])
    same_bar = (known[:, None] == known) & (known_sd[:, None] == known_sd)
    covariance: Array = np.where(same_bar, known_sd**2, 0.0) + np.diag([r.sd**2 for r in readings])
    return covariance


def _refuse_what_cannot_do(readings: Sequence[KnownLength]) -> None:
    for number, r in enumerate(readings, start=1):
        which = f"reading {number} (known {r.known:g} mm, read {r.reading:g} mm)"
        finite = np.isfinite([r.known, r.reading, r.known_sd, r.sd]).all()
        if not finite or r.known <= 0.0 or r.known_sd < 0.0:
            raise TapeCheckError(
                f"{which}: the known length must be a number above 0, its sd ({r.known_sd:g} mm) 0 or more"
            )
        if r.sd <= 0.0:
            raise TapeCheckError(
                f"{which} has sd {r.sd:g} mm: no tape is read exactly; write 0.5 mm for an ordinary tape"
            )
    if len({r.known for r in readings}) < 2:
        found = f"readings of one length only, {readings[0].known:g} mm" if readings else "no readings"
        raise TapeCheckError(
            f"{found}: zero error and scale need two different known lengths, the further apart the better, "
            "for example 300 mm of a steel rule and a bar of 2 m"
        )
