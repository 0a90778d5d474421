"""Toe, camber and thrust: signs and sides against the vehicle-dynamics vocabulary.

ISO 8855:2011, clause 2 (x forward, y left, z up) and 7.1.6, 7.1.7 (static toe angle, toe-in positive: the forward part
of the wheel nearer the centreline than its middle; total toe the sum of an axle's two), read in an excerpt of BS ISO
8855:2011; left toe-in = -steer, right toe-in = +steer about +z, derived and printed in a multibody program's manual.
Camber positive with the top outward: SAE J670 and ISO 8855 by secondary texts. The thrust angle, (left toe - right
toe)/2, is positive to the RIGHT in workshop usage (from memory; the algebra follows from the toe definitions): about
+z the same direction is negative, hence the words beside every sign.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from measure.body import axle, face
from measure.check import check

SIGNS = [  # toe left, toe right, total toe, thrust (+ right), heading about +z (+ left); degrees
    (0.10, 0.10, 0.20, 0.00, 0.00),
    (0.30, 0.10, 0.40, 0.10, -0.10),
    (0.00, 0.20, 0.20, -0.10, 0.10),
    (-0.05, 0.15, 0.10, -0.10, 0.10),
]
COLUMNS = ("toe_left", "toe_right", "total", "thrust_right", "heading")
RADIUS, HALF_TRACK, BEHIND, HEIGHT = 57.0, 720.0, -1800.0, 310.0


def wheel_face(side: str, toe: float, camber: float = 0.0) -> np.ndarray:
    """Five points of a bolt circle (5, 3), x forward, y left, z up; the wheel turned by its toe, leaned by its camber.

    Made from the words of the standard: for toe-in the front edge goes towards the centreline, for camber the top
    goes away from it.
    """
    outward = 1.0 if side == "L" else -1.0
    at = 2 * np.pi * np.arange(5) / 5
    forward = np.array([np.cos(np.radians(toe)), -outward * np.sin(np.radians(toe)), 0.0])
    across = outward * np.array([outward * np.sin(np.radians(toe)), np.cos(np.radians(toe)), 0.0])  # outward
    up = np.array([0.0, 0.0, np.cos(np.radians(camber))]) + np.sin(np.radians(camber)) * across
    middle = np.array([BEHIND, outward * HALF_TRACK, HEIGHT])
    return np.asarray(middle + RADIUS * (np.cos(at)[:, None] * forward + np.sin(at)[:, None] * up))


def test_the_wheels_are_built_as_the_standard_says() -> None:
    """Front edge nearer the centreline with toe-in, top further from it with camber."""
    for side in "LR":
        points = np.abs(wheel_face(side, 1.0)[:, 1])
        assert points[0] < HALF_TRACK  # the first point is the front edge
        leaning = np.abs(wheel_face(side, 0.0, 1.0)[:, 1])
        assert leaning[1] > HALF_TRACK > leaning[4]  # the second stands above the middle, the last below


@pytest.mark.parametrize(COLUMNS, SIGNS)
def test_toe_and_heading(toe_left: float, toe_right: float, total: float, thrust_right: float, heading: float) -> None:
    left, right = wheel_face("L", toe_left), wheel_face("R", toe_right)
    toes = face.toe(left, "L"), face.toe(right, "R")
    assert toes == pytest.approx((toe_left, toe_right), abs=1e-10)
    assert toes[0] + toes[1] == pytest.approx(total, abs=1e-10)
    assert (toes[0] - toes[1]) / 2 == pytest.approx(thrust_right, abs=1e-10)
    headings = face.heading(left, "L"), face.heading(right, "R")
    assert headings == pytest.approx((-toe_left, toe_right), abs=1e-10)  # steer about +z
    assert sum(headings) / 2 == pytest.approx(heading, abs=1e-10)


@pytest.mark.parametrize("camber", [-1.2, 0.0, 0.75])
@pytest.mark.parametrize("side", ["L", "R"])
def test_camber(side: str, camber: float) -> None:
    points = wheel_face(side, 0.3, camber)
    assert face.camber(points, side) == pytest.approx(camber, abs=1e-9)
    assert face.toe(points, side) == pytest.approx(0.3, abs=1e-9)
    np.testing.assert_allclose(
        face.centre(points)[1:], [HALF_TRACK if side == "L" else -HALF_TRACK, HEIGHT], rtol=0, atol=1e-9
    )


@pytest.mark.parametrize(("lead", "heading"), [(10.0, -0.39788), (-10.0, 0.39788), (0.0, 0.0)])
def test_square(lead: float, heading: float) -> None:
    """The left end 10 mm ahead over 1440 mm turns the axle to roll right: arctan(10/1440), negative about +z."""
    ends = np.array([[BEHIND + lead / 2, HALF_TRACK, HEIGHT], [BEHIND - lead / 2, -HALF_TRACK, HEIGHT]])
    assert axle.square(ends) == pytest.approx(heading, abs=5e-6)


def job_of(folder: Path, faces: dict[str, np.ndarray], turn: float) -> Path:
    """A symmetrical body, its pairs level, and its rear faces; the instrument stands turned and leaning."""
    points = {}
    for k, (x, y, z) in enumerate([(1500, 420, 400), (500, 450, 400), (-700, 440, 400), (-2600, 520, 400)]):
        points[f"p{k}L"], points[f"p{k}R"] = (x, y, z), (x, -y, z)
    lines = ["name,side,part", *(f"{name},{name[-1]}," for name in points)]
    for side, seen in faces.items():
        for i, xyz in enumerate(seen.tolist()):
            points[f"f{side}{i}"] = tuple(xyz)
            lines.append(f"f{side}{i},{side},face:rear")
    c, s = np.cos(turn), np.sin(turn)
    lean = np.array([[1, 0, 0], [0, np.cos(0.02), -np.sin(0.02)], [0, np.sin(0.02), np.cos(0.02)]])
    R = lean @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    rows = ["setup,point,x,y,z"]
    for name, xyz in points.items():
        x, y, z = R @ np.array(xyz) + [3000.0, -2000.0, 700.0]
        rows.append(f"arm,{name},{x:.9f},{y:.9f},{z:.9f}")
    stage = folder / "before"
    stage.mkdir(parents=True)
    (folder / "job.toml").write_text(
        'title = "signs"\nunits = "mm"\nstages = ["before"]\n[sd]\nxyz = 0.02\nbuild = 0.02\n', encoding="utf-8"
    )
    (folder / "points.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (stage / "xyz.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder


@pytest.mark.parametrize(COLUMNS, SIGNS)
def test_signs_and_words_of_the_whole_command(
    tmp_path: Path, toe_left: float, toe_right: float, total: float, thrust_right: float, heading: float
) -> None:
    faces = {"L": wheel_face("L", toe_left, 0.5), "R": wheel_face("R", toe_right, -0.5)}
    document = check(job_of(tmp_path / "car", faces, turn=2.1))
    found = {c.name: c for c in document.checks}
    value = {name: c.value for name, c in found.items()}
    assert value["face.rear.L.toe"] == pytest.approx(toe_left, abs=1e-5)
    assert value["face.rear.R.toe"] == pytest.approx(toe_right, abs=1e-5)
    assert value["face.rear.L.camber"] == pytest.approx(0.5, abs=1e-5)
    assert value["face.rear.R.camber"] == pytest.approx(-0.5, abs=1e-5)
    assert value["axle.rear.thrust"] == pytest.approx(heading, abs=1e-5)
    assert value["axle.rear.square"] == pytest.approx(0.0, abs=1e-5)
    if thrust_right > 0:
        assert "pointing right" in found["axle.rear.thrust"].words
        assert found["axle.rear.thrust"].side == "right"
    elif thrust_right < 0:
        assert "pointing left" in found["axle.rear.thrust"].words
        assert found["axle.rear.thrust"].side == "left"
    if toe_left:
        assert ("toe-in" if toe_left > 0 else "toe-out") in found["face.rear.L.toe"].words
    assert "out" in found["face.rear.L.camber"].words
    assert "in" in found["face.rear.R.camber"].words.split()
