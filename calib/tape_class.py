"""How far a tape of an accuracy class may be wrong: maximum permissible error +-(a + b * length).

Source: Directive 2014/32/EU, Annex X (MI-008), Chapter I, clauses 1 and 2, tables 1 and 2 (the same text in
UK S.I. 2016/1153, Schedule 1I). OIML R 35-1:2007 clause 4 has the same a and b.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

LIMITS: Mapping[str, tuple[float, float]] = MappingProxyType(
    {"I": (0.1, 0.1), "II": (0.3, 0.2), "III": (0.6, 0.4), "none": (0.0, 0.0)}
)
"""class -> (a in mm, b in mm per m). "none": a tape taken as it is, without a class error."""

END_LIMITS: Mapping[str, float] = MappingProxyType({"I": 0.1, "II": 0.2, "III": 0.3, "none": 0.0})
"""class -> c in mm, added where the length ends at a surface: the tape's own end, or its hook."""


def maximum_permissible_error(length: ArrayLike, tape_class: str, *, from_the_end: bool = False) -> NDArray[np.float64]:
    """The class limit of one length, in mm, either way.

    `length` in mm, any shape, not negative; the result has its shape. The length counts in whole metres,
    rounded up. `from_the_end` adds c: the reading starts at the hook or the end, not at a line.
    KeyError for a class that is not in `LIMITS`.
    """
    a, b = LIMITS[tape_class]
    metres = np.ceil(np.asarray(length, dtype=np.float64) / 1000.0)
    return np.asarray(a + b * metres + (END_LIMITS[tape_class] if from_the_end else 0.0))
