"""The house stays the house: no room imports from a room above it, and no module from one that imports it."""

from __future__ import annotations

import ast
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

ROOMS: tuple[tuple[str, tuple[str, ...]], ...] = (  # bottom to top
    ("version", ("measure",)),
    ("plain text, lengths, findings", (
        "measure.units", "measure.line", "measure.rotation", "measure.rigid_fit", "measure.findings", "measure.atomic",
        "measure.typeface", "measure.paper",
    )),
    ("tables", ("measure.tables",)),
    ("the job", ("measure.job", "measure.tape_plan")),
    ("history", ("measure.splice", "measure.history")),
    ("photo", ("measure.photo",)),
    ("calib", ("calib",)),
    ("readings", ("measure.readings",)),
    ("adjust", ("measure.adjust",)),
    ("body", ("measure.body",)),
    ("result", ("measure.result",)),
    ("survey", (
        "measure.read_job", "measure.survey", "measure.car_points", "measure.refusals", "measure.chart_answers",
        "measure.turned", "measure.photo_scale",
        "measure.exchanged",
    )),
    ("check", (
        "measure.check", "measure.document", "measure.advice", "measure.photo_advice", "measure.cautions",
        "measure.photo_cautions", "measure.acceptance",
    )),
    ("compare", ("measure.compare",)),
    ("pattern", ("measure.pattern",)),
    ("setup", ("measure.setup",)),
    ("report", ("measure.report", "measure.template")),
    ("verify", ("measure.verify",)),
    ("page", ("measure.web",)),
    ("commands", ("measure.cli", "measure.__main__")),
)  # fmt: skip
RANK = {module: rank for rank, (_, modules) in enumerate(ROOMS) for module in modules}

FILES = sorted(path for top in ("measure", "calib") for path in (ROOT / top).rglob("*.py"))


def name_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = frozenset(map(name_of, FILES))


def rank(module: str) -> int:
    """The room of a module or of its package; `measure` itself is the version and no room for others."""
    name = module
    while name not in RANK or (name == "measure" != module):
        assert "." in name, f"{module} is in no room: add it to ROOMS and to DEVELOPERS.md"
        name = name.rpartition(".")[0]
    return RANK[name]


def imports(path: Path, modules: frozenset[str] = MODULES) -> set[str]:
    """Modules of this project that a file imports, at its top or later, by whatever form of import."""
    package = name_of(path) if path.name == "__init__.py" else name_of(path).rpartition(".")[0]
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            above = package.rsplit(".", node.level - 1)[0] if node.level else ""
            base = ".".join(filter(None, (above, node.module)))
            # `from a import b`: b may be a module, or a name in a
            found |= {f"{base}.{alias.name}" if f"{base}.{alias.name}" in modules else base for alias in node.names}
    return {name for name in found if name.partition(".")[0] in ("measure", "calib")}


def test_there_is_something_to_look_at() -> None:
    assert {"measure.job", "measure.readings.tape", "calib.tape_check"} <= MODULES


@pytest.mark.parametrize("path", FILES, ids=name_of)
def test_no_room_imports_upwards(path: Path) -> None:
    me = name_of(path)
    upwards = sorted(name for name in imports(path) if rank(name) > rank(me))
    assert not upwards, f"{me} ({ROOMS[rank(me)][0]}) imports {', '.join(upwards)}"


@pytest.mark.parametrize("path", [p for p in FILES if name_of(p).startswith("calib")], ids=name_of)
def test_calib_does_not_know_the_body_or_what_is_made_of_it(path: Path) -> None:
    barred = ("measure.body", "measure.setup", "measure.report", "measure.web")
    assert not [name for name in imports(path) if name.startswith(barred)]


def test_no_module_imports_what_imports_it() -> None:
    """CycleError names the modules of a ring."""
    graph = {name_of(path): imports(path) - {name_of(path)} for path in FILES}
    assert set(TopologicalSorter(graph).static_order()) >= MODULES


def test_what_is_imported_exists() -> None:
    missing = {name_of(path): sorted(imports(path) - MODULES) for path in FILES if imports(path) - MODULES}
    assert not missing


def test_an_upward_import_would_be_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tests.test_rooms.ROOT", tmp_path)
    file = tmp_path / "measure" / "readings" / "odd.py"
    file.parent.mkdir(parents=True)
    file.write_text("def late():\n    from measure.body import frame\n    from .. import cli\n", encoding="utf-8")
    modules = frozenset(("measure.cli", "measure.body.frame"))
    assert imports(file, modules) == {"measure.body.frame", "measure.cli"}
    assert all(rank(name) > rank("measure.readings.odd") for name in imports(file, modules))
