"""The statistics behind the answer: what `-v` adds."""

from measure.report.lines import Lines
from measure.report.sources import place, unchecked
from measure.report.words import label, percent, plain, unit_of
from measure.result import Document, Network

_NOTHING = "-"


def details(doc: Document, lines: Lines) -> None:
    """Print network figures, tapes, centreline, points, readings and budgets."""
    lines.heading("The adjustment")
    for sentence in (*network_sentences(doc.network), *tape_sentences(doc), *tilt_sentences(doc)):
        lines.line(sentence, indent=2)
    _centreline(doc, lines)
    _points(doc, lines)
    _readings(doc, lines)
    _budgets(doc, lines)
    if doc.unchecked:
        lines.heading("Readings that nothing checks (a mistake in one of these would not show)")
        lines.line("; ".join(unchecked(doc)), indent=2)


def _number(value: float | None, places: int) -> str:
    return _NOTHING if value is None else plain(value, places)


def network_sentences(network: Network) -> list[str]:
    """The adjustment as a whole: what went in, how well it fits, what was widened."""
    told = [
        f"{network.readings} readings, {network.points} points, {network.unknowns} unknowns, datum defect "
        f"{network.defect}, {network.degrees_of_freedom} degrees of freedom."
    ]
    if network.sigma0 is None:
        return [*told, "sigma0: nothing is left over to judge the readings by."]
    expected = ""
    if network.sigma0_low is not None and network.sigma0_high is not None:
        low, high = network.sigma0_low, network.sigma0_high
        expected = f"; {low:.2f} to {high:.2f} holds 95 % of sheets where all is as stated"
    outcome = {True: ": passed", False: ": NOT passed", None: ""}[network.passed]
    if network.passed is False and network.sigma0_low is not None and network.sigma0 < network.sigma0_low:
        outcome = ": the readings agree better than was assumed; the uncertainty stated is on the careful side"
    told.append(f"sigma0 {network.sigma0:.2f}{expected}{outcome}.")
    if network.sigma0_after is not None and network.scaled:
        told.append(f"sigma0 after the scaling below: {network.sigma0_after:.2f}.")
    for kind in network.scaled:
        told.append(
            f"{kind.kind} readings scatter {kind.factor:.2f} times what was stated; their sd were scaled "
            f"({kind.degrees_of_freedom:.1f} degrees of freedom)."
        )
    return told


def tape_sentences(doc: Document) -> list[str]:
    """What the adjustment found of each tape."""
    told = []
    for tape in doc.tapes:
        if tape.scale is None:
            told.append(f"{tape.name or 'tape'}: its scale is not held.")
            continue
        spread = "" if tape.sd is None else f" (sd {tape.sd * 1000:.2f})"
        sense = "long" if tape.scale > 0 else "short"
        told.append(f"{tape.name or 'tape'}: reads {abs(tape.scale) * 1000:.2f} mm a metre {sense}{spread}.")
    return told


def tilt_sentences(doc: Document) -> list[str]:
    """How the car sat to gravity."""
    if doc.tilt.roll is None and doc.tilt.pitch is None:
        return ["How the car sat to gravity was not measured."]
    told = []
    if doc.tilt.roll is not None:
        side = "left" if doc.tilt.roll > 0 else "right"
        told.append(f"The car sat {abs(doc.tilt.roll):.2f} deg out of level sideways, {side} side high.")
    if doc.tilt.pitch is not None:
        end = "nose low" if doc.tilt.pitch > 0 else "nose high"
        told.append(f"The car sat {abs(doc.tilt.pitch):.2f} deg out of level fore and aft, {end}.")
    return told


def _centreline(doc: Document, lines: Lines) -> None:
    line = doc.centreline
    lines.line(f"The centreline rests on: {', '.join(line.pairs_used) or 'nothing'}.", indent=2)
    if line.pairs_set_aside:
        lines.line(f"Set aside for the centreline: {', '.join(line.pairs_set_aside)}.", indent=2)
    if line.yaw_sd_deg is not None and line.offset_sd is not None:
        lines.line(f"Its sd: {line.offset_sd:.2f} mm sideways, {line.yaw_sd_deg:.3f} deg in direction.", indent=2)


def _points(doc: Document, lines: Lines) -> None:
    axes = "the car's axes" if doc.frame == "car" else "the network's own axes"
    lines.heading(f"Points, mm, in {axes}")
    heads = ("point", ">x", ">y", ">z", ">sd x", ">sd y", ">sd z")
    rows = []
    for p in doc.points:
        where = [_number(v, 1) for v in (p.x, p.y, p.z)]
        rows.append((p.name, *where, *(_number(v, 2) for v in (p.sd_x, p.sd_y, p.sd_z))))
    lines.table(heads, rows, wrap=("point",))


def _readings(doc: Document, lines: Lines) -> None:
    lines.heading("Readings (redundancy 0 unchecked, 1 fully checked; findable: the mistake that would show)")
    never = set(doc.unchecked)
    heads = ("source", "kind", "between", ">read", ">residual", ">sd", ">redundancy", ">w", ">findable")
    rows = []
    for r in doc.readings:
        unit = unit_of(r.kind)
        read, left = (2, 3) if unit == "px" else (1, 2)
        findable = "unchecked" if r.source in never else _number(r.findable, read)
        figures = (_number(r.value, read), _number(r.residual, left), f"{_number(r.sd, left)} {unit}")
        tests = (_number(r.redundancy, 2), _number(r.w, 1), findable)
        rows.append((place(r.source), r.kind, " - ".join(r.names), *figures, *tests))
    lines.table(heads, rows, wrap=("source", "between"))


def _budgets(doc: Document, lines: Lines) -> None:
    with_budget = [c for c in doc.checks if c.budget and c.limit is not None]
    if not with_budget:
        return
    lines.heading("Where the uncertainty comes from (shares of the variance)")
    for check in with_budget:
        shares = "; ".join(f"{share.what} {percent(share.share)}" for share in check.budget)
        lines.item(f"{label(check.name)}: {shares}.")
