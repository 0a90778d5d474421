"""What the further commands say, for the page: the same functions, their own words, and their drawings as SVG."""

from __future__ import annotations

import contextlib
import io
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

from rich.console import Console

from measure.findings import BadInput
from measure.job import Job
from measure.paper import Paper
from measure.web.live import View
from measure.web.sentences import say
from measure.web.shop import NotHereError
from measure.web.side_by_side import side_by_side

SheetKind = Literal["pdf", "html"]
_ONE_PEN = threading.Lock()
"""The drawing library keeps its settings for the whole process: one drawing at a time."""
WIDTH = 84
"""Columns of the command's own text, which is folded in under each section."""


def sections(
    job: Job, stage: str, view: View | None, before: str, both: tuple[View | None, View | None]
) -> list[dict[str, Any]]:
    """Before and after, kind of damage, drilling, axle: each with its lines, or with why it cannot be said.

    `both`: what the two stages of `compared_stages` say by themselves.
    """
    return [
        _section("compare", lambda: _compared(job, stage, before, both)),
        _section("pattern", lambda: _pattern(job, stage, view)),
        _section("drill", lambda: _drilled(job, stage)),
        _section("axle", lambda: _axles(job, stage)),
        *([_section("driveline", lambda: _driven(job, stage))] if _has_a_shaft(job) else []),
    ]


def _section(name: str, make: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    empty = {
        "name": name,
        "head": say(f"{name}_head"),
        "items": [],
        "text": "",
        "drawing": "",
        "trouble": "",
        "mind": [],
        "would_tell": [],
        "seen": [],
        "figures": [],
        "stages": (),
    }
    try:
        return {**empty, **make()}
    except BadInput as bad:
        return {**empty, "trouble": str(bad)}
    except NotHereError as nothing:
        return {**empty, "trouble": str(nothing)}


def _compared(job: Job, stage: str, before: str, both: tuple[View | None, View | None]) -> dict[str, Any]:
    from measure.report.compare import render

    found = _comparison(job, stage, before)
    items = [
        {"sign": _SIGNS[m.verdict], "state": m.verdict, "words": m.words}
        for m in sorted(found.movements, key=_worst_first)
    ]
    return {
        "head": f"{say('compare_head')}: {say('compare_of', a=found.before, b=found.after)}", "items": items,
        "stages": (found.before, found.after), "figures": side_by_side(*(view.doc if view else None for view in both)),
        "text": _text(lambda console: render(found, False, console)), "mind": found.cautions,
        "drawing": f"compare.svg?before={before}" if before else "compare.svg",
    }  # fmt: skip


_SIGNS = {
    "held": "●", "moved": "■", "undecided": "▲", "within": "●", "outside": "■", "no limit": "◆", "move": "■",
    "not yet": "▲", "leave it": "●",
}  # fmt: skip


def _worst_first(movement: Any) -> int:
    return ("moved", "undecided", "held").index(movement.verdict)


def compared_stages(job: Job, stage: str, before: str) -> tuple[str, str] | None:
    """The two stages that are compared, the earlier first; None where the job has but one. Raises NotHereError."""
    others = [name for name in job.stages if name != stage]
    if not others:
        return None
    if before and before not in others:
        raise NotHereError(say("no_other_stage", name=before))
    at = job.stages.index(stage)
    return (before or job.stages[at - 1], stage) if before or at > 0 else (stage, others[0])


def _comparison(job: Job, stage: str, before: str) -> Any:
    from measure.compare.document import compare_stages

    both = compared_stages(job, stage, before)
    if both is None:
        raise NotHereError(say("compare_need"))
    return compare_stages(job.folder, *both)


def _surveyed(job: Job, stage: str, view: View | None = None) -> Any:
    from measure.survey import survey

    return view.surveyed if view and view.surveyed else survey(job.folder, stage)


def _pattern(job: Job, stage: str, view: View | None) -> dict[str, Any]:
    from measure.pattern.correct import find_corrections
    from measure.report.pattern import ANSWERS, render_corrections, render_pattern

    wanted, found = find_corrections(_surveyed(job, stage, view))
    pattern = found.pattern
    blind = not pattern.best.parts and [s for s in pattern.smallest_seen if _hides(s.size, job.limits["offset"])]
    state = "undecided" if blind else {"found": "outside", "none": "within"}.get(pattern.answer, pattern.answer)
    words = pattern.best.words if pattern.best.parts else ANSWERS["none"]
    items = [{"sign": _SIGNS[state], "state": state, "words": words}]
    items += [{"sign": "▲", "state": "undecided", "words": told.words} for told in pattern.tied]
    items += [{"sign": f"{step.number}.", "state": "", "words": step.words} for step in wanted.steps]
    text = _text(lambda c: render_pattern(pattern, c)) + _text(lambda c: render_corrections(wanted, c))
    return {
        "items": items, "text": text, "mind": pattern.cautions, "drawing": "pattern.svg",
        "would_tell": pattern.would_tell, "seen": [] if pattern.best.parts else pattern.smallest_seen,
    }  # fmt: skip


def _hides(smallest: float | None, limit: float) -> bool:
    """Whether a movement beyond the limit could have gone unseen, among those that the readings show at all."""
    return smallest is not None and smallest > limit


def _drilled(job: Job, stage: str) -> dict[str, Any]:
    from measure.report.drill import render
    from measure.setup.drill import drill

    if not job.mount_holes:
        raise NotHereError(say("drill_need"))
    found = drill(job.folder, stage)
    items = [{"sign": _SIGNS[m.verdict], "state": m.verdict, "words": m.words} for m in found.mounts]
    items += [{"sign": "+", "state": "", "words": hole.words} for hole in found.holes]
    text = _text(lambda console: render(found, console))
    return {"items": items, "text": text, "mind": found.cautions, "drawing": "drill.svg"}


def _axles(job: Job, stage: str) -> dict[str, Any]:
    from measure.report.axle import render
    from measure.setup.axle import axle_document

    if not job.axles:
        raise NotHereError(say("axle_need"))
    found = axle_document(job.folder, stage)
    items = []
    for axle in found.axles:
        items.append({"sign": _SIGNS[axle.status], "state": axle.status, "words": axle.words})
        items += [{"sign": "–", "state": "", "words": each.words} for each in axle.adjusters]
    text = _text(lambda console: render(found, console))
    return {"items": items, "text": text, "mind": found.cautions, "drawing": "axle.svg"}


def _has_a_shaft(job: Job) -> bool:
    return any(point.kind in ("shaft", "pinion") for point in job.points)


def _driven(job: Job, stage: str) -> dict[str, Any]:
    from measure.report.driveline import render
    from measure.setup.driveline import driveline_document

    found = driveline_document(job.folder, stage)
    items = []
    for each in found.drivelines:
        items.append({"sign": _SIGNS[each.verdict], "state": each.verdict, "words": each.words})
        items += [{"sign": _SIGNS[j.verdict], "state": j.verdict, "words": j.words} for j in each.joints]
        if each.ripple:
            items.append(
                {"sign": _SIGNS[each.ripple.verdict], "state": each.ripple.verdict, "words": each.ripple.words}
            )
    text = _text(lambda console: render(found, console))
    return {"items": items, "text": text, "mind": found.cautions}


def _text(render: Callable[[Console], None]) -> str:
    """What a command prints."""
    out = io.StringIO()
    render(Console(file=out, width=WIDTH, highlight=False, markup=False, emoji=False, no_color=True))
    return out.getvalue()


def drawing(job: Job, stage: str, name: str, before: str) -> bytes:
    """One drawing as SVG. Raises NotHereError, BadInput."""
    makers: dict[str, Callable[[Path], None]] = {
        "plan": lambda path: _draw_plan(job, stage, path),
        "compare": lambda path: _draw_compare(job, stage, before, path),
        "pattern": lambda path: _draw_pattern(job, stage, path),
        "drill": lambda path: _draw_drill(job, stage, path),
        "axle": lambda path: _draw_axle(job, stage, path),
    }
    if name not in makers:
        raise NotHereError(say("no_drawing", name=name))
    with _ONE_PEN, tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "drawing.svg"
        makers[name](path)
        return path.read_bytes()


def _draw_plan(job: Job, stage: str, path: Path) -> None:
    from measure.check import check
    from measure.report.plan import draw

    draw(check(job.folder, stage), path)


def _draw_compare(job: Job, stage: str, before: str, path: Path) -> None:
    from measure.report.movements import draw

    draw(_comparison(job, stage, before), path)


def _draw_pattern(job: Job, stage: str, path: Path) -> None:
    from measure.pattern.find import find_pattern
    from measure.report.pattern_plan import draw_pattern

    draw_pattern(find_pattern(_surveyed(job, stage)).pattern, path)


def _draw_drill(job: Job, stage: str, path: Path) -> None:
    from measure.report.drill_drawing import draw
    from measure.setup.drill import drill

    draw(drill(job.folder, stage), path)


def _draw_axle(job: Job, stage: str, path: Path) -> None:
    from measure.report.axle_drawing import draw
    from measure.setup.axle import axle_document

    draw(axle_document(job.folder, stage), path)


def sheet(job: Job, stage: str, paper: Paper, kind: SheetKind) -> bytes:
    """The sheet that leaves the shop, with what moved since the stage before, if any. Raises BadInput."""
    from measure.document import document
    from measure.report.certificate.page import html_bytes
    from measure.report.certificate.paper import pdf_bytes
    from measure.survey import survey

    surveyed = survey(job.folder, stage)
    compared = None
    if job.stages.index(stage) > 0:
        with contextlib.suppress(BadInput):  # too little in common: the sheet is of this stage alone
            compared = _comparison(job, stage, "")
    make = html_bytes if kind == "html" else pdf_bytes
    with _ONE_PEN:
        return make(document(surveyed), surveyed.job, paper, compared)
