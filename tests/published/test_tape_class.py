"""Class limits of tapes against the published table.

Source: Directive 2014/32/EU (MID), Annex X (MI-008), Chapter I, clauses 1 and 2, tables 1 and 2; read in the
public copy of UK S.I. 2016/1153, Schedule 1I (legislation.gov.uk).
"""

import pytest

from calib.tape_class import LIMITS

PUBLISHED = {  # class: (a mm, b mm per m)
    "I": (0.1, 0.1),
    "II": (0.3, 0.2),
    "III": (0.6, 0.4),
}


@pytest.mark.parametrize("tape_class", PUBLISHED)
def test_the_table_is_the_published_one(tape_class: str) -> None:
    assert LIMITS[tape_class] == PUBLISHED[tape_class]


def test_no_class_means_no_class_error() -> None:
    assert LIMITS["none"] == (0.0, 0.0)
