"""A stage's photographs as readings; what cannot be used is named, and the rest is still read."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps

from measure.findings import Finding, Findings
from measure.job import Sd, StageInfo, inputs_sha256
from measure.photo.picture import open_picture
from measure.readings.cameras import camera_of
from measure.readings.reading import Reading
from measure.readings.stage import read_stage
from tests.photo.shown import mirrored, sheets, show
from tests.readings.sites import STAGE, job
from tests.synthetic.photos import Sheet

SHEETS = sheets(range(8), np.random.default_rng(1), tilt_deg=25.0)
PLACES = ((-250.0, 0.0), (250.0, 60.0), (0.0, -220.0))
"""mm, left and up, from which the three pictures are taken."""
PHOTOS = f"{STAGE}/photos"


@pytest.fixture(scope="module", autouse=True)
def cache_of_its_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """One for all tests here: the good pictures are looked through once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield


@pytest.fixture(scope="module")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pictures")
    for k, off in enumerate(PLACES):
        taken(folder / f"IMG_{k}.jpg", SHEETS, off, seed=k)
    return folder


def taken(path: Path, made: Sequence[Sheet], off: tuple[float, float] = (0.0, 0.0), *, seed: int = 9) -> Path:
    return show(made, off=off, seed=seed, name=path.name).save(path)


@pytest.fixture
def stage(tmp_path: Path, pictures: Path) -> Path:
    """Three good pictures of eight sheets, each on a point of its own."""
    folder = tmp_path / "job" / STAGE
    shutil.copytree(pictures, folder / "photos")
    (folder.parent / "job.toml").touch()
    listed(folder)
    return folder


def listed(stage: Path, *more: str, numbers: Sequence[int] = range(8)) -> None:
    rows = [f"{n},p{n},80" for n in numbers]
    (stage / "targets.csv").write_text("\n".join(["target,point,side", *rows, *more]) + "\n", encoding="utf-8")


def read(stage: Path, **settings: float) -> tuple[list[Reading], Findings]:
    findings = Findings()
    of = job(names=[f"p{n}" for n in range(10)], folder=stage.parent, sd=Sd(**settings))
    return read_stage(of, STAGE, findings), findings


def note(findings: Findings, file: str) -> Finding:
    (found,) = [each for each in findings.notes if each.file == file]
    return found


def by_picture(readings: Sequence[Reading]) -> dict[str, list[int]]:
    made: dict[str, list[int]] = {}
    for r in readings:
        assert r.seen is not None
        made.setdefault(r.via, []).append(r.seen.number)
    return made


def test_every_image_is_a_reading_with_its_source_and_its_sd(stage: Path) -> None:
    readings, findings = read(stage, target=0.03)
    assert not list(findings)
    assert by_picture(readings) == {f"IMG_{k}.jpg": list(range(8)) for k in range(3)}
    one = readings[0]
    assert (one.kind, one.source, one.names) == ("target", "photos/IMG_0.jpg:0", ("p0",))
    assert one.seen is not None and one.seen.side == 80.0 and one.seen.standoff == 0.0
    finder, _ = read(stage, target=0.0)
    assert one.sd == pytest.approx(np.hypot(finder[0].sd, 0.03)) and 0.003 < finder[0].sd < 0.02
    assert len({id(r.seen.camera) for r in readings if r.seen}) == 1
    assert one.seen.camera.known == "EXIF" and one.seen.camera.lens[0] == pytest.approx(26 / 36 * 1200)


def test_first_poses_put_the_sheets_where_they_are(stage: Path) -> None:
    """In a frame of their own, so that distances are compared; the focal length of EXIF is 2 % off."""
    readings, _ = read(stage)
    seen = next(r.seen for r in readings if r.seen)
    true = {s.number: s.centre for s in SHEETS}
    for a, b in ((0, 3), (0, 7), (2, 5)):
        apart = np.linalg.norm(seen.block.places[a] - seen.block.places[b])
        assert apart == pytest.approx(np.linalg.norm(true[a] - true[b]), rel=0.03)


def test_sides_and_standoff_are_read(stage: Path) -> None:
    (stage / "targets.csv").write_text(
        "target,point,side,standoff\n" + "".join(f"{n},p{n},{'' if n else '8 cm'},{n}\n" for n in range(8))
    )
    readings, findings = read(stage)
    assert not findings.errors
    assert {(r.seen.number, r.seen.side, r.seen.standoff) for r in readings if r.seen} == {
        (n, 80.0, float(n)) for n in range(8)
    }


def test_a_number_listed_twice(stage: Path) -> None:
    listed(stage, "3,p8,80")
    _, findings = read(stage)
    (error,) = findings.errors
    assert (error.file, error.line, error.column) == (f"{STAGE}/targets.csv", 10, "target")
    assert "line 5 already" in error.text() and "two sheets" in error.text()


def test_a_point_with_two_targets(stage: Path) -> None:
    listed(stage, "8,p3,80")
    _, findings = read(stage)
    (error,) = findings.errors
    assert (error.file, error.line, error.column) == (f"{STAGE}/targets.csv", 10, "point")
    assert "target 3 already (line 5)" in error.text()


@pytest.mark.parametrize("number", ["587", "1000000", "3.5"])
def test_a_number_that_no_sheet_has(number: str, stage: Path) -> None:
    listed(stage, f"{number},p8,80")
    _, findings = read(stage)
    (error,) = findings.errors
    assert error.line == 10 and "0 to 586" in error.text()


def test_a_point_that_is_not_in_points(stage: Path) -> None:
    listed(stage, "8,q8,80")
    readings, findings = read(stage)
    (error,) = findings.errors
    assert error.line == 10 and "q8" in error.text() and len(readings) == 24


def test_a_target_that_is_not_listed_is_not_used(stage: Path) -> None:
    listed(stage, numbers=range(7))
    readings, findings = read(stage)
    assert not findings.errors
    assert by_picture(readings) == {f"IMG_{k}.jpg": list(range(7)) for k in range(3)}


def test_a_listed_target_that_no_photograph_shows(stage: Path) -> None:
    listed(stage, "9,p9,80")
    readings, findings = read(stage)
    found = note(findings, f"{STAGE}/targets.csv")
    assert found.line == 10 and "no photograph shows it: p9" in found.text() and len(readings) == 24


def test_one_picture_twice_is_used_once(stage: Path) -> None:
    shutil.copy(stage / "photos/IMG_1.jpg", stage / "photos/copy.jpg")
    readings, findings = read(stage)
    (found,) = findings.notes
    assert found.file in (f"{PHOTOS}/IMG_1.jpg", f"{PHOTOS}/copy.jpg") and "same picture" in found.text()
    assert len(by_picture(readings)) == 3 and not findings.errors


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [("a.jpg", b"", "empty"), ("a.jpg", b"from,to\n", "text"), ("a.png", b"\x89PNG\r\n\x1a\n", ""),
     ("cut.jpg", None, "cut off")],
)  # fmt: skip
def test_an_unreadable_picture_is_named_and_the_rest_is_read(
    name: str, data: bytes | None, words: str, stage: Path
) -> None:
    whole = (stage / "photos/IMG_0.jpg").read_bytes()
    (stage / "photos" / name).write_bytes(whole[:-9000] if data is None else data)
    readings, findings = read(stage)
    assert not findings.errors and len(readings) == 24
    found = note(findings, f"{PHOTOS}/{name}")
    assert words in found.found and "left out" in found.would_do


def test_what_is_no_picture_by_its_name_is_noted_and_hidden_files_are_not(stage: Path) -> None:
    (stage / "photos/film.mp4").write_bytes(b"1234")
    (stage / "photos/.DS_Store").write_bytes(b"1234")
    readings, findings = read(stage)
    assert [each.file for each in findings.notes] == [f"{PHOTOS}/film.mp4"] and len(readings) == 24


def test_a_photo_of_nothing_is_left_out(stage: Path) -> None:
    taken(stage / "photos/wall.jpg", ())
    readings, findings = read(stage)
    assert not findings.errors and len(readings) == 24
    assert "no target of targets.csv seen" in note(findings, f"{PHOTOS}/wall.jpg").text()


def test_only_photos_of_nothing(stage: Path) -> None:
    shutil.rmtree(stage / "photos")
    taken(stage / "photos/wall.jpg", ())
    readings, findings = read(stage)
    (error,) = findings.errors
    assert not readings and "one photograph without a target of targets.csv" in error.text()
    assert note(findings, f"{PHOTOS}/wall.jpg")


def test_no_picture_that_can_be_read(stage: Path) -> None:
    for path in (stage / "photos").iterdir():
        path.write_bytes(b"")
    readings, findings = read(stage)
    assert not readings and "none of which can be read" in findings.errors[0].text()
    assert len(findings.notes) == 3


def test_nothing_is_said_twice_when_no_picture_can_be_read(stage: Path) -> None:
    for path in (stage / "photos").iterdir():
        path.write_bytes(b"")
    _, findings = read(stage)
    assert len(findings.errors) == 1


def test_one_picture_only(stage: Path) -> None:
    for k in (1, 2):
        (stage / f"photos/IMG_{k}.jpg").unlink()
    readings, findings = read(stage)
    (error,) = findings.errors
    assert not readings and error.file == PHOTOS and "share three targets" in error.would_do
    assert error.found == "targets in one photograph only" and not findings.notes


@pytest.mark.parametrize("kept", [0, 1])
def test_where_the_tape_holds_the_car_useless_photographs_are_left_out(kept: int, stage: Path) -> None:
    for k in range(kept, 3):
        (stage / f"photos/IMG_{k}.jpg").unlink()
    taken(stage / "photos/wall.jpg", ())
    (stage / "tape.csv").write_text("from,to,length,where\np0,p1,600,floor\np1,p2,600,floor\np2,p0,600,floor\n")
    readings, findings = read(stage)
    assert not findings.errors and [r.kind for r in readings] == ["floor"] * 3
    assert "left out" in note(findings, PHOTOS).would_do


def test_bars_alone_place_nothing_without_photographs(stage: Path) -> None:
    for k in (1, 2):
        (stage / f"photos/IMG_{k}.jpg").unlink()
    (stage / "tape.csv").write_text("from,to,length,where\np0,p1,600,bar\np1,p2,600,bar\np2,p0,600,bar\n")
    assert len(read(stage)[1].errors) == 1


@pytest.mark.parametrize("where", [f"{STAGE}/Photos", f"{STAGE}/photos/phone", f"{STAGE}/pics", STAGE, "Photos", "."])
def test_pictures_that_lie_elsewhere(where: str, stage: Path) -> None:
    (stage / "photos").rename(stage / "away")
    (stage / "photos").mkdir()
    place = stage.parent / where
    place.mkdir(parents=True, exist_ok=True)
    for path in list((stage / "away").iterdir()):
        path.rename(place / path.name)
    readings, findings = read(stage)
    (error,) = findings.errors
    shown = "the job's own folder" if where == "." else where
    assert not readings and error.found == f"3 photographs in {shown}" and f"move them into {PHOTOS}" in error.would_do


def test_some_pictures_a_folder_too_deep(stage: Path) -> None:
    (stage / "photos/phone").mkdir()
    taken(stage / "photos/phone/more.jpg", SHEETS)
    readings, findings = read(stage)
    assert len(readings) == 24 and not findings.errors
    assert note(findings, f"{PHOTOS}/phone").found == "one photograph in a folder within photos"


def test_what_is_called_a_picture_and_is_no_file_is_never_opened(stage: Path) -> None:
    (stage / "photos/folder.jpg").mkdir()
    (stage / "photos/link.jpg").symlink_to("nowhere")
    os.mkfifo(stage / "photos/pipe.jpg")
    readings, findings = read(stage)
    assert len(readings) == 24 and not findings.errors
    for name in ("folder", "link", "pipe"):
        assert note(findings, f"{PHOTOS}/{name}.jpg").would_do == "left out"


def test_long_names_are_told_apart(stage: Path) -> None:
    for k in range(3):
        (stage / f"photos/IMG_{k}.jpg").rename(stage / f"photos/{'x' * 80}{k}.jpg")
    readings, findings = read(stage)
    assert not list(findings) and len(by_picture(readings)) == 3


def test_a_name_that_is_no_utf_8_is_spelled_out(stage: Path) -> None:
    odd = stage / "photos" / os.fsdecode(b"IMG_\xff.jpg")
    (stage / "photos/IMG_2.jpg").rename(odd)
    taken(stage / "photos/wall.jpg", ())
    readings, findings = read(stage)
    assert "IMG_\\xff.jpg" in by_picture(readings)
    assert len(inputs_sha256(stage.parent, STAGE)) == 64
    odd.write_bytes(b"")
    _, findings = read(stage)
    findings.numbered().encode()
    assert note(findings, f"{PHOTOS}/IMG_\\xff.jpg").found == "an empty file"


def test_mirrored_pictures_are_told(stage: Path) -> None:
    for path in (stage / "photos").iterdir():
        ImageOps.mirror(Image.open(path)).save(path, quality=95)
    readings, findings = read(stage)
    (error,) = findings.errors
    assert not readings and "3 photographs, mirrored," in error.found and "switch off" in error.would_do
    assert "targets 0, 1, 2" in note(findings, f"{PHOTOS}/IMG_1.jpg").found


@pytest.mark.parametrize("side", ["8", "800"])
def test_a_side_that_does_not_fit_the_others(side: str, stage: Path) -> None:
    table = stage / "targets.csv"
    table.write_text(table.read_text().replace("3,p3,80", f"3,p3,{side}"))
    readings, findings = read(stage)
    assert by_picture(readings) == {f"IMG_{k}.jpg": [0, 1, 2, 4, 5, 6, 7] for k in range(3)}
    found = note(findings, f"{STAGE}/targets.csv")
    assert found.line == 5 and "target 3 at p3" in found.found
    told = re.search(r"about ([\d.]+) mm by the pictures", found.would_do)
    assert told is not None and float(told[1]) == pytest.approx(80.0, rel=0.03)


@pytest.mark.parametrize("side", ["8", "3.15"])
def test_sides_all_wrong_by_one_factor_are_for_a_bar_to_tell(side: str, stage: Path) -> None:
    table = stage / "targets.csv"
    table.write_text(table.read_text().replace(",80", f",{side}"))
    readings, findings = read(stage)
    assert len(readings) == 24 and not list(findings)


def test_two_sheets_of_one_number_that_no_picture_shows_together(stage: Path) -> None:
    for k, off in enumerate(PLACES):
        one = SHEETS[7] if k else replace(SHEETS[7], number=99)
        other = SHEETS[0] if k else replace(SHEETS[0], number=7)
        taken(stage / f"photos/IMG_{k}.jpg", [other, *SHEETS[1:7], one], off, seed=k)
    readings, findings = read(stage)
    assert not findings.errors and len(readings) > 15
    for r in readings:
        assert r.seen is not None and r.seen.number in r.seen.block.places


def test_a_turned_stage_with_the_same_pictures(stage: Path) -> None:
    shutil.copytree(stage / "photos", stage.parent / "turned/photos")
    of = job(names=[f"p{n}" for n in range(10)], folder=stage.parent)
    of = replace(of, stage_info={STAGE: StageInfo(turned="turned")})
    findings = Findings()
    read_stage(of, STAGE, findings)
    assert "3 photographs of 3 that turned holds too" in findings.errors[0].text()
    (stage.parent / "turned/photos/IMG_0.jpg").unlink()
    findings = Findings()
    assert len(read_stage(of, STAGE, findings)) == 24
    assert not findings.errors and "2 photographs of 3" in note(findings, PHOTOS).text()


def test_a_lonely_picture_is_named_and_left_out(stage: Path) -> None:
    others = [replace(s, number=s.number + 20, point=f"q{s.number}") for s in SHEETS[:5]]
    taken(stage / "photos/lonely.jpg", [SHEETS[0], SHEETS[7], *others])
    readings, findings = read(stage)
    assert not findings.errors and set(by_picture(readings)) == {f"IMG_{k}.jpg" for k in range(3)}
    assert "shares too few targets" in note(findings, f"{PHOTOS}/lonely.jpg").text()


def test_a_number_that_two_sheets_have_is_used_in_no_picture(stage: Path) -> None:
    for up, name in ((40.0, "twice.jpg"), (90.0, "again.jpg")):
        taken(stage / "photos" / name, [*SHEETS[:7], replace(SHEETS[7], number=2)], (40.0, up))
    readings, findings = read(stage)
    assert {n for numbers in by_picture(readings).values() for n in numbers} == {0, 1, 3, 4, 5, 6, 7}
    found = note(findings, f"{STAGE}/targets.csv")
    assert found.line == 4 and found.found == "target 2 at p2 seen more than once in again.jpg, twice.jpg"
    assert "used in no picture" in found.would_do and len(findings) == 1


def test_a_target_in_one_photograph_only_holds_nothing(stage: Path) -> None:
    listed(stage, "9,p9,80")
    taken(stage / "photos/more.jpg", [*SHEETS, replace(SHEETS[0], number=9, centre=np.array([0.0, 255.0, -170.0]))])
    readings, findings = read(stage)
    assert 9 not in by_picture(readings)["more.jpg"]
    assert "target 9 at p9 in this photograph only" in note(findings, f"{PHOTOS}/more.jpg").text()


def test_a_mirrored_print_is_not_seen(stage: Path) -> None:
    shutil.rmtree(stage / "photos")
    for k, off in enumerate(PLACES):
        taken(stage / f"photos/IMG_{k}.jpg", [*SHEETS[:7], mirrored(SHEETS[7])], off)
    readings, findings = read(stage)
    assert all(numbers == list(range(7)) for numbers in by_picture(readings).values())
    assert "no photograph shows it: p7" in note(findings, f"{STAGE}/targets.csv").text()


@pytest.mark.parametrize("text", [None, "target,point,side\n"])
def test_photographs_and_no_target_listed(text: str | None, stage: Path) -> None:
    (stage / "targets.csv").unlink()
    if text is not None:
        (stage / "targets.csv").write_text(text)
    readings, findings = read(stage)
    assert not readings
    assert any("3 photographs and no target listed" in error.text() for error in findings.errors)


def test_targets_listed_and_no_photograph(stage: Path) -> None:
    shutil.rmtree(stage / "photos")
    readings, findings = read(stage)
    assert not readings and not findings.errors and "no photograph" in note(findings, PHOTOS).text()


def test_two_phones_are_two_cameras(stage: Path) -> None:
    from tests.photo.shown import SMALL

    other = replace(SMALL, model="Phone Two", focal_35mm=None)
    show(SHEETS, camera=other, off=(80.0, 120.0), name="b.jpg").save(stage / "photos/b.jpg")
    readings, findings = read(stage)
    assert not findings.errors
    cameras = {r.via: r.seen.camera for r in readings if r.seen}
    assert cameras["IMG_0.jpg"] is cameras["IMG_2.jpg"] is not cameras["b.jpg"]
    assert cameras["b.jpg"].known == "nothing" and cameras["IMG_0.jpg"].known == "EXIF"


def test_progress_is_told(stage: Path) -> None:
    told: list[tuple[int, int]] = []
    of = job(names=[f"p{n}" for n in range(10)], folder=stage.parent)
    read_stage(of, STAGE, Findings(), lambda done, of: told.append((done, of)))
    assert told == [(1, 3), (2, 3), (3, 3)]


@pytest.mark.parametrize(("stated", "known"), [(1, "nothing"), (65535, "nothing"), (13, "EXIF"), (300, "EXIF")])
def test_an_absurd_focal_length_is_not_believed(stated: float, known: str, stage: Path) -> None:
    picture = open_picture(stage / "photos/IMG_0.jpg")
    assert camera_of(replace(picture, exif=replace(picture.exif, focal_35mm=stated)), {}).known == known
