"""What a start may import: the answer to --help comes at once, since nothing heavy is loaded for it."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

HEAVY = (
    "numpy",
    "scipy",
    "matplotlib",
    "pydantic",
    "rich",
    "reportlab",
    "openpyxl",
    "tomlkit",
    "cv2",
    "PIL",
    "ezdxf",
    "jinja2",
    "pypdf",
    "starlette",
    "uvicorn",
)

PROBE = """
import contextlib, io, json, sys
from measure.cli import main
out = io.StringIO()
sys.argv = ["plumbsquare", *sys.argv[1:]]
status = 0
with contextlib.redirect_stdout(out):
    try:
        main()
    except SystemExit as end:
        status = end.code or 0
json.dump({"status": status, "text": out.getvalue(), "modules": sorted(sys.modules)}, sys.stdout)
"""


@pytest.mark.parametrize("words", [["--help"], ["--version"]])
def test_a_start_loads_nothing_heavy(words: list[str]) -> None:
    run = subprocess.run([sys.executable, "-c", PROBE, *words], capture_output=True, text=True, timeout=60, check=False)
    assert run.returncode == 0, run.stderr
    seen = json.loads(run.stdout)
    assert seen["status"] == 0
    assert seen["text"].strip(), "no help came out"
    assert "measure.cli" in seen["modules"]
    loaded = [name for name in HEAVY if name in seen["modules"]]
    assert not loaded, f"{' '.join(words)} loads {', '.join(loaded)}"


def test_the_probe_sees_what_is_loaded() -> None:
    code = "import numpy, sys; print('numpy' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    assert run.stdout.strip() == "True"
