"""Two stages, from files to the comparison document."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from measure import __version__
from measure.compare import words
from measure.compare.cautions import cautions
from measure.compare.congruence import GlobalTest, global_test, moves_together
from measure.compare.judged import judged
from measure.compare.laid import Laid, lay
from measure.compare.result import Comparison, GlobalResult, Inputs, MovementResult
from measure.compare.stood_alike import differences, of_scale
from measure.findings import BadInput, Finding, Findings
from measure.job import inputs_sha256
from measure.survey import Surveyed, survey

MOST_TOLD = 4
"""Alternatives said in words; the verdicts rest on all of them."""


def compare_stages(folder: Path, before: str, after: str) -> Comparison:
    """Two stages of one job. Raises BadInput with all that was found in both."""
    findings = Findings()
    if before == after:
        would_do = "name the stage before and the stage after"
        findings.error("job.toml", None, "stages", f'the stage "{before}" compared with itself', would_do)
        raise BadInput(findings)
    both = _surveyed([(folder, before, ""), (folder, after, "")])
    return compare_surveys(*both)


def compare_folders(before: Path, after: Path) -> Comparison:
    """Two job folders, of each the stage that has readings. Raises BadInput with all that was found in both."""
    if before.resolve() == after.resolve():
        findings = Findings()
        would_do = "name two folders, or a job and two of its stages"
        findings.error(before.name, None, None, "a folder compared with itself", would_do)
        raise BadInput(findings)
    if not after.is_dir() and (before / after.name).is_dir():
        findings = Findings()
        findings.error(before.name, None, None, f'one stage, "{after.name}"', "name both: JOB BEFORE AFTER")
        raise BadInput(findings)
    both = _surveyed([(before, None, f"{before.name}/"), (after, None, f"{after.name}/")])
    return compare_surveys(*both)


def _surveyed(wanted: Sequence[tuple[Path, str | None, str]]) -> list[Surveyed]:
    made, findings = [], Findings()
    for folder, stage, lead in wanted:
        try:
            made.append(survey(folder, stage))
        except BadInput as bad:
            findings.extend(_led(bad.findings, lead))
    findings.raise_if_errors()
    return [replace(s, findings=Findings(_led(s.findings, lead))) for s, (_, _, lead) in zip(made, wanted, strict=True)]


def _led(findings: Findings, lead: str) -> list[Finding]:
    """The findings with the folder before the file."""
    return [replace(finding, file=f"{lead}{finding.file}") for finding in findings]


def compare_surveys(before: Surveyed, after: Surveyed) -> Comparison:
    """Two stages already surveyed. Raises BadInput where they have too little in common."""
    laid = lay(before, after)
    made, test = judged(laid), global_test(laid.overlay)
    together = _together(laid, made)
    held = [shape.names for shape in laid.shapes]
    return Comparison(
        job=before.job.title if before.job.folder == after.job.folder else f"{before.job.title} | {after.job.title}",
        before=laid.titles[0], after=laid.titles[1], units=before.job.units, version=__version__,
        inputs_sha256=Inputs(*(inputs_sha256(s.job.folder, s.stage) for s in (before, after))),
        frame=laid.shapes[0].frame, plan_only=laid.overlay.plan_only, limit=laid.limit, differences=_differences(laid),
        global_test=_global(test), stable=[laid.names[k] for k in laid.agreement.best],
        ambiguous=bool(laid.agreement.rivals), alternatives=_alternatives(laid), together=together, movements=made,
        only_before=[n for n in held[0] if n not in held[1]], only_after=[n for n in held[1] if n not in held[0]],
        cautions=cautions(laid, made, together, test),
        notes=[f.text() for s in (before, after) for f in s.findings.notes],
    )  # fmt: skip


def _differences(laid: Laid) -> list[str]:
    """How the stages differ in what is no damage, told before any movement is."""
    stages = (laid.before, laid.after)
    first, second = ((t, s.job.stage_info.get(s.stage)) for t, s in zip(laid.titles, stages, strict=True))
    unsized = [told for t, s in zip(laid.titles, stages, strict=True) for told in of_scale(t, s.readings)]
    return [*differences(first, second), *unsized]


def _global(test: GlobalTest) -> GlobalResult:
    of_sd = test.freedom_of_sd if np.isfinite(test.freedom_of_sd) else None
    return GlobalResult(test.square, test.freedom, of_sd, test.chance, test.passed)


def _alternatives(laid: Laid) -> list[str]:
    if not laid.agreement.rivals:
        return []
    places = dict(zip(laid.names, laid.overlay.place, strict=True))
    sets = [[laid.names[k] for k in kept] for kept in (laid.agreement.best, *laid.agreement.rivals)]
    return words.either_way(laid.before.job, places, sets[:MOST_TOLD])


def _together(laid: Laid, made: Sequence[MovementResult]) -> list[list[str]]:
    """What moved as one piece, where that is not open to choice."""
    if laid.agreement.rivals:
        return []
    apart = [k for k, m in enumerate(made) if not m.stable and m.verdict == "moved"]
    piece = moves_together(laid.overlay, apart)
    return [[laid.names[k] for k in piece]] if piece else []
