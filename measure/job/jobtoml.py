"""job.toml as a file: read with the place of every key, and changed in place without losing a comment."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import ValidationError

from measure.atomic import write_atomically
from measure.findings import BadInput, Findings, did_you_mean
from measure.job.settings import Settings
from measure.tables.textfile import check_folder, decode, read_bytes

NAME = "job.toml"

_PIECE = r"""(?:"[^"]*"|'[^']*'|[A-Za-z0-9_-]+)"""
_DOTTED = rf"{_PIECE}(?:\s*\.\s*{_PIECE})*"
_HEADER = re.compile(rf"\s*\[\[?\s*({_DOTTED})\s*\]")
_KEY = re.compile(rf"\s*({_DOTTED})\s*=")
_PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)")
_MOST_NESTED = 20

Model = TypeVar("Model", bound=Settings)
Value = str | float | int | bool | list[str] | None


@dataclass(frozen=True)
class JobToml:
    """The parsed file, and its text for telling where a key stands."""

    data: dict[str, Any]
    text: str

    def line(self, path: Sequence[str]) -> int | None:
        """The line of a key, or of the innermost table around it that can be found."""
        wanted, section = ".".join(path), ""
        best: tuple[int, int | None] = (0, None)
        for number, line in enumerate(self.text.split("\n"), start=1):
            if match := _HEADER.match(line):
                here = section = _plain(match[1])
            elif match := _KEY.match(line):
                here = f"{section}.{_plain(match[1])}" if section else _plain(match[1])
            else:
                continue
            if f"{wanted}.".startswith(f"{here}.") and len(here) > best[0]:
                best = (len(here), number)
        return best[1]

    def error(self, path: Sequence[str], found: object, would_do: str, findings: Findings) -> None:
        """Add an error at a key."""
        findings.error(NAME, self.line(path), ".".join(path), _shown(found), would_do)


def read_job_toml(folder: Path, findings: Findings) -> JobToml | None:
    """The job's file; None after an error: none there, not readable, no TOML."""
    if not check_folder(folder, folder.name or str(folder), "name the folder that holds job.toml", findings):
        return None
    absent = "this is no job folder: each holds a job.toml"
    data = read_bytes(folder / NAME, NAME, findings, absent=absent)
    text = None if data is None else decode(data, NAME, findings, only_utf8=True)
    return None if text is None else _parsed(text.replace("\r\n", "\n"), findings)


def _parsed(text: str, findings: Findings) -> JobToml | None:
    lines = text.split("\n")
    try:
        data = tomllib.loads(text)
        if _nested_deeper(data, _MOST_NESTED):
            findings.error(NAME, None, None, "tables in tables in tables", "job.toml holds plain settings only")
            return None
        return JobToml(data, text)
    except (ValueError, RecursionError) as problem:
        message = str(problem)
        place = _PLACE.search(message)
        reason = _PLACE.sub("", message)
        line = int(place[1]) if place and place[1] else len(text.rstrip().split("\n"))
        column = place[2] if place and place[2] else None
        found = lines[line - 1].strip() if line <= len(lines) else ""
        would_do = f'this is no TOML ({reason}): settings read like units = "mm", text in straight quotes'
        if column is None:
            found = found or "an unfinished line"
        findings.error(NAME, line, column, found, would_do)
        return None


def validated(
    model: type[Model], data: object, path: tuple[str, ...], toml: JobToml, unit: str, findings: Findings
) -> Model:
    """`data`, the table at `path`, as a model; what is wrong becomes an error and is left at its default."""
    if not isinstance(data, dict):
        toml.error(path, data, f"write a table: [{'.'.join(path)}]", findings)
        return model()
    bare: list[str] = []
    context = {"unit": unit, "bare": bare}
    try:
        made = model.model_validate(data, context=context)
    except ValidationError as problem:
        wrong = set()
        for each in problem.errors(include_url=False):
            location = tuple(str(piece) for piece in each["loc"])
            wrong.add(location[0])
            toml.error((*path, *location), each["input"], _advice(each, model), findings)
        made = model.model_validate({k: v for k, v in data.items() if k not in wrong}, context=context)
    if unit == "in":
        note_inches(toml, path, bare, findings)
    return made


def note_inches(toml: JobToml, path: tuple[str, ...], keys: Iterable[str], findings: Findings) -> None:
    """Say that bare lengths of an inch job are inches: 0.5 for half a millimetre is the likelier slip."""
    keys = list(dict.fromkeys(keys))
    if keys:
        found = f"bare lengths in [{'.'.join(path)}]: {', '.join(keys)}"
        would_do = 'they are in the job\'s unit, inches; write "0.5 mm" where mm are meant'
        findings.note(NAME, toml.line(path), None, found, would_do)


def _advice(problem: Any, model: type[Settings]) -> str:
    kind, context = problem["type"], problem.get("ctx", {})
    if kind == "extra_forbidden":
        known = [field.alias or name for name, field in _model_at(model, problem["loc"][:-1]).model_fields.items()]
        near = did_you_mean(str(problem["loc"][-1]), known)
        return f"there is no such key; known are {', '.join(known)}{near}"
    if kind == "value_error":
        return str(context["error"])
    if kind == "literal_error":
        return f"write {context['expected']}".replace("'", '"')
    plain = {
        "string_type": "write text in quotes",
        "list_type": 'write a list such as ["before", "after"]',
        "dict_type": "write a table with settings of its own",
        "string_too_long": "this is too long",
        "greater_than": f"this must be greater than {context.get('gt')}",
        "greater_than_equal": f"this must be at least {context.get('ge')}",
        "less_than_equal": f"this must be at most {context.get('le')}",
    }
    return plain.get(kind, str(problem["msg"]))


def _model_at(model: type[Settings], path: Sequence[str | int]) -> type[Settings]:
    """The model of a table within a table."""
    for piece in path:
        field = model.model_fields.get(str(piece))
        kinds = (field.annotation, *get_args(field.annotation)) if field is not None else ()
        model = next((kind for kind in kinds if isinstance(kind, type) and issubclass(kind, Settings)), model)
    return model


def update_job_toml(folder: Path, section_path: Sequence[str], values: Mapping[str, Value]) -> None:
    """Set `values` in the table at `section_path` (("tape", "steel") for [tape.steel]) of job.toml, in place.

    As `changed_job_toml`. The file is replaced whole or not at all. Raises BadInput where job.toml cannot be read or
    changed, ValueError for nan and inf, OSError where it cannot be written.
    """
    findings = Findings()
    if read_job_toml(folder, findings) is None:
        raise BadInput(findings)
    path = folder / NAME
    changed = changed_job_toml(path.read_bytes().decode("utf-8-sig"), section_path, values)
    write_atomically(path, changed.encode("utf-8"))


def changed_job_toml(raw: str, section_path: Sequence[str], values: Mapping[str, Value]) -> str:
    """The text of job.toml with `values` set in the table at `section_path`.

    Comments, order and layout stay. A value of None takes the key out. Lengths must carry their unit, as in
    "0.31 mm": a bare number is in the job's unit. Raises BadInput where the text cannot be read or changed, ValueError
    for nan and inf.
    """
    import tomlkit  # slow to load, and needed only when something is kept
    from tomlkit.exceptions import TOMLKitError

    findings = Findings()
    before = _parsed(raw.replace("\r\n", "\n"), findings)
    if before is None:
        raise BadInput(findings)
    for key, value in values.items():
        if isinstance(value, float) and not math.isfinite(value):
            raise ValueError(f"{key} = {value} cannot be kept in job.toml")
    try:
        document = tomlkit.parse(raw)
        table: Any = document
        for i, piece in enumerate(section_path):
            if piece not in table:
                table[piece] = tomlkit.table(is_super_table=i + 1 < len(section_path))
            table = table[piece]
        for key, value in values.items():
            if value is None:
                table.pop(key, None)
            else:
                table[key] = float(value) if isinstance(value, float) else value
        changed = tomlkit.dumps(document)
        sound = tomllib.loads(changed.replace("\r\n", "\n")) == _expected(before.data, section_path, values)
    except (TOMLKitError, ValueError, TypeError, AttributeError):
        sound, changed = False, ""
    if not sound:
        where = ".".join(section_path)
        found = f"no place for [{where}]" if where else "no place for " + ", ".join(values)
        findings.error(NAME, before.line(section_path), None, found, "write the table on lines of its own")
        raise BadInput(findings)
    return changed


def _expected(data: dict[str, Any], path: Sequence[str], values: Mapping[str, Value]) -> dict[str, Any]:
    """What the file must say afterwards; the check that an edit did what it should and nothing else."""
    if not path:
        return {k: v for k, v in {**data, **values}.items() if v is not None}
    inner = data.get(path[0], {})
    return {**data, path[0]: _expected(inner, path[1:], values)}


def _plain(dotted: str) -> str:
    return ".".join(piece.strip("\"'") for piece in re.findall(_PIECE, dotted))


def _nested_deeper(data: object, depth: int) -> bool:
    """Whether tables and lists lie deeper than `depth`: later steps call themselves for each level."""
    layer = [data]
    for _ in range(depth):
        layer = [
            inner
            for outer in layer
            for inner in (outer.values() if isinstance(outer, dict) else outer if isinstance(outer, list) else ())
        ]
    return bool(layer)


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    try:
        return str(value)
    except ValueError:  # an integer of thousands of digits
        return "an endless number"
