"""Every sentence that a page or script asks for is in the table and every one there is asked for; none is elsewhere."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

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


def test_languages_have_the_same_sentences_with_the_same_figures_in_them() -> None:
    def figures(table: dict[str, str]) -> dict[str, set[str]]:
        return {key: set(re.findall(r"{(\w+)}", text)) for key, text in table.items()}

    for table in sentences.LANGUAGES.values():
        assert figures(table) == figures(sentences.ENGLISH)


READ_ALOUD = ("alt", "aria-label", "aria-description", "aria-roledescription", "title", "placeholder", "label")


class _Words(HTMLParser):
    """What a page shows or reads aloud."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.words += [value for name, value in attrs if value and (name in READ_ALOUD or name.startswith("data-say"))]

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def bare_in_template(text: str) -> list[str]:
    """Words of a template that do not come through `say` or from data."""
    reader = _Words()
    reader.feed(re.sub(r"{{.*?}}|{%.*?%}|{#.*?#}", " ", text, flags=re.DOTALL))
    reader.close()
    return [word for text in reader.words for word in re.findall(r"[^\W\d_]{2,}", text)]


LITERAL = re.compile(r"""(?P<before>[\w.$]*\s*[(:=?]?\s*)(?:"(?P<plain>[^"\n]*)"|`(?P<filled>[^`]*)`)""")
NO_WORDS = re.compile(r"(class|className|font|querySelector|querySelectorAll|closest|matches|matchMedia)\s*[(:=]\s*$")
"""What is before names of classes, of elements and of type."""


def bare_in_script(text: str) -> list[str]:
    """Text of a script that reads like words for a person: two words, or one that begins like a sentence."""
    code = re.sub(r"(^|[\s;])//.*|/\*.*?\*/", r"\1", text, flags=re.MULTILINE)
    found = []
    for each in LITERAL.finditer(code):
        words = re.sub(r"\$\{[^{}]*(?:\{[^{}]*\}[^{}]*)*\}", " ", each["plain"] or each["filled"] or "")
        two = re.search(r"[a-zA-Z]{2,}[,.:;]? +[a-zA-Z]{2,}", words)
        if (two or re.match(r"[A-Z][a-z]+", words)) and not NO_WORDS.search(each["before"]):
            found.append(words)
    return found


@pytest.mark.parametrize("path", sorted(WEB.rglob("*.html")), ids=lambda path: path.name)
def test_no_template_holds_a_sentence(path: Path) -> None:
    assert bare_in_template(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", sorted(WEB.rglob("*.js")), ids=lambda path: path.name)
def test_no_script_holds_a_sentence(path: Path) -> None:
    assert bare_in_script(path.read_text(encoding="utf-8")) == []


def test_a_sentence_in_a_template_or_script_would_be_seen() -> None:
    assert bare_in_template("<p class=\"help\">{{ say('x') }} Tap here</p>") == ["Tap", "here"]
    assert bare_in_template('<img alt="a car" src="some where.png">') == ["car"]
    assert bare_in_template("{% if a %}<b id='so it is'>{{ b|join(' and so on ') }}</b>{% endif %}") == []
    assert bare_in_script('place.textContent = "nothing found";') == ["nothing found"]
    assert bare_in_script("tell(`${n} pictures are there`); // as it should be")[0].strip() == "pictures are there"
    assert bare_in_script('b.textContent = "Close";') == ["Close"]
    assert bare_in_script('b.className = "button quiet"; a.closest("li b"); say("key_off"); tell(`${a}: ${b}`);') == []
