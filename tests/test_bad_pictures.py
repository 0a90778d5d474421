"""Pictures a person may bring, through `check` and `find`: exit 2, or a word that names the picture; no traceback."""

from __future__ import annotations

import io
import shutil
import struct
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from measure.cli import main
from tests.odd_jobs import snapshot
from tests.photo.shown import SMALL, mirrored, show
from tests.synthetic.photos import Look, Scene, Sheet, aimed, facing, render, write_photo_job
from tests.synthetic.photos.jpeg import jpeg
from tests.synthetic.photos.scene import Bar

NAMES = [f"{part}{side}" for part in ("front", "mid", "back", "tail") for side in "LR"]
VIEWS = ((-700.0, -900.0), (900.0, -1000.0), (-800.0, 850.0), (750.0, 800.0), (0.0, -300.0), (50.0, 350.0))
"""mm along and across, from where six pictures look up at the sheets."""
BELOW = -1250.0
Pictures = dict[str, bytes]


def car(printed: float = 1.0, written: float = 1.0, height: float = 0.0) -> Scene:
    """Eight points in pairs with their sheets looking down, and one bar between two more."""
    rng = np.random.default_rng(3)
    points = {n: np.array([600.0 - 400.0 * (k // 2), 300.0 * (1 - 2 * (k % 2)), height + 25.0 * (k // 2 % 2)])
              for k, n in enumerate(NAMES)}  # fmt: skip
    points |= {"barA": np.array([-450.0, -60.0, -30.0]), "barB": np.array([450.0, 40.0, -20.0])}
    sheets = [
        Sheet(k, name, at, facing((*rng.uniform(-0.2, 0.2, 2), -1.0), float(rng.uniform(-180, 180))), 80.0 * printed)
        for k, (name, at) in enumerate(points.items())
    ]
    length = float(np.linalg.norm(points["barA"] - points["barB"]))
    return Scene(tuple(sheets), points, (Bar("barA", "barB", length, length * written),))


def shots_of(scene: Scene, views: Sequence[tuple[float, float]] = VIEWS) -> Pictures:
    made = {}
    for k, view in enumerate(views):
        roll = (0.0, 80.0, -20.0, 95.0, 10.0, 45.0)[k % 6]
        shot = aimed(f"IMG_{k}.jpg", SMALL, np.array([*view, BELOW]), np.array([0.0, 0.0, 0.0]), roll)
        look = Look()
        made[shot.name] = jpeg(render(scene, shot, look, k, plain=0.2), shot, look.quality)
    return made


@pytest.fixture(scope="module")
def pictures() -> Pictures:
    return shots_of(car())


@pytest.fixture(scope="module", autouse=True)
def cache_of_its_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """One for all tests here: the good pictures are looked through once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield


def written(folder: Path, pictures: Pictures, scene: Scene | None = None) -> Path:
    scene = scene or car()
    write_photo_job(folder, scene, [], None)
    rows = ["name,side,part", *(f"{n},{n[-1]},rail" if n in NAMES else f"{n},," for n in scene.points)]
    (folder / "points.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    for name, data in pictures.items():
        (folder / "before/photos" / name).write_bytes(data)
    return folder


def asked(command: str, *words: str | Path) -> Result:
    result = CliRunner().invoke(main, [command, *map(str, words)])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert "Traceback" not in result.output and result.exit_code in (0, 1, 2, 3)
    return result


def check(folder: Path) -> tuple[int, str]:
    """Exit status, and all that was said on one line."""
    before = snapshot(folder)
    result = asked("check", folder)
    assert snapshot(folder) == before
    return result.exit_code, " ".join(result.output.split())


def a_picture(kind: str) -> bytes:
    """What the case is about, made from a real picture of nothing."""
    wall = Image.fromarray(show(()).grey)
    out = io.BytesIO()
    if kind == "animated GIF":
        wall.save(out, "GIF", save_all=True, append_images=[Image.new("L", wall.size, 9)])
    elif kind == "animated PNG":
        wall.save(out, "PNG", save_all=True, append_images=[Image.new("L", wall.size, 9)])
    elif kind == "CMYK":
        wall.convert("CMYK").save(out, "JPEG")
    elif kind == "cut off":
        wall.save(out, "JPEG")
        return out.getvalue()[:-6000]
    elif kind == "huge":
        made = b"\x89PNG\r\n\x1a\n"
        size = struct.pack(">IIBBBBB", 30_000, 30_000, 8, 0, 0, 0, 0)
        for name, data in ((b"IHDR", size), (b"IDAT", zlib.compress(b""))):
            made += struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        return made
    elif kind == "text":
        return b"from,to,length\nfrontL,frontR,600\n"
    elif kind == "nothing":
        wall.save(out, "JPEG")
    return out.getvalue()


KINDS = ("zero bytes", "text", "cut off", "huge", "CMYK", "animated GIF", "animated PNG", "nothing")


@pytest.fixture(scope="module")
def good(pictures: Pictures, tmp_path_factory: pytest.TempPathFactory) -> int:
    """Exit status where all is well."""
    status, words = check(written(tmp_path_factory.mktemp("good") / "car", pictures))
    assert status in (0, 1, 3) and "left out" not in words
    return status


@pytest.mark.parametrize("kind", KINDS)
def test_a_bad_picture_among_good_ones_is_named_and_the_rest_is_solved(
    kind: str, pictures: Pictures, good: int, tmp_path: Path
) -> None:
    status, words = check(written(tmp_path / "car", pictures | {"odd.jpg": a_picture(kind)}))
    assert status == good and "photos/odd.jpg" in words and "left out" in words


@pytest.mark.parametrize("kind", KINDS)
def test_bad_pictures_alone_are_refused(kind: str, tmp_path: Path) -> None:
    status, words = check(written(tmp_path / "car", {"odd.jpg": a_picture(kind)}))
    assert status == 2 and "odd.jpg" in words


@pytest.mark.parametrize("kind", KINDS)
def test_find_says_the_same(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "odd.jpg"
    path.write_bytes(a_picture(kind))
    for words in ((), ("--json",), ("--draw", tmp_path / "drawn")):
        result = asked("find", path, *words)
        assert result.exit_code == (0 if kind == "nothing" else 2) and "odd.jpg" in result.output


def test_one_picture_twice(pictures: Pictures, tmp_path: Path) -> None:
    status, words = check(written(tmp_path / "car", pictures | {"copy.jpg": pictures["IMG_1.jpg"]}))
    assert status != 2 and "the same picture as" in words and "copy.jpg" in words


def test_sixteen_bits_work(pictures: Pictures, tmp_path: Path) -> None:
    """A picture as 16-bit PNG without EXIF is a camera of its own; the two of them still join the rest."""
    odd = {}
    for name in ("IMG_0.jpg", "IMG_1.jpg"):
        values = np.asarray(Image.open(io.BytesIO(pictures[name])).convert("L"))
        out = io.BytesIO()
        Image.fromarray(values.astype(np.uint16) * 257).save(out, "PNG")
        odd[f"{name[:5]}.png"] = out.getvalue()
    folder = written(tmp_path / "car", {**dict(list(pictures.items())[2:]), **odd})
    assert "10 targets seen in 2 of 2 pictures" in asked("find", *(folder / "before/photos" / n for n in odd)).stdout
    status, words = check(folder)
    assert status != 2 and "left out" not in words


def test_one_picture_only(pictures: Pictures, tmp_path: Path) -> None:
    status, words = check(written(tmp_path / "car", {"IMG_0.jpg": pictures["IMG_0.jpg"]}))
    assert status == 2 and "before/photos" in words and "share three targets" in words


def test_all_from_one_spot(tmp_path: Path) -> None:
    """Turning on the spot shows no depth: refused, or said so; never a car of good cheer."""
    scene = car()
    made = shots_of(scene, [(-300.0 + 0.5 * k, -400.0) for k in range(4)])
    status, words = check(written(tmp_path / "car", made, scene))
    assert status in (2, 3) and "photo" in words


def test_a_mirrored_print_is_not_read(tmp_path: Path) -> None:
    scene = car()
    spoilt = replace(scene, sheets=(mirrored(scene.sheets[0]), *scene.sheets[1:]))
    status, words = check(written(tmp_path / "car", shots_of(spoilt), spoilt))
    assert status != 2 and "no photograph shows it: frontL" in words


def test_the_printers_wrong_scale_does_not_change_the_car(tmp_path: Path) -> None:
    """Sheets 3 % too small: the bar gives the scale."""
    import json

    widths = []
    for name, scale in (("true", 1.0), ("small", 0.97)):
        scene = car(printed=scale)
        folder = written(tmp_path / name, shots_of(scene), scene)
        document = json.loads(asked("check", folder, "--json").stdout)
        at = {p["name"]: p for p in document["points"]}
        widths.append(np.linalg.norm([at["frontL"][k] - at["tailR"][k] for k in "xyz"]))
    true = np.linalg.norm(car().points["frontL"] - car().points["tailR"])
    assert np.allclose(widths, true, atol=1.0)


def test_a_target_that_is_not_listed(pictures: Pictures, tmp_path: Path) -> None:
    folder = written(tmp_path / "car", pictures)
    table = folder / "before/targets.csv"
    table.write_text("\n".join(line for line in table.read_text().splitlines() if not line.startswith("5,")) + "\n")
    status, words = check(folder)
    assert (status != 2 and "midR" in words) or "backR" in words


def test_a_point_with_two_targets(pictures: Pictures, tmp_path: Path) -> None:
    folder = written(tmp_path / "car", pictures)
    with (folder / "before/targets.csv").open("a") as table:
        table.write("300,frontL,80\n")
    status, words = check(folder)
    assert status == 2 and "target 0 already" in words and "targets.csv" in words


def test_photographs_and_no_targets_csv(pictures: Pictures, tmp_path: Path) -> None:
    folder = written(tmp_path / "car", pictures)
    (folder / "before/targets.csv").unlink()
    status, words = check(folder)
    assert status == 2 and "no target listed" in words


def test_a_folder_called_like_a_picture(pictures: Pictures, tmp_path: Path) -> None:
    folder = written(tmp_path / "car", pictures)
    (folder / "before/photos/odd.jpg").mkdir()
    assert check(folder)[0] != 2
    shutil.rmtree(folder / "before/photos")
    (folder / "before/photos").write_bytes(b"")
    assert check(folder)[0] == 2
