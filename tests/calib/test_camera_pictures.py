"""The command `camera` on rendered pictures: the lens, what is left out by name, what is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from calib.board import CODED, PLAIN, Chessboard
from calib.camera_file import read_camera_file
from calib.camera_pictures import calibrate_pictures
from calib.edge_width import edge_width
from measure.cli import main
from measure.findings import BadInput, Findings
from tests.calib.boards import LENS_TRUE, SIZE, exact_views, poses, rendered, shoot
from tests.calib.pdf_drawing import write_png

BOARD = Chessboard(9, 6)


@pytest.fixture(scope="module")
def shot(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Nine pictures of the plain board."""
    folder = tmp_path_factory.mktemp("board")
    shoot(folder, PLAIN, 9, np.random.default_rng(11))
    return folder


def run(*words: object) -> Result:
    return CliRunner().invoke(main, ["camera", *map(str, words)])


def pictures(folder: Path, count: int = 9) -> list[Path]:
    return sorted(folder.iterdir())[:count]


def test_camera_toml_holds_the_truth(shot: Path, tmp_path: Path) -> None:
    out, coverage = tmp_path / "camera.toml", tmp_path / "coverage.png"
    told = run(shot, "--chessboard", "9x6", "--out", out, "--coverage", coverage)
    assert told.exit_code == 0, told.output
    camera = read_camera_file(out, Findings())
    assert camera is not None
    assert (camera.width, camera.height) == SIZE
    assert np.all(np.abs(camera.values - LENS_TRUE) < 3.5 * camera.sd)
    assert camera.sd[0] < 0.005 * LENS_TRUE[0]
    assert len(camera.pictures) == 9
    assert coverage.read_bytes().startswith(b"\x89PNG")
    assert told.output.startswith("This lens can be used")
    first = out.read_bytes()
    assert run(*pictures(shot), "--chessboard", "9x6", "--out", out).exit_code == 0
    assert out.read_bytes() == first  # same pictures, same digits


def test_the_coded_board_is_what_is_looked_for(tmp_path: Path) -> None:
    (tmp_path / "board").mkdir()
    shoot(tmp_path / "board", CODED, 6, np.random.default_rng(16))
    told = run(tmp_path / "board", "--out", tmp_path / "camera.toml")
    assert told.exit_code == 0, told.output
    camera = read_camera_file(tmp_path / "camera.toml", Findings())
    assert camera is not None and camera.board == CODED.version
    assert np.all(np.abs(camera.values - LENS_TRUE) < 3.5 * camera.sd)


def test_the_turn_noted_in_a_picture_changes_nothing(shot: Path, tmp_path: Path) -> None:
    """A phone held upright notes so in EXIF; some readers then turn the picture, and fx and fy change places."""
    lenses = []
    for orientation in (1, 6):
        folder = tmp_path / str(orientation)
        folder.mkdir()
        for i, path in enumerate(pictures(shot, 5)):
            exif = Image.Exif()
            exif[0x0112] = orientation if i % 2 else 1
            with Image.open(path) as picture:
                picture.save(folder / f"{path.stem}.jpg", quality=95, exif=exif)
        found = calibrate_pictures(sorted(folder.iterdir()), BOARD)
        assert (found.camera.width, found.camera.height) == SIZE
        lenses.append(found.camera.values)
    np.testing.assert_array_equal(*lenses)


def test_what_spoils_is_left_out_by_name(shot: Path, tmp_path: Path) -> None:
    rng = np.random.default_rng(12)
    R, t = poses(PLAIN, LENS_TRUE, SIZE, 2, rng)
    blurred = rendered(PLAIN, LENS_TRUE, R[0], t[0], rng=rng, samples=2, blur=3.5)
    write_png(tmp_path / "shaken.png", blurred)
    write_png(tmp_path / "nothing.png", rng.integers(0, 255, SIZE[::-1]).astype(np.uint8))
    (tmp_path / "empty.jpg").write_bytes(b"")
    (tmp_path / "words.jpg").write_text("this is no picture")
    (tmp_path / "again.png").write_bytes(pictures(shot)[0].read_bytes())
    bent = Chessboard(9, 6, 22.0)
    grey = rendered(bent, LENS_TRUE + 0.8 * np.eye(9)[4], R[1], t[1], rng=rng, samples=2)
    write_png(tmp_path / "bent.png", grey)  # as a curled board would look: nothing else fits its corners
    found = calibrate_pictures([*pictures(shot), *sorted(tmp_path.iterdir())], BOARD)
    told = {note.file: note.text() for note in found.findings.notes}
    assert set(told) == {"shaken.png", "nothing.png", "empty.jpg", "words.jpg", "again.png", "bent.png"}
    assert "blurred" in told["shaken.png"] and "no board" in told["nothing.png"]
    assert "same picture as IMG_0000.png" in told["again.png"] and "px off" in told["bent.png"]
    assert [each.name for each in found.camera.pictures] == [path.name for path in pictures(shot)]
    assert np.all(np.abs(found.camera.values - LENS_TRUE) < 3.5 * found.camera.sd)


def test_few_are_warned_about_and_fewer_refused(shot: Path, tmp_path: Path) -> None:
    out = tmp_path / "camera.toml"
    told = run(*pictures(shot, 6), "--chessboard", "9x6", "--out", out)
    assert told.exit_code == 0 and "6 pictures are few" in told.output and out.exists()
    out.unlink()
    told = run(*pictures(shot, 3), "--chessboard", "9x6", "--out", out)
    assert told.exit_code == 2 and "at least 4" in told.output and not out.exists()


def test_mixed_sizes_are_refused(shot: Path, tmp_path: Path) -> None:
    rng = np.random.default_rng(13)
    small = (480, 360)
    lens = LENS_TRUE * [0.75, 1, 0.75, 0.75, 1, 1, 1, 1, 1]
    R, t = poses(PLAIN, lens, small, 1, rng)
    other = write_png(tmp_path / "other.png", rendered(PLAIN, lens, R[0], t[0], small, rng=rng, samples=2))
    told = run(*pictures(shot, 5), other, "--chessboard", "9x6", "--out", tmp_path / "camera.toml")
    assert told.exit_code == 2 and "other.png" in told.output and "2 cameras, lenses or picture sizes" in told.output


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--chessboard", "9"], "such as 9x6"),
        (["--chessboard", "2x2"], "such as 9x6"),
        (["--chessboard", "7x5"], "inner corners"),
        ([], "--chessboard 9x6"),
        (["--chessboard", "9x6", "--coverage", "c.jpg"], ".png"),
        (["--chessboard", "9x6", "--coverage", "none/c.png"], "no such folder"),
    ],
)
def test_refusals(shot: Path, tmp_path: Path, words: list[str], told: str) -> None:
    result = run(*pictures(shot, 4), *words, "--out", tmp_path / "camera.toml")
    assert result.exit_code == 2 and told in result.output, result.output
    assert not list(tmp_path.iterdir())


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    result = run(tmp_path / "none", "--out", tmp_path / "camera.toml")
    assert result.exit_code == 2 and "none" in result.output and "Traceback" not in result.output


def test_square_pictures_only_are_refused(tmp_path: Path) -> None:
    """All facing the board: the focal length is anyone's guess."""
    rng = np.random.default_rng(14)
    middle = PLAIN.corners().mean(axis=0)
    for i in range(4):
        t = np.array([-middle[0], -middle[1], 330.0 + 25 * i])
        grey = rendered(PLAIN, LENS_TRUE, np.eye(3), t, rng=rng, samples=2)
        write_png(tmp_path / f"flat{i}.png", grey)
    with pytest.raises(BadInput, match="20 to 45 degrees"):
        calibrate_pictures(sorted(tmp_path.iterdir()), BOARD)


@pytest.mark.parametrize("blur", [0.7, 1.5, 3.0])
def test_width_of_edges(blur: float) -> None:
    rng = np.random.default_rng(15)
    R, t = poses(PLAIN, LENS_TRUE, SIZE, 1, rng, tilt=5.0)
    grey = rendered(PLAIN, LENS_TRUE, R[0], t[0], rng=rng, samples=2, blur=blur)
    (view,) = exact_views(PLAIN, LENS_TRUE, R, t)
    # a pixel is as wide as a blur of 0.29, and is cut between pixels
    assert edge_width(grey, view.on_board, view.pixels) == pytest.approx(np.hypot(blur, 0.5), rel=0.2)


def test_mirrored_and_blurred_pictures_are_told(tmp_path: Path) -> None:
    rng = np.random.default_rng(18)
    R, t = poses(CODED, LENS_TRUE, SIZE, 2, rng)
    mirrored = rendered(CODED, LENS_TRUE, R[0], t[0], rng=rng, samples=2)[:, ::-1].copy()
    blurred = rendered(CODED, LENS_TRUE, R[1], t[1], rng=rng, samples=2, blur=3.0)
    for name, grey, words in (("m.png", mirrored, "mirrors"), ("b.png", blurred, "hold still")):
        (tmp_path / name[0]).mkdir()
        told = run(write_png(tmp_path / name[0] / name, grey), "--out", tmp_path / "camera.toml")
        assert told.exit_code == 2 and f"{name} is " in told.output and words in told.output
