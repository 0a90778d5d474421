"""The acceptance of a stage's photographs, for the console."""

from measure.acceptance import Acceptance
from measure.report.lines import Lines

ANSWERS = {
    "passed": "The photographs measure as well as they say",
    "failed": "The photographs do NOT measure as well as they say",
    "too few": "Too few lengths to say",
}


def render_acceptance(result: Acceptance, lines: Lines) -> None:
    """Print the answer, each length, and what is still wanted."""
    lines.line(f"{result.job}, stage {result.stage}")
    worst = max(result.lengths, key=lambda t: abs(t.error), default=None)
    told = f": the worst of {len(result.lengths)} lengths is {abs(worst.error):.3f} mm off" if worst else ""
    lines.line(f"{ANSWERS[result.verdict]}{told}.", "bold")
    if result.verdict == "too few":
        lines.line(
            f"The lengths lie in {result.directions} directions; it takes seven: along, across, upright and the four "
            "slants between, each at least 15 degrees from the others."
        )
    lines.heading(f"Known lengths, mm (the scale is from {result.scale_from.replace(':', ' line ')})")
    rows = [
        (t.source.replace(":", " line "), f"{t.names[0]} to {t.names[1]}", f"{t.known:.3f}", f"{t.error:+.3f}",
         f"{t.u95:.3f}")
        for t in result.lengths
    ]  # fmt: skip
    lines.table(("reading", "between", ">known", ">error", ">u95"), rows)
    lines.line(
        f"Largest error over its own u95: {result.largest:.2f}; chance alone brings {result.largest_allowed:.2f} in "
        "one such test of twenty.",
        indent=2,
    )
