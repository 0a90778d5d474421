"""The sample on which a newcomer sees the acceptance pass: two bars carried round a photographed car."""

from __future__ import annotations

import json
import shutil
import tomllib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image as Pillow

from measure.cli import main
from tests import make_acceptance_bars
from tests.make_acceptance_bars import A_ROUND, ACCEPTANCE_BARS, LOOK, SEED, carried
from tests.synthetic.photos import render


def test_the_bars_pass_and_are_as_long_as_they_truly_are() -> None:
    result = CliRunner().invoke(main, ["acceptance", str(ACCEPTANCE_BARS), "--json"])
    assert result.exit_code == 0, result.output
    told = json.loads(result.stdout)
    assert (told["verdict"], told["directions"], len(told["lengths"])) == ("passed", 7, 7)
    true = tomllib.loads((ACCEPTANCE_BARS / "truth.toml").read_text(encoding="utf-8"))["bars"]
    for length in told["lengths"]:
        assert abs(length["error"]) <= length["u95"] < 0.8, length
        measured = length["known"] + length["error"]
        assert measured == pytest.approx(true[" ".join(length["names"])], abs=0.2), length


def test_in_the_tree_is_what_its_script_makes(tmp_path: Path) -> None:
    """Tables to the byte; a picture up to what another release of the libraries may round differently."""
    make_acceptance_bars.main(tmp_path, pictures=False)
    tables = [path.relative_to(tmp_path) for path in tmp_path.rglob("*.*")]
    assert len(tables) == 5
    for name in tables:
        assert (tmp_path / name).read_bytes() == (ACCEPTANCE_BARS / name).read_bytes(), name
    _, taken = carried()
    photos = sorted((ACCEPTANCE_BARS / "before" / "photos").iterdir())
    assert [path.name for path in photos] == [shot.name for _, shot in taken]
    assert sum(path.stat().st_size for path in photos) < 4e6
    k = A_ROUND
    scene, shot = taken[k]
    with Pillow.open(photos[k]) as picture:
        kept = np.asarray(picture.convert("L"), dtype=float)
    assert np.sqrt(np.mean((kept - render(scene, shot, LOOK, SEED + 10 + k).grey) ** 2)) < 5.0


def test_without_the_bar_that_gives_the_scale_nothing_is_passed(tmp_path: Path) -> None:
    job = tmp_path / "job"
    shutil.copytree(ACCEPTANCE_BARS, job)
    table = job / "before" / "targets.csv"
    first = (job / "before" / "tape.csv").read_text(encoding="utf-8").splitlines()[1].split(",")[0]
    lines = table.read_text(encoding="utf-8").splitlines(keepends=True)
    table.write_text("".join(line for line in lines if first not in line.split(",")), encoding="utf-8")
    result = CliRunner().invoke(main, ["acceptance", str(job)])
    assert result.exit_code == 2 and "tape.csv line 2" in result.output and "gives the scale" in result.output
