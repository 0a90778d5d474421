"""The content of a sheet, from one result document. Nothing here computes a figure."""

import re

from measure.compare.result import Comparison
from measure.job import Job
from measure.job.limits import FAMILIES
from measure.job.settings import StageInfo
from measure.report.certificate.parts import (
    Answer,
    Cell,
    Column,
    Drawing,
    Fingerprint,
    Items,
    Paragraph,
    Part,
    Section,
    Sheet,
    Table,
)  # fmt: skip
from measure.report.certificate.tables import family_tables, movements_table, pair_tables, points_table
from measure.report.certificate.uncertainty import uncertainty
from measure.report.compare import VERDICT_WORDS as MOVEMENT_WORDS
from measure.report.detail import tilt_sentences
from measure.report.sentences import answers, gain, in_one_line, suspicion
from measure.report.sources import unchecked
from measure.report.words import SAFETY, label, standing
from measure.result import Document

ROOM = 900
"""Characters that name what is undecided; what does not fit is counted, and stands in the tables."""
LIMIT_UNITS = {"offset": "mm", "angle": "deg", "chart": "mm", "movement": "mm"}
LIMIT_WORDS = {
    "offset": "sideways: pairs, rails, axles",
    "angle": "direction: rails, axle square and rolling direction",
    "chart": "against the factory's chart",
    "movement": "movement of a point between the stages",
}
STATEMENT = (
    "What this sheet says is a measurement, not a permission. Whether the car may be cut, drilled, welded or driven is "
    "for the person who signs, and for local codes and licensed practice, to decide."
)
SIGN = ("name", "date", "signature")
BLANKS = ("registration or chassis number", "mileage", "owner", "shop")
NOT_RECORDED = "not recorded"
FOR_THE_SHOP = re.compile(
    r", and name that stage in \[stage\.[^\]]*\] as turned"
    r"|, or write trusted = yes at both if they are known to be undamaged"
    r"|, or trusted = yes in points\.csv at pairs known to be undamaged"
)
"""What a caution or a note tells whoever keeps the job's files, and nobody else."""


def sheet(doc: Document, job: Job, compared: Comparison | None = None) -> Sheet:
    """The sheet of one stage. `job` says how the car stood and which limits are its own.

    `compared`: this stage against an earlier one, where that was asked for.
    """
    sections = [
        Section("Figures", (*pair_tables(doc), *family_tables(doc))),
        Section("Before and after", tuple(_before_and_after(compared))),
        Section("Suspects, and what was set aside", tuple(_set_aside(doc, job))),
        Section("What was not measured", tuple(_not_measured(doc, job))),
        Section("What to measure next", tuple(_next(doc))),
        Section("Limits and where they come from", tuple(_limits(doc, job, compared))),
        Section("How sure these figures are", tuple(uncertainty(doc))),
        Section("Points", tuple(points_table(doc))),
        Section("Mind", tuple(_mind(doc, job))),
        Section("Method, version, fingerprint", tuple(_method(doc, compared))),
    ]
    return Sheet(
        title=doc.job,
        stage=doc.stage,
        facts=tuple(_facts(doc, job)),
        blanks=BLANKS,
        answers=_answers(doc),
        drawings=_drawings(doc, compared),
        sections=tuple(s for s in sections if s.parts),
        statement=STATEMENT,
        sign=SIGN,
        version=doc.version,
        fingerprint=doc.inputs_sha256,
    )


def _facts(doc: Document, job: Job) -> list[tuple[str, str]]:
    """When, by whom and on what it stood are always told, be it that nobody wrote it down; the rest where known."""
    info = job.stage_info.get(doc.stage, StageInfo())
    height = None if info.ride_height is None else f"{info.ride_height:g} mm"
    warmth = None if info.temperature is None else f"{info.temperature:g} °C"
    known = [
        ("stage", doc.stage), ("measured on", info.date or NOT_RECORDED), ("measured by", info.by or NOT_RECORDED),
        ("car supported on", info.supported or NOT_RECORDED),
    ]  # fmt: skip
    known += [
        (words, value) for words, value in (("ride height", height), ("temperature of the body", warmth)) if value
    ]
    return [*known, ("how it sat", " ".join(tilt_sentences(doc)))]


def _answers(doc: Document) -> tuple[Answer, ...]:
    """Out, undecided, fine."""
    out, undecided, fine = answers(doc)
    return (
        Answer("OUT", "outside", tuple(out)),
        Answer("UNDECIDED", "undecided", (in_one_line(undecided, ROOM),)),
        Answer("FINE", "within", tuple(fine)),
    )


def _drawings(doc: Document, compared: Comparison | None) -> tuple[Drawing, ...]:
    """The plan, and what moved where two stages were compared; `drawn` in drawings.py makes them in this order."""
    told = [f"Plan of the body from above, front up, {len(doc.points)} points with their 95 % ellipses."]
    told += [f"{label(c.name)}: {c.verdict}, {standing(c)}." for c in doc.checks if c.limit is not None]
    plan = Drawing("Plan of the body", " ".join(told))
    if compared is None:
        return (plan,)
    stages = f"from stage {compared.before} to stage {compared.after}"
    shows = [f"What moved {stages}, seen from above: an arrow for each point, with the 95 % ellipse of its end."]
    shows += [f"{m.name}: {MOVEMENT_WORDS[m.verdict]}, {m.words}." for m in compared.movements]
    return plan, Drawing(f"What moved {stages}", " ".join(shows))


def _before_and_after(found: Comparison | None) -> list[Part]:
    if found is None:
        return []
    verdicts = {v: [m for m in found.movements if m.verdict == v] for v in MOVEMENT_WORDS}
    told = [f"{MOVEMENT_WORDS[v]}: {', '.join(m.name for m in own) or 'nothing'}." for v, own in verdicts.items()]
    parts: list[Part] = [Items(tuple(told), f"Stage {found.after} against stage {found.before}:")]
    if found.ambiguous:
        parts.append(Items(tuple(found.alternatives), "The readings leave a choice; the program does not choose:"))
    moved = [f"{', '.join(piece)} moved together, as one piece." for piece in found.together]
    moved += [f"{_opened(m.words)}." for m in verdicts["moved"]]
    if any(m.single_drops for m in verdicts["moved"]):
        moved.append("Some of it rests on single drops of the bob: drop again before cutting.")
    if moved:
        parts.append(Items(tuple(moved), "What moved, against the points that stood still:"))
    parts.append(movements_table(found))
    only = [(found.before, found.only_before), (found.after, found.only_after)]
    mind = [f"Only in {stage}: {', '.join(names)}." for stage, names in only if names]
    mind = [*found.differences, *mind, *found.cautions]
    return [*parts, Items(tuple(mind), "About the comparison:")] if mind else parts


def _opened(words: str) -> str:
    """Words that open a sentence; a point's name keeps its own small letter."""
    return f"T{words[1:]}" if words.startswith("the ") else words


def _set_aside(doc: Document, job: Job) -> list[Part]:
    names = {reading.source: ", ".join(reading.names) for reading in doc.readings}
    told = [suspicion(s, names.get(s.source, "")) for s in doc.suspects]
    parts: list[Part] = [Items(tuple(told), "Readings that are probably misread or mistyped, worst first:")]
    if not told:
        parts = [Paragraph("No reading looks wrong, and none was set aside.")]
    line = doc.centreline
    if doc.frame != "car":
        return [*parts, Paragraph("No centreline can be had from these readings.")]
    carried = f"The centreline rests on the pairs {', '.join(line.pairs_used)}."
    if line.pairs_set_aside:
        trusted = any(p.trusted for p in job.points)
        why = "points.csv trusts others" if trusted else "they do not agree with the others"
        carried += f" Set aside from it, because {why}: {', '.join(line.pairs_set_aside)}."
    parts.append(Paragraph(carried))
    if line.ambiguous:
        lead = "Two centrelines explain this car equally well; the program does not choose:"
        parts.append(Items(tuple(line.alternatives), lead))
    return parts


def _not_measured(doc: Document, job: Job) -> list[Part]:
    told = [_absent(doc, job)] if _absent(doc, job) else []
    not_held: dict[str, list[str]] = {}
    for check in doc.checks:
        if check.value is None or not check.estimable:
            not_held.setdefault(standing(check), []).append(label(check.name))
    told += [f"{why[:1].upper()}{why[1:]}: {'; '.join(names)}." for why, names in not_held.items()]
    told += [f"{', '.join(piece)}: a piece with nothing between it and the others." for piece in doc.pieces]
    for loose in doc.loose:
        fix = f" What would hold it: {'; '.join(loose.fix)}." if loose.fix else ""
        told.append(f"{', '.join(loose.points)}, {loose.direction}: not held by the readings.{fix}")
    said = {*_unread(doc, job), *(name for loose in doc.loose for name in loose.points)}
    missing = [p.name for p in doc.points if (p.x is None or p.y is None) and p.name not in said]
    if missing:
        told.append(f"No place in plan: {', '.join(missing)}.")
    if doc.plan_only:
        told.append("Heights: the car's lean is only in the uncertainty.")
    whole = "Every figure that the points call for is held."
    parts: list[Part] = [Items(tuple(told))] if told else [Paragraph(whole)]
    if doc.unchecked:
        lead = "Readings that nothing checks (a mistake in one of these would not show):"
        parts.append(Paragraph(f"{lead} {'; '.join(unchecked(doc))}."))
    return parts


def _absent(doc: Document, job: Job) -> str:
    """The sentence about points of the job that have no reading; nothing where each has one. Also a caution's own."""
    absent = _unread(doc, job)
    return f"Not measured in this stage: {', '.join(absent)}." if absent else ""


def _unread(doc: Document, job: Job) -> list[str]:
    read = {name.partition("#")[0] for reading in doc.readings for name in reading.names}
    return [p.name for p in job.points if p.name not in read]


def _next(doc: Document) -> list[Part]:
    undecided = [c for c in doc.checks if c.verdict == "undecided" and c.next]
    acts = dict.fromkeys(c.next.act for c in undecided if c.next)
    return [
        Items(
            tuple(f"{label(c.name)}: {gain(c)}." for c in undecided if c.next and c.next.act == act),
            f"{act[:1].upper()}{act[1:].rstrip('.')}:",
        )
        for act in acts
    ]


def _limits(doc: Document, job: Job, compared: Comparison | None) -> list[Part]:
    judged = {c.name: c for c in doc.checks if c.limit is not None}
    rows = []
    for name, most in job.limits.items():
        if name in judged:
            words, unit = label(name), judged[name].unit
        elif name in LIMIT_WORDS and _applied(name, doc, compared):
            words, unit = LIMIT_WORDS[name], LIMIT_UNITS[name]
        else:
            continue
        source = "common practice, no source" if FAMILIES.get(name) == most else "set for this job in job.toml"
        rows.append((Cell(words), Cell(f"{most:g}"), Cell(unit), Cell(source)))
    columns = (Column("what", "name"), Column("limit", "number"), Column("unit", "unit"), Column("source"))
    told: list[Part] = [
        Table("Applied to the figures above", columns, tuple(rows)),
        Paragraph(
            "Within: the figure and its whole uncertainty lie inside the limit. Outside: they lie beyond it with the "
            "whole uncertainty to spare. Anything else is undecided. This guard band, the full uncertainty on either "
            "side, is stricter than the default of ISO 14253-1:2017 (decision rule after JCGM 106)."
        ),
    ]
    if compared is not None:
        told.append(
            Paragraph(
                "Moved: every movement that the readings of the two stages allow at 95 % is larger than the limit. "
                "Held: every one of them is smaller. Anything else is undecided."
            )
        )
    return told


def _applied(family: str, doc: Document, compared: Comparison | None) -> bool:
    """Whether the limit of a family was held against anything on this sheet."""
    if family == "chart":
        return any(c.name.startswith("chart.") for c in doc.checks if c.limit is not None)
    return family != "movement" or compared is not None


def _mind(doc: Document, job: Job) -> list[Part]:
    cautions = [_for_anyone(words) for words in doc.cautions if words != _absent(doc, job)]
    parts: list[Part] = [Items(tuple(cautions), "About these readings:")] if cautions else []
    if doc.notes:
        parts.append(Items(tuple(doc.notes), "Notes on the tables:"))
    return [*parts, Items(SAFETY, "Before anyone cuts, drills or welds:")]


def _for_anyone(words: str) -> str:
    """A caution without what only the keeper of the job's files can do."""
    return FOR_THE_SHOP.sub("", words)


def _method(doc: Document, compared: Comparison | None) -> list[Part]:
    told: list[Part] = [
        Paragraph(
            "All readings enter one least-squares adjustment, each with its own standard deviation; readings that do "
            "not fit are tested, named and set aside. The points carry their full covariance into the car's own axes, "
            "whose centreline is the symmetry plane that the listed pairs agree on. x is forward, y to the car's left, "
            "z up (ISO 8855)."
        ),
        Paragraph(
            f"plumbsquare {doc.version}. The fingerprint below is the SHA-256 of the files that were read. The command "
            "plumbsquare verify SHEET JOB says whether this sheet, its figures and the job still agree."
        ),
        Fingerprint(doc.inputs_sha256),
    ]
    if compared is not None:
        told += [Paragraph(f"Stage {compared.before}, compared with:"), Fingerprint(compared.inputs_sha256.before)]
    return told
