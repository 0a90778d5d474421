"""Words for formats that hold ASCII only."""

import unicodedata

from measure.report.words import printable

_SAME = str.maketrans({"ß": "ss", "æ": "ae", "Æ": "AE", "ø": "o", "Ø": "O", "ł": "l", "Ł": "L", "µ": "u", "μ": "u",
                       "±": "+/-", "°": "deg", "″": '"', "′": "'", "–": "-", "—": "-"})  # fmt: skip


def plain_ascii(text: str) -> str:
    """Accents dropped, what has no plain letter a question mark, no control character, no line end."""
    apart = unicodedata.normalize("NFKD", printable(text).translate(_SAME))
    bare = "".join(c for c in apart if not unicodedata.combining(c))
    return bare.encode("ascii", "replace").decode("ascii")
