"""A walk round the car written as a job folder: tables, pictures, and the truth of each picture beside it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from measure.photo.lens import LENS
from tests.synthetic.job_files import job_toml, table_text
from tests.synthetic.photos.camera import Shot
from tests.synthetic.photos.jpeg import jpeg
from tests.synthetic.photos.render import render
from tests.synthetic.photos.scene import Scene
from tests.synthetic.photos.sensor import Look
from tests.synthetic.photos.visible import sights

BAR_SD = 0.05
"""mm, in the sd column of each bar's row."""


def write_photo_job(
    folder: Path, scene: Scene, shots: Sequence[Shot], looks: Look | Sequence[Look] | None, *, seed: int = 1,
    title: str = "an invented car, photographed", stage: str = "before", sd: dict[str, float] | None = None,
    stage_info: dict[str, Any] | None = None,
) -> Path:  # fmt: skip
    """Write job.toml, points.csv, targets.csv, tape.csv with the bars, and photos/; returns the folder.

    `looks` None writes empty files in place of pictures, for a test that hands `observe`'s finds to the solver. The
    k-th picture is rendered with the seed `seed + k`, so that one picture more changes no other.
    """
    photos = folder / stage / "photos"
    photos.mkdir(parents=True, exist_ok=True)
    settings = {"units": "mm", "stage": stage, "sd": sd or {}}
    write_text(folder / "job.toml", job_toml(title, settings, {stage: stage_info} if stage_info else {}))
    write_text(folder / "points.csv", table_text(points(scene), "mm"))
    write_text(folder / stage / "targets.csv", table_text(targets(scene), "mm"))
    if scene.bars:
        write_text(folder / stage / "tape.csv", table_text(bars(scene), "mm"))
    each = [looks] * len(shots) if isinstance(looks, Look) or looks is None else list(looks)
    for k, (shot, look) in enumerate(zip(shots, each, strict=True)):
        data = b"" if look is None else jpeg(render(scene, shot, look, seed + k), shot, look.quality)
        (photos / shot.name).write_bytes(data)
    return folder


def points(scene: Scene) -> list[dict[str, Any]]:
    """points.csv: those of the car, then those of bars and stands, which no check looks at."""
    on_car = [] if scene.car is None else scene.car.meta
    rows: list[dict[str, Any]] = [{"name": m.name, "side": m.side, "part": m.part} for m in on_car]
    known = {m.name for m in on_car}
    return rows + [{"name": name, "side": "", "part": ""} for name in scene.points if name not in known]


def targets(scene: Scene) -> list[dict[str, Any]]:
    """targets.csv, with the sides that the person believes were printed."""
    stood_off = any(sheet.standoff for sheet in scene.sheets)
    return [
        {"target": s.number, "point": s.point, "side": f"{s.stated:g}"}
        | ({"standoff": s.standoff} if stood_off else {})
        for s in scene.sheets
    ]


def bars(scene: Scene) -> list[dict[str, Any]]:
    """Rows of tape.csv: each bar with the length written on it."""
    return [{"from": bar.a, "to": bar.b, "length": bar.written, "where": "bar", "sd": BAR_SD} for bar in scene.bars]


def picture_truth(scene: Scene, shots: Sequence[Shot]) -> str:
    """JSON: of each picture its pose, and the exact centre, corners and clear share of every sheet in it."""
    found = {
        shot.name: {
            "R": shot.R.tolist(), "t": shot.t.tolist(),
            "targets": {
                s.sheet.number: {"centre": s.centre.tolist(), "corners": s.corners.tolist(), "clear": s.clear}
                for s in sights(scene, shot)
            },
        }
        for shot in shots
    }  # fmt: skip
    return json.dumps(found)


def write_text(path: Path, text: str) -> None:
    """UTF-8 with plain line ends on every system."""
    path.write_text(text, encoding="utf-8", newline="\n")


def true_lines(scene: Scene, shots: Sequence[Shot]) -> list[str]:
    """Lines of truth.toml: the bars, the points, the lens and where the camera stood."""
    return [
        "[bars] # true lengths, mm",
        *(f"{json.dumps(f'{bar.a} {bar.b}')} = {bar.length:.3f}" for bar in scene.bars),
        "",
        "[points] # mm, in the axes of the body's design: x forward, y left, z up",
        *(f"{name} = [{', '.join(f'{v:.3f}' for v in at)}]" for name, at in scene.points.items()),
        "",
        "[lens] # pixels of the sensor's frame, the middle of the first is (0, 0)",
        *(f"{name} = {value:.6g}" for name, value in zip(LENS, shots[0].camera.lens, strict=True)),
        "",
        "[pictures] # where the camera stood, mm, in the same axes",
        *(f'"{shot.name}" = [{", ".join(f"{v:.1f}" for v in shot.place)}]' for shot in shots),
    ]
