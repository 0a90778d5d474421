"""How far a tape of an accuracy class may be wrong: maximum permissible error +-(a + b * length).

Source: Directive 2014/32/EU, Annex X (MI-008), Chapter I, clauses 1 and 2, tables 1 and 2 (the same text in
UK S.I. 2016/1153, Schedule 1I). OIML R 35-1:2007 clause 4 has the same a and b.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

LIMITS: Mapping[str, tuple[float, float]] = MappingProxyType(
    {"I": (0.1, 0.1), "II": (0.3, 0.2), "III": (0.6, 0.4), "none": (0.0, 0.0)}
)
"""class -> (a in mm, b in mm per m). "none": a tape taken as it is, without a class error."""
