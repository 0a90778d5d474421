"""Forty simulated sheets of the size people write: clean ones raise nothing, planted mistakes are named."""

import copy

import numpy as np

from measure.adjust.critical import FINDABLE
from measure.adjust.stage import Solved
from tests.adjust.cars import adjusted
from tests.adjust.test_mistakes import nothing_hidden, sources
from tests.synthetic import Survey, make_car, survey

SHEETS = 40


def one_sheet(seed: int) -> tuple[bool, bool, bool]:
    """(clean raises none, one planted is named first, two planted are both named)."""
    rng = np.random.default_rng(seed)
    car = make_car(rng, pairs=7, build=1.0)
    sheet = survey(car, rng, tapes=int(rng.integers(45, 75)), roll_deg=rng.uniform(-1, 1), pitch_deg=rng.uniform(-1, 1))
    clean = adjusted(car, sheet)[1]
    first, second = planted_rows(clean, rng)
    one = with_mistake(sheet, *first)
    two = with_mistake(one, *second)
    found_one, found_two = adjusted(car, one)[1], adjusted(car, two)[1]
    nothing_hidden(found_one)
    nothing_hidden(found_two)
    source = [f"tape.csv:{row + 2}" for row, _ in (first, second)]
    worst = found_one.suspects[:1]
    rows = found_one.as_stated.network.rows
    named = {rows[i].reading.source for s in worst for i in (s.rows[0], *s.cannot_tell_from)}
    return not clean.suspects, source[0] in named, set(source) <= set(sources(found_two))


def planted_rows(clean: Solved, rng: np.random.Generator) -> list[tuple[int, float]]:
    """Two tapes that others check, each with a mistake of 1.2 to 3 times its smallest findable size."""
    a = clean.as_stated
    floor = [i for i, kind in enumerate(a.network.kinds) if kind == "floor" and a.redundancy[i] > 0.1]
    chosen = rng.choice(floor, 2, replace=False)
    sizes = [
        float(rng.choice([-1, 1]) * rng.uniform(1.2, 3.0) * FINDABLE * a.sd[i] / np.sqrt(a.redundancy[i]))
        for i in chosen
    ]
    lines = [int(a.network.rows[i].reading.source.partition(":")[2]) - 2 for i in chosen]
    return list(zip(lines, sizes, strict=True))


def with_mistake(sheet: Survey, row: int, size: float) -> Survey:
    changed = copy.deepcopy(sheet)
    changed.tape[row]["length"] += size
    return changed


def test_clean_sheets_raise_none_and_planted_mistakes_are_named() -> None:
    clean, first, both = np.mean([one_sheet(seed) for seed in range(SHEETS)], axis=0)
    assert clean >= 0.85
    assert first >= 0.90
    assert both >= 0.75
