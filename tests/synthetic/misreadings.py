"""Mistakes that people make with a tape, planted into one row of tape.csv."""

from __future__ import annotations

import copy
from dataclasses import dataclass

import numpy as np

from tests.synthetic.survey import Survey

KINDS = ("swapped digits", "burnt 100 mm", "plus 10", "twin", "typed twice")


@dataclass(frozen=True)
class Planted:
    """A survey with a mistake in it. `row`: position in survey.tape; `size`: wrong minus right, mm."""

    survey: Survey
    kind: str
    row: int
    size: float
    right: float
    wrong: float


def plant(survey: Survey, kind: str, row: int, rng: np.random.Generator) -> Planted:
    """Plant one mistake; the survey given is left as it is. ValueError where that row cannot have it.

    - "swapped digits": two neighbouring digits of the whole mm (or inches) change places;
    - "burnt 100 mm": the tape was held at 100 mm (10 in) and nobody took it off, reads long;
    - "plus 10": one line of the tape further, 10 mm (1 in) long;
    - "twin": the tape ran to the other side's point, but the row says this side's;
    - "typed twice": the length of the row above, typed again.
    """
    changed = copy.deepcopy(survey)
    right = float(survey.tape[row]["length"])
    inches = survey.settings["units"] == "in"
    match kind:
        case "swapped digits":
            wrong = _swapped(right, 25.4 if inches else 1.0, rng)
        case "burnt 100 mm":
            wrong = right + (254.0 if inches else 100.0)
        case "plus 10":
            wrong = right + (25.4 if inches else 10.0)
        case "twin":
            wrong = _to_the_twin(survey, row, rng)
        case "typed twice":
            if row == 0:
                raise ValueError("the first row has none above")
            wrong = float(survey.tape[row - 1]["length"])
        case _:
            raise ValueError(f"no kind of misreading {kind!r}: one of {', '.join(KINDS)}")
    changed.tape[row]["length"] = wrong
    return Planted(changed, kind, row, wrong - right, right, wrong)


def _swapped(length: float, unit: float, rng: np.random.Generator) -> float:
    whole, rest = divmod(length, unit)
    digits = str(round(whole))
    places = [k for k in range(len(digits) - 1) if digits[k] != digits[k + 1] and (k or digits[1] != "0")]
    if not places:
        raise ValueError(f"{digits} has no two neighbouring digits to swap")
    k = places[int(rng.integers(len(places)))]
    swapped = digits[:k] + digits[k + 1] + digits[k] + digits[k + 2 :]
    return int(swapped) * unit + rest


def _to_the_twin(survey: Survey, row: int, rng: np.random.Generator) -> float:
    start, end = survey.tape[row]["from"], survey.tape[row]["to"]
    tape, where = survey.tape[row].get("tape", ""), survey.tape[row]["where"]
    known = survey.floor if where == "floor" else survey.positions
    legs = [(_twin(start), end), (start, _twin(end))]
    legs = [(a, b) for a, b in legs if a != b and a in known and b in known]
    if not legs:
        raise ValueError(f"{start} to {end} has no twin to be mistaken for")
    a, b = legs[int(rng.integers(len(legs)))]
    return survey.read_tape(a, b, where, tape, rng)


def _twin(mark: str) -> str:
    name, hash_, drop = mark.partition("#")
    return name[:-1] + {"L": "R", "R": "L"}.get(name[-1], name[-1]) + hash_ + drop
