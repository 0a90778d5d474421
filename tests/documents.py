"""Result documents made by hand for the tests of the reports: invented cars, figures set, not solved."""

import dataclasses
from typing import Any

from measure.result import (
    Centreline,
    CheckResult,
    Document,
    Loose,
    Network,
    NextAct,
    PointResult,
    ReadingResult,
    ScaledKind,
    Share,
    Suspect,
    TapeResult,
    Tilt,
)

PAIRS = {  # key: (x, width, height), mm
    "horn": (0.0, 760.0, 310.0),
    "cradle": (-420.0, 820.0, 240.0),
    "dash": (-1010.0, 900.0, 190.0),
    "mid": (-1690.0, 920.0, 180.0),
    "arm": (-2380.0, 980.0, 260.0),
    "kick": (-2700.0, 940.0, 330.0),
    "tail": (-3700.0, 860.0, 380.0),
}
OFFSETS = {
    "horn": -0.4,
    "cradle": 0.7,
    "dash": 0.2,
    "mid": -0.9,
    "arm": 1.9,
    "kick": 3.4,
    "tail": 8.2,
}
VERDICTS = {"arm": "undecided", "kick": "undecided", "tail": "outside"}
AXLE_X, AXLE_WIDTH, AXLE_OFFSET, AXLE_LEAD = -2960.0, 1420.0, 4.6, 6.5


def mm_side(value: float) -> str:
    return f"{abs(value):.1f} mm to the {'left' if value > 0 else 'right'}"


def check(name: str, value: float | None, **changes: Any) -> CheckResult:
    """A check in mm without a limit, changed as asked."""
    facts: dict[str, Any] = {
        "name": name,
        "value": value,
        "unit": "mm",
        "u95": None if value is None else 1.6,
        "limit": None,
        "verdict": "no limit",
        "side": "" if value is None else ("left" if value > 0 else "right"),
        "words": "" if value is None else mm_side(value),
    }
    return CheckResult(**{**facts, **changes})


def pulled_car(**changes: Any) -> Document:
    """A car whose tail stands to the left and whose axle is off-centre and skewed."""
    points, checks = [], []
    for key, (x, width, height) in PAIRS.items():
        part = "reference" if key in ("cradle", "arm") else "rail"
        for side, sign in (("L", 1), ("R", -1)):
            y = OFFSETS[key] + sign * width / 2
            points.append(PointResult(key + side, x, y, height, 0.9, 1.0, 1.1, 0.15 * sign, side, key, part))
        undecided = key in VERDICTS and VERDICTS[key] == "undecided"
        checks.append(
            check(
                f"pair.{key}.offset",
                OFFSETS[key],
                limit=3.0,
                verdict=VERDICTS.get(key, "within"),
                budget=[Share(f"the bob at {key}L and {key}R", 0.81), Share("factory scatter", 0.15)],
                next=NextAct(f"drop the bob again at {key}L and {key}R", 1.1) if undecided else None,
                single_drops=key != "horn",
            )
        )
        checks.append(check(f"pair.{key}.width", width, words=f"{width:.1f} mm apart", side=""))
    for side, sign in (("L", 1), ("R", -1)):
        x, y = AXLE_X + sign * AXLE_LEAD / 2, AXLE_OFFSET + sign * AXLE_WIDTH / 2
        points.append(PointResult("axle" + side, x, y, 305.0, 1.0, 1.0, 1.0, 0.0, side, None, "axle:rear"))
    checks += [
        check("axle.rear.offset", AXLE_OFFSET, limit=3.0, verdict="undecided"),
        check(
            "axle.rear.thrust",
            0.26,
            unit="deg",
            u95=0.14,
            limit=0.2,
            verdict="undecided",
            side="right",
            words="0.26 degrees, pointing right; taken from the axle ends",
            next=NextAct("drop the bob again at axleL and axleR", 0.1, "drop", ["axleL", "axleR"]),
        ),
        check("axle.rear.lead", AXLE_LEAD, words="left end 6.5 mm ahead"),
        check(
            "rails.yaw",
            0.05,
            unit="deg",
            u95=0.08,
            limit=0.2,
            verdict="within",
            words="0.05 degrees, both lean left at the front",
        ),
        check("body.twist", None, unit="deg", estimable=False, words="no heights, so no twist", side=""),
    ]
    document = Document(
        job="Bench coupé",
        stage="before",
        units="mm",
        version="0.1.0",
        inputs_sha256="ab12" * 16,
        frame="car",
        plan_only=False,
        tilt=Tilt(0.62, -0.31),
        network=Network(16, 76, 48, 6, 34, 1.27, 0.77, 1.23, False, [ScaledKind("tape", 1.31, 12.4)], 1.04),
        points=points,
        readings=[
            ReadingResult("tape.csv:12", "tape", ["hornL", "dashR"], 1307.2, 1306.9, -0.3, 0.6, 0.44, -0.9, 3.7),
            ReadingResult("levels.csv:3", "levels", ["tailL", "tailR"], 1.0, 1.0, 0.0, 1.0, 0.0, None, None),
        ],
        suspects=[
            Suspect(
                "tape.csv:12",
                "tape",
                14.8,
                -9.0,
                "1834 reads like 1843 with two digits swapped; that would fit to 0.4 mm",
                True,
                ["tape.csv:14"],
            )
        ],
        centreline=Centreline(["horn", "cradle", "dash", "mid", "arm", "kick"], ["tail"], False, [], 0.021, 0.42),
        checks=checks,
        cautions=["A spirit level across two pairs would take 0.4 mm off every figure."],
        notes=["before/tape.csv: decimal comma read as a point in 12 cells"],
        unchecked=["levels.csv:3"],
        tapes=[TapeResult("", 0.00021, 0.00012)],
    )
    return dataclasses.replace(document, **changes)


FACE_CENTRES = ((-2956.0, 714.6), (-2964.0, -705.4))
"""x, y of the centres of the two wheel faces of `faced_car`, mm, left first."""


def faced_car(**changes: Any) -> Document:
    """The pulled car with its axle known by three points on each wheel face, not by its ends."""
    car = pulled_car()
    points = [p for p in car.points if not p.part.startswith("axle:")]
    for side, (x, y) in zip("LR", FACE_CENTRES, strict=True):
        for number, (along, up) in enumerate(((0.0, 60.0), (-52.0, -30.0), (52.0, -30.0)), start=1):
            name = f"face{number}{side}"
            points.append(PointResult(name, x + along, y, 305.0 + up, 0.2, 0.2, 0.2, 0.0, side, None, "face:rear"))
    return dataclasses.replace(car, points=points, **changes)


def loose_car(**changes: Any) -> Document:
    """A stage in two pieces with a loose point: no centreline."""
    car = pulled_car()
    points = [
        dataclasses.replace(p, x=None, y=None, z=None, sd_x=None, sd_y=None, sd_z=None, cov_xy=None)
        if p.name == "tailR"
        else p
        for p in car.points
    ]
    facts: dict[str, Any] = {
        "frame": "network",
        "tilt": Tilt(),
        "plan_only": True,
        "points": points,
        "suspects": [],
        "centreline": Centreline([], [], False, [], None, None),
        "checks": [
            check(
                c.name,
                None,
                unit=c.unit,
                limit=c.limit,
                estimable=False,
                verdict="no limit" if c.limit is None else "undecided",
            )
            for c in car.checks
        ],
        "loose": [Loose(["tailR"], "free to swing about kickR", ["a tape from tailR to kickL"])],
        "pieces": [["hornL", "hornR"], ["tailL", "tailR"]],
    }
    return dataclasses.replace(car, **{**facts, **changes})
