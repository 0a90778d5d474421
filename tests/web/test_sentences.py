"""Every sentence a page or script asks for is in the table, and every one in the table is asked for."""

from __future__ import annotations

import re
from pathlib import Path

from measure.web import sentences

WEB = Path(sentences.__file__).parent
DYNAMIC = ("where_", "part_", "state_", "camera_", "key_")


def asked() -> set[str]:
    found: set[str] = set()
    for path in [*WEB.rglob("*.py"), *WEB.rglob("*.html"), *WEB.rglob("*.js")]:
        text = path.read_text(encoding="utf-8")
        found |= set(re.findall(r"""say\(\s*["']([a-z_]+)["'](?! *~)""", text))
    return found


def test_all_that_is_asked_for_is_there() -> None:
    assert asked() <= set(sentences.ENGLISH)


def test_nothing_lies_about_unused() -> None:
    everything = "\n".join(
        p.read_text(encoding="utf-8") for p in [*WEB.rglob("*.py"), *WEB.rglob("*.html"), *WEB.rglob("*.js")]
        if p.name != "sentences.py"
    )  # fmt: skip
    unused = [
        key for key in sentences.ENGLISH
        if not re.search(rf"""["'(, |]{key}["')]""", everything) and not key.startswith(DYNAMIC)
        and not re.fullmatch(r"(levels|heights|marks|compare|pattern|drill|axle|driveline)_(head|help)", key)
    ]  # fmt: skip
    assert not unused


def test_languages_have_the_same_sentences() -> None:
    for table in sentences.LANGUAGES.values():
        assert set(table) == set(sentences.ENGLISH)
