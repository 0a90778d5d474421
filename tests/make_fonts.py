"""`python -m tests.make_fonts FOLDER`: the shipped type, from Inter's own files; measure/fonts/README.md says which.

Needs fonttools and brotli, which nothing else here does by itself.
"""

from __future__ import annotations

import sys
from pathlib import Path

from fontTools import subset
from fontTools.ttLib import TTFont

from measure.typeface import FAMILY, STYLES, face

SOURCES = ("Inter-Regular", "Inter-SemiBold")
RANGES = (
    (0x0020, 0x007E), (0x00A0, 0x024F),  # Latin, Latin-1, Latin Extended-A and -B
    (0x02B0, 0x02FF), (0x0300, 0x036F),  # accents, also on their own
    (0x0370, 0x03FF), (0x0400, 0x045F), (0x0490, 0x0491),  # Greek, Cyrillic
    (0x1E00, 0x1EFF),  # further accents
    (0x2000, 0x206F), (0x2070, 0x20BF),  # punctuation with primes, small figures, currencies
    (0x2100, 0x218F), (0x2190, 0x22FF),  # signs, fractions, arrows, mathematics
    (0x2300, 0x23FF), (0x2423, 0x2423), (0x25A0, 0x25FF), (0x2713, 0x2717), (0xFFFD, 0xFFFD),  # keys, markers, ticks
)  # fmt: skip
KEPT = ["kern", "mark", "mkmk", "ccmp", "locl"]
"""Features kept for browsers. Contextual alternates are not: they turn an x between figures into a multiplication."""
IN_COLUMNS = "0123456789+\N{MINUS SIGN}"
"""Not the full stop and the hyphen, which stand in words too."""
FAMILY_NAME, STYLE_NAME, UNIQUE_NAME, FULL_NAME, POSTSCRIPT_NAME = 1, 2, 3, 4, 6
OTHER_NAMES = (16, 17, 21, 22, 25)
"""Numbers of the OpenType name table."""


def main(source: Path) -> None:
    """Write the four files from `source`, the folder with Inter-Regular.woff2 and Inter-SemiBold.woff2."""
    for style, original in zip(STYLES, SOURCES, strict=True):
        font = TTFont(source / f"{original}.woff2", recalcTimestamp=False)
        _set_figures_in_columns(font)
        _name(font, style)
        _cut(font, KEPT)
        font.flavor = "woff2"
        font.save(face(style, "woff2"))
        _cut(font, [])  # what sets the PDF and the drawings knows none of the features
        font.flavor = None
        for table in {"GDEF", "GPOS", "GSUB"} & set(font.keys()):
            del font[table]
        font.save(face(style, "ttf"))


def _set_figures_in_columns(font: TTFont) -> None:
    """Make the figures of one width the ordinary ones: the feature `tnum`, applied once and for all."""
    gsub = font["GSUB"].table
    wanted = {i for f in gsub.FeatureList.FeatureRecord if f.FeatureTag == "tnum" for i in f.Feature.LookupListIndex}
    swaps: dict[str, str] = {}
    for index in wanted:
        for sub in gsub.LookupList.Lookup[index].SubTable:
            swaps |= getattr(sub, "ExtSubTable", sub).mapping
    for table in font["cmap"].tables:
        for code in map(ord, IN_COLUMNS):
            if code in table.cmap:  # two tables may be one and the same: swapped once, it is in `swaps` no more
                table.cmap[code] = swaps.get(table.cmap[code], table.cmap[code])


def _name(font: TTFont, style: str) -> None:
    """A name of its own, so that no other Inter on a computer is taken for it; copyright and licence stay."""
    if style == "Bold":
        font["OS/2"].usWeightClass = 700  # by which the drawing library finds what it calls bold
    names = font["name"]
    for number in OTHER_NAMES:
        names.removeNames(nameID=number)
    whole = f"{FAMILY} {style}"
    told = {FAMILY_NAME: FAMILY, STYLE_NAME: style, UNIQUE_NAME: whole, FULL_NAME: whole}
    for number, words in (told | {POSTSCRIPT_NAME: whole.replace(" ", "")}).items():
        names.setName(words, number, 3, 1, 0x409)


def _cut(font: TTFont, features: list[str]) -> None:
    options = subset.Options(
        layout_features=features, hinting=False, notdef_outline=True, name_IDs=["*"], recalc_timestamp=False
    )
    cutter = subset.Subsetter(options)
    cutter.populate(unicodes=[code for first, last in RANGES for code in range(first, last + 1)])
    cutter.subset(font)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
