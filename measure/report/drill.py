"""The drill plan for the shop: may it be drilled, where it stands, how to mark each hole, what to mind."""

from rich.console import Console

from measure.report import closing
from measure.report.lines import Lines
from measure.report.words import VERDICT_WORDS, signed
from measure.setup.drill_result import DrillPlan, HoleResult, MountResult
from measure.setup.drill_words import VERDICTS

_HEADS = {"outside": "MAY NOT", "undecided": "NOT YET", "within": "DRILL"}


def render(plan: DrillPlan, console: Console) -> None:
    """Print the plan. The first three lines under the title say what may be drilled, what not yet, what not."""
    lines = Lines(console)
    lines.line(f"{plan.job}, stage {plan.stage}: where to drill", "bold")
    for verdict, head in _HEADS.items():
        names = [mount.name for mount in plan.mounts if mount.verdict == verdict]
        lines.keyed(head, ", ".join(names) or "nothing", width=9)
    for mount in plan.mounts:
        _mount(mount, [h for h in plan.holes if h.mount == mount.name], plan.units, lines)
    steps = [(mount.name, step) for mount in plan.mounts for step in mount.next]
    if steps:
        lines.heading("What would settle it")
        for name, step in steps:
            unit = "degrees" if step.what == "square" else "mm"
            reached = "" if step.u95 is None else f" It would then be known to {step.u95:.2f} {unit}."
            lines.item(f"{name}, {step.what}: {step.act}.{reached}")
    closing.mind(plan.cautions, plan.notes, lines)
    closing.foot(plan.version, plan.inputs_sha256[:12], lines)


def _mount(mount: MountResult, holes: list[HoleResult], units: str, lines: Lines) -> None:
    lines.heading(mount.words)
    rows = [_row("sideways, + left", mount.offset, mount.offset_u95, 1, "mm", mount.offset_limit, mount.offset_verdict)]
    if mount.square_deg is not None:
        rows.append(_row("square, + turned left", mount.square_deg, mount.square_u95, 2, "deg", mount.square_limit,
                         mount.square_verdict))  # fmt: skip
    forgives = "" if mount.fit_limit is None else f"{mount.fit_limit:.1f} mm"
    rows.append(("holes among themselves", f"± {mount.fit_u95:.1f} mm", forgives, VERDICT_WORDS[mount.fit_verdict]))
    for side, value, u95 in (("left", mount.gap_L, mount.gap_L_u95), ("right", mount.gap_R, mount.gap_R_u95)):
        if value is not None and u95 is not None:
            rows.append((f"gap to the {side} rail (or shim)", f"{value:.1f} ± {u95:.1f} mm", "", ""))
    lines.table(("what", ">figure", ">limit", "verdict"), rows, wrap=("what",))
    lines.blank()
    lines.line(
        "Holes in the car: x forward of the first pair's middle, y to the left, z up; ± where they come out", indent=2
    )
    places = [
        (h.hole, *(_place(v, u) for v, u in zip((h.x, h.y, h.z), h.u95, strict=True)), _sizes(h),
         f"{h.ellipse.major:.1f} x {h.ellipse.minor:.1f}", h.status)
        for h in holes
    ]  # fmt: skip
    lines.table(("hole", ">x mm", ">y mm", ">z mm", "hole, bolt", ">95 % mm", "status"), places, wrap=("status",))
    lines.blank()
    yet = "" if mount.verdict == "within" else f" ({VERDICTS[mount.verdict]})"
    lines.line(f"To mark them on the floor, tape held level, then up with the bob{yet}:", indent=2)
    for hole in holes:
        lines.item(f"hole {hole.hole}: {hole.words}.")


def _row(
    what: str, value: float, u95: float | None, places: int, unit: str, limit: float, verdict: str
) -> tuple[str, str, str, str]:
    spread = "" if u95 is None else f" ± {u95:.{places}f}"
    return what, f"{signed(value, places)}{spread} {unit}", f"{limit:g} {unit}", VERDICT_WORDS[verdict]


def _place(value: float | None, u95: float | None) -> str:
    if value is None or u95 is None:
        return "not held"
    return f"{signed(value, 1)} ± {u95:.1f}"


def _sizes(hole: HoleResult) -> str:
    return f"{hole.diameter:g}" + ("" if hole.bolt is None else f", {hole.bolt:g}")
