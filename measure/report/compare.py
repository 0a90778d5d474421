"""What moved, for the shop: its words first, then the figures, the statistics last and only when asked."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console

from measure.compare.result import Comparison, MovementResult
from measure.compare.words import rounded
from measure.report import closing
from measure.report.lines import Lines
from measure.report.words import chance, signed
from measure.units import MM_PER_INCH

VERDICT_WORDS = {"moved": "MOVED", "undecided": "UNDECIDED", "held": "held"}
_HEADS = (">forward", ">left", ">up", ">could be", ">would be seen from", "verdict")


def render(found: Comparison, verbose: bool, console: Console) -> None:
    """Print the comparison for a person; `verbose` adds the statistics. Verdicts are words."""
    lines = Lines(console)
    lines.line(f"{found.job}: {found.before} against {found.after}", "bold")
    if found.differences:
        lines.heading("The car did not stand alike, or it was not written down")
        for difference in found.differences:
            lines.item(difference)
        lines.blank()
    _answer(found, lines)
    if found.ambiguous:
        lines.heading("The readings leave a choice; the program does not choose")
        for alternative in found.alternatives:
            lines.item(f"either {alternative}" if alternative == found.alternatives[0] else f"or {alternative}")
    _moved(found, lines)
    _table(found, lines)
    if found.only_before or found.only_after:
        lines.heading("Not compared")
        for stage, names in ((found.before, found.only_before), (found.after, found.only_after)):
            if names:
                lines.item(f"Only in {stage}: {', '.join(names)}.")
    closing.mind(found.cautions, found.notes, lines)
    if verbose:
        _statistics(found, lines)
    closing.safety(lines)
    inputs = [i if verbose else i[:12] for i in (found.inputs_sha256.before, found.inputs_sha256.after)]
    closing.foot(found.version, " and ".join(inputs), lines)
    if not verbose:
        lines.line("-v adds the statistics.")


def _with(found: Comparison, verdict: str) -> list[MovementResult]:
    chosen = [m for m in found.movements if m.verdict == verdict]
    return sorted(chosen, key=lambda m: -(m.length or 0.0)) if verdict == "moved" else chosen


def _answer(found: Comparison, lines: Lines) -> None:
    """Three lines: moved, undecided, held."""
    for key, verdict in (("MOVED", "moved"), ("UNDECIDED", "undecided"), ("HELD", "held")):
        names = [m.name for m in _with(found, verdict)]
        lines.keyed(key, ", ".join(names) or "nothing", width=9)


def _moved(found: Comparison, lines: Lines) -> None:
    moved = _with(found, "moved")
    if not moved:
        return
    lines.heading(f"What moved by more than {found.limit:g} mm, against the points that stood still")
    for piece in found.together:
        lines.item(f"{', '.join(piece)} moved together, as one piece.")
    for m in moved:
        drops = " It rests on a single drop of the bob: drop again before cutting." if m.single_drops else ""
        words = f"T{m.words[1:]}" if m.words.startswith("the ") else m.words
        lines.item(f"{words}.{drops}")


def _table(found: Comparison, lines: Lines) -> None:
    axes = "the car's axes" if found.frame == "car" else "the network's axes"
    lines.heading(f"Point by point, mm, {axes} of {found.before}: + is forward, left, up")
    order: Sequence[MovementResult] = [m for v in ("moved", "undecided", "held") for m in _with(found, v)]
    lines.table(("point", *_HEADS), [_row(m, found.limit) for m in order])
    if found.units == "in" and order:
        largest = max((m.could_be or 0.0 for m in order), default=0.0)
        lines.line(f"The largest figure, {largest:.1f} mm, is {largest / MM_PER_INCH:.2f} in.", indent=2)


def _row(m: MovementResult, limit: float) -> tuple[str, ...]:
    figures = [_figure(d, u) for d, u in zip((m.dx, m.dy, m.dz), m.u95, strict=True)]
    return (
        m.name,
        *figures,
        "" if m.could_be is None else rounded(m.could_be, limit),
        "" if m.smallest_seen is None else f"{m.smallest_seen:.1f}",
        VERDICT_WORDS[m.verdict],
    )


def _figure(value: float | None, u95: float | None) -> str:
    if value is None:
        return "not known"
    return signed(value, 1) + ("" if u95 is None else f" ± {u95:.1f}")


def _statistics(found: Comparison, lines: Lines) -> None:
    test = found.global_test
    lines.heading("Statistics")
    law = (
        "chi-square"
        if test.freedom_of_sd is None
        else f"F, sd estimated with {test.freedom_of_sd:.0f} degrees of freedom"
    )
    lines.item(
        f"All common points together: sum of squares {test.square:.1f} with {test.freedom} degrees of freedom ({law}); "
        f"as large or larger by chance in {chance(test.chance)} of cases where nothing moved. "
        f"{'Nothing shows' if test.passed else 'Something moved'} at 5 %."
    )
    lines.item(f"Stood still, the largest set that kept its shape: {', '.join(found.stable)}.")
    seen = [m.name for m in found.movements if m.significant]
    lines.item(f"Significant singly (ellipse test, 5 % for all points together): {', '.join(seen) or 'none'}.")
    lines.item(
        '"could be": the largest movement in the 95 % region. "Would be seen from": a movement of that size, in the '
        "worst direction, is significant with 80 % power."
    )
