"""The answer for the shop: its words first, then the figures, the statistics last and only when asked."""

from rich.console import Console

from measure.report import closing
from measure.report.detail import details
from measure.report.lines import Lines
from measure.report.sentences import answers, gain, suspicion, worst_first
from measure.report.words import VERDICT_WORDS, figure, label, limit, remarks, standing
from measure.result import CheckResult, Document

# Figures of single pairs and rails without a limit would bury the verdicts; -v lists them.
_ONLY_IN_DETAIL = ("pair.", "rail.", "cross.", "chart.")


def render(doc: Document, verbose: bool, console: Console) -> None:
    """Print the document for a person.

    The first three lines under the title say what is out, what is undecided and what is fine. `verbose` adds
    the statistics. Verdicts are words; colour only repeats them.
    """
    lines = Lines(console)
    lines.line(f"{doc.job}, stage {doc.stage}", "bold")
    _answer(doc, lines)
    _what_is_not_settled(doc, lines)
    _verdicts(doc, lines, verbose)
    _suspects(doc, lines)
    _what_next(doc, lines)
    closing.mind(doc.cautions, doc.notes, lines)
    if verbose:
        details(doc, lines)
    closing.safety(lines)
    closing.foot(doc.version, doc.inputs_sha256 if verbose else doc.inputs_sha256[:12], lines)
    if not verbose:
        lines.line("-v adds the statistics and the figures without a limit.")


def _with_verdict(doc: Document, verdict: str) -> list[CheckResult]:
    return [check for check in doc.checks if check.verdict == verdict]


def _answer(doc: Document, lines: Lines) -> None:
    """Out, undecided, fine: the first two in full, however many lines they take."""
    for key, items in zip(("OUT", "UNDECIDED", "FINE"), answers(doc, lines.width - 12), strict=True):
        lines.keyed(key, "; ".join(items), width=9)


def _what_is_not_settled(doc: Document, lines: Lines) -> None:
    """What stands in the way of a plain answer: two centrelines, loose points, a network in pieces."""
    if doc.centreline.ambiguous:
        lines.heading("Two centrelines explain this car equally well; the program does not choose")
        for alternative in doc.centreline.alternatives:
            lines.item(alternative)
    elif doc.frame == "network":
        lines.heading("No centreline can be had from these readings")
    if doc.loose or len(doc.pieces) > 1:
        lines.heading("Not held by the readings")
    if len(doc.pieces) > 1:
        lines.line(f"The readings fall into {len(doc.pieces)} pieces with nothing between them:", indent=2)
        for piece in doc.pieces:
            lines.item(", ".join(piece))
    for loose in doc.loose:
        fix = f" What would hold it: {'; '.join(loose.fix)}." if loose.fix else ""
        lines.item(f"{', '.join(loose.points)}: {loose.direction}.{fix}")


def _verdicts(doc: Document, lines: Lines, verbose: bool) -> None:
    out = worst_first(_with_verdict(doc, "outside"))
    judged = [*out, *_with_verdict(doc, "undecided"), *_with_verdict(doc, "within")]
    heads = ("what", "how it stands", ">figure", ">limit", "verdict")
    if judged:
        lines.heading("What was judged")
        lines.table(heads, [_row(check, doc.units) for check in judged], wrap=heads[:2])
    free = _with_verdict(doc, "no limit")
    if not verbose:
        free = [c for c in free if not c.name.startswith(_ONLY_IN_DETAIL)]
    if free:
        lines.heading("What was measured and has no limit")
        lines.table(heads[:3], [_row(check, doc.units)[:3] for check in free], wrap=heads[:2])


def _row(check: CheckResult, units: str) -> tuple[str, ...]:
    words = "\n".join([standing(check), *remarks(check)])
    return label(check.name), words, figure(check, units), limit(check), VERDICT_WORDS[check.verdict]


def _suspects(doc: Document, lines: Lines) -> None:
    if not doc.suspects:
        return
    lines.heading("Probably misread or mistyped, worst first")
    names = {reading.source: ", ".join(reading.names) for reading in doc.readings}
    for suspect in doc.suspects:
        lines.item(suspicion(suspect, names.get(suspect.source, "")))


def _what_next(doc: Document, lines: Lines) -> None:
    """For each undecided figure: where its uncertainty comes from, and the act that would shrink it most."""
    undecided = _with_verdict(doc, "undecided")
    acts = dict.fromkeys(check.next.act for check in undecided if check.next)
    if not acts:
        return
    lines.heading("What to measure next")
    for act in acts:
        lines.item(f"{act.rstrip('.')}.")
        for check in undecided:
            if check.next and check.next.act == act:
                lines.line(f"{label(check.name)}: {gain(check)}.", indent=6)
