"""Class limits of tapes against the published table.

Source: Directive 2014/32/EU (MID), Annex X (MI-008), Chapter I, clauses 1 and 2, tables 1 and 2; read in the
public copy of UK S.I. 2016/1153, Schedule 1I (legislation.gov.uk). The lengths below follow from its formula
a + b * L, L in metres rounded up to the next whole metre.
"""

import numpy as np
import pytest

from calib.tape_class import END_LIMITS, LIMITS, maximum_permissible_error

PUBLISHED = {  # class: (a mm, b mm per m, c mm)
    "I": (0.1, 0.1, 0.1),
    "II": (0.3, 0.2, 0.2),
    "III": (0.6, 0.4, 0.3),
}
BY_ARITHMETIC = [  # length m, class I, II, III, mm
    (0.4, 0.2, 0.5, 1.0),
    (1.0, 0.2, 0.5, 1.0),
    (2.3, 0.4, 0.9, 1.8),
    (5.0, 0.6, 1.3, 2.6),
    (8.0, 0.9, 1.9, 3.8),
    (10.0, 1.1, 2.3, 4.6),
    (30.0, 3.1, 6.3, 12.6),
]


@pytest.mark.parametrize("tape_class", PUBLISHED)
def test_the_table_is_the_published_one(tape_class: str) -> None:
    assert (*LIMITS[tape_class], END_LIMITS[tape_class]) == PUBLISHED[tape_class]


@pytest.mark.parametrize(("column", "tape_class"), [(1, "I"), (2, "II"), (3, "III")])
def test_limits_at_a_range_of_lengths(column: int, tape_class: str) -> None:
    table = np.array(BY_ARITHMETIC)
    limits = maximum_permissible_error(table[:, 0] * 1000.0, tape_class)
    np.testing.assert_allclose(limits, table[:, column], atol=1e-9)


def test_a_hook_adds_its_own_limit() -> None:
    assert maximum_permissible_error(2300.0, "II", from_the_end=True) == pytest.approx(1.1)


def test_no_class_means_no_class_error() -> None:
    assert maximum_permissible_error(2300.0, "none") == 0.0
