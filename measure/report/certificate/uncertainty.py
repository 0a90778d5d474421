"""How sure the figures of a sheet are, told from the kinds of reading that they rest on."""

from measure.report.certificate.parts import Cell, Column, Paragraph, Part, Table
from measure.report.detail import network_sentences, tape_sentences
from measure.report.words import label, percent
from measure.result import Document

MOST_SHARES = 3
_IN_IT = {
    ("plumb",): "the plumb bob",
    ("floor", "car"): "the tape (its reading, and its class as a scale error shared by all its readings)",
    ("bar",): "the lengths of the bars that give the scale",
    ("target",): "the scatter of the target images, and the lens",
    ("heights", "levels"): "heights and levels",
    ("marks",): "the plumb marks off the base line",
    ("xyz",): "the points measured in space",
}
"""By kinds of reading, what they bring into the uncertainty."""
_NOT_IN_IT = {
    ("floor", "car"): "a bent tape",
    ("plumb",): "a mark smudged after it was measured",
    ("bar",): "a bar that bends or was measured wrongly",
    ("target",): "a sheet that is not flat, or that moved between the pictures",
}


def uncertainty(doc: Document) -> list[Part]:
    """What is in the figure after ±, what is not, where most of it comes from, and the adjustment as a whole."""
    kinds = {reading.kind for reading in doc.readings}
    inside = [words for own, words in _IN_IT.items() if kinds & set(own)]
    sources = [share.what for check in doc.checks for share in check.budget]
    if any(what.startswith("factory scatter") for what in sources):
        inside.append("the factory's own scatter of the pairs that carry the centreline")
    if any(what.startswith("lean of the car") for what in sources):
        inside.append("the lean of a car that was not levelled")
    outside = ["a body that flexes between stands", *(words for own, words in _NOT_IN_IT.items() if kinds & set(own))]
    outside.append("a wrong point measured twice the same way")
    parts: list[Part] = [
        Paragraph(
            "The figure after ± is the uncertainty at 95 %: of a hundred such ranges, about ninety-five hold the true "
            "figure. Where a table says sd it is the standard deviation, about half of that."
            + (f" In it: {_listed(inside)}." if inside else "")
        ),
        Paragraph(f"Not in it: {_listed(outside)}."),
    ]
    rows = []
    for c in doc.checks:
        if c.limit is not None and c.budget:
            shares = "; ".join(f"{share.what} {percent(share.share)}" for share in c.budget[:MOST_SHARES])
            rows.append((Cell(label(c.name)), Cell(shares)))
    if rows:
        columns = (Column("figure", "name"), Column("largest shares of the variance"))
        parts.append(Table("Where the uncertainty comes from", columns, tuple(rows)))
    return [*parts, Paragraph(" ".join([*network_sentences(doc.network), *tape_sentences(doc)]))]


def _listed(things: list[str]) -> str:
    """In one sentence, parted by semicolons: the things hold commas of their own."""
    return "; ".join([*things[:-1], f"and {things[-1]}"]) if len(things) > 1 else "".join(things)
