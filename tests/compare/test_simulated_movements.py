"""The small version of the benchmark: no clock, few pairs, wide bounds."""

from __future__ import annotations

from tests.benchmarks.movements import run


def test_false_alarms_and_what_is_seen() -> None:
    r = run(40)
    assert r.global_alarms <= 0.20
    assert r.single_alarms <= 0.20
    assert 0.92 <= r.regions <= 0.98
    assert r.false_moved == 0
    assert r.missed_hidden == 0
    assert r.seen >= 0.65
    assert r.held > 0.5
