"""The maker of photographs against sums that share nothing with it: areas and centroids by Green's formula."""

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image as Pillow

from measure.photo.code import code_cells
from measure.photo.picture import open_picture
from tests import make_photo_car
from tests.synthetic.photos import (
    Camera,
    Look,
    Pipe,
    Scene,
    Sheet,
    Shot,
    aimed,
    facing,
    jpeg,
    make_scene,
    observe,
    phone_lens,
    photo_car,
    render,
    sights,
    walk_round,
    write_photo_job,
)
from tests.synthetic.photos.observe import as_picture
from tests.synthetic.photos.pattern import patch
from tests.synthetic.photos.render import light_of
from tests.synthetic.photos.sensor import blurred

Array = NDArray[np.float64]
PLAIN = {"k1": 0.0, "k2": 0.0, "k3": 0.0, "p1": 0.0, "p2": 0.0, "aspect": 0.0}
EXACT = Look(blur_px=0.0, electrons=0.0, curve="linear")


def straight_on(lens: Array, turn: Array, centre: Array, side: float = 80.0, number: int = 7) -> tuple[Sheet, Shot]:
    """A sheet before a camera at the origin that looks along x, its right along -y."""
    shot = aimed("a.jpg", Camera(lens, 400, 300), np.zeros(3), np.array([1.0, 0.0, 0.0]))
    return Sheet(number, "p", centre, turn, side), shot


def ink_moments(sheet: Sheet, shot: Shot) -> tuple[float, Array]:
    """Area and centroid in pixels of all black cells, each outline finely divided and projected (Green)."""
    area, first = 0.0, np.zeros(2)
    edge = np.linspace(0.0, 1.0, 12, endpoint=False)
    outline = np.concatenate([
        np.column_stack([edge, 0 * edge]), np.column_stack([1 + 0 * edge, edge]),
        np.column_stack([1 - edge, 1 + 0 * edge]), np.column_stack([0 * edge, 1 - edge]),
    ])  # fmt: skip
    for row, column in np.argwhere(code_cells(sheet.number)):
        at = (np.array([column, 7 - row]) + outline) / 8.0 - 0.5
        x, y = shot.pixels(sheet.at(at)).T
        cross = x * np.roll(y, -1) - y * np.roll(x, -1)
        sign = np.sign(cross.sum())
        area += sign * cross.sum() / 2
        first += sign * np.array([((x + np.roll(x, -1)) * cross).sum(), ((y + np.roll(y, -1)) * cross).sum()]) / 6
    return area, first / area


def drawn_moments(ink: Array, top: int, left: int) -> tuple[float, Array]:
    rows, columns = np.indices(ink.shape)
    mass = ink.sum()
    return float(mass), np.array([(ink * columns).sum() / mass + left, (ink * rows).sum() / mass + top])


@pytest.mark.parametrize("shift", [0.0, 0.1, 0.37, 0.5, 0.83])
def test_an_upright_edge_covers_the_share_it_should(shift: float) -> None:
    """One pixel a mm: the left edge of the black square lies at a known place between two pixels' middles."""
    lens = phone_lens(400, 300, focal=1000.0, cx=200.0, cy=150.0, **PLAIN)
    sheet, shot = straight_on(lens, facing((-1.0, 0.0, 0.0)), np.array([1000.0, -shift, 0.0]))
    drawn = patch(sheet, shot)
    assert drawn is not None
    # Edge at 200 + shift - 40; the pixel whose middle is 160 reaches from 159.5 to 160.5.
    column = 160 - drawn.left
    row = 150 - drawn.top
    for k, covered in enumerate((0.0, max(0.5 - shift, 0.0), min(1.5 - shift, 1.0), 1.0)):
        assert drawn.ink[row, column - 1 + k] == pytest.approx(covered, abs=1e-9)
        assert drawn.paper[row, column - 21 + k] == pytest.approx(covered, abs=1e-9)  # the paper's own edge


def test_area_and_centroid_of_the_ink_under_slant_and_distortion() -> None:
    """Any slant, spin and place, with the phone's distortion twice over: centroid within 0.001 px."""
    rng = np.random.default_rng(1)
    lens = phone_lens(400, 300, focal=330.0, k1=0.15, k2=-0.3, p1=0.002, p2=-0.001)
    for number in range(12):
        normal = np.array([-1.0, *rng.uniform(-1.0, 1.0, 2)])
        place = np.array([rng.uniform(220.0, 400.0), *rng.uniform(-50.0, 50.0, 2)])
        sheet, shot = straight_on(lens, facing(normal, rng.uniform(-180, 180)), place, number=number)
        drawn = patch(sheet, shot)
        assert drawn is not None
        area, centroid = ink_moments(sheet, shot)
        got_area, got = drawn_moments(drawn.ink, drawn.top, drawn.left)
        assert got_area == pytest.approx(area, rel=1e-5)
        assert got == pytest.approx(centroid, abs=0.001)


def test_a_small_slanted_sheet_is_sampled_as_well() -> None:
    """Under three pixels a cell the pattern changes more than once within a pixel."""
    lens = phone_lens(400, 300, focal=330.0)
    sheet, shot = straight_on(lens, facing((-0.45, 0.7, 0.2), 33.0), np.array([900.0, 31.0, -52.0]))
    drawn = patch(sheet, shot)
    assert drawn is not None
    area, centroid = ink_moments(sheet, shot)
    got_area, got = drawn_moments(drawn.ink, drawn.top, drawn.left)
    assert got_area == pytest.approx(area, rel=1e-5)
    assert got == pytest.approx(centroid, abs=0.002)


def test_a_print_in_a_mirror() -> None:
    lens = phone_lens(400, 300, focal=330.0)
    turn = facing((-1.0, 0.0, 0.0))
    sheet, shot = straight_on(lens, turn, np.array([300.0, 0.0, 0.0]))
    mirrored = replace(sheet, turn=turn * [-1.0, 1.0, 1.0])
    plain, other = patch(sheet, shot), patch(mirrored, shot)
    assert plain is not None and other is not None
    assert other.ink.min() > -1e-12
    assert other.ink.sum() == pytest.approx(plain.ink.sum(), rel=1e-3)
    assert np.abs(other.ink - plain.ink).max() == pytest.approx(1.0)


@pytest.mark.parametrize("look", [
    replace(EXACT, blur_px=0.4), replace(EXACT, blur_px=1.8), replace(EXACT, motion_px=4.3, motion_deg=28.0),
])  # fmt: skip
def test_blur_and_movement_move_nothing(look: Look) -> None:
    lens = phone_lens(400, 300, focal=330.0)
    sheet, shot = straight_on(lens, facing((-1.0, 0.3, -0.4), 20.0), np.array([220.0, 13.0, -9.0]))
    light, _ = light_of(Scene((sheet,)), shot, look, np.random.default_rng(1), plain=look.paper)
    ink = look.paper - blurred(light, look).astype(float)
    assert drawn_moments(ink, 0, 0)[1] == pytest.approx(ink_moments(sheet, shot)[1], abs=0.002)


def test_exact_places_are_those_of_the_lens() -> None:
    lens = phone_lens(400, 300, focal=330.0)
    sheet, shot = straight_on(lens, facing((-1.0, 0.0, 0.0)), np.array([300.0, 20.0, 10.0]))
    (sight,) = sights(Scene((sheet,)), shot)
    assert sight.centre == pytest.approx(shot.pixels(sheet.centre[None])[0])
    top_left, top_right, bottom_right, bottom_left = sight.corners
    assert top_left[0] < top_right[0] and top_left[1] < bottom_left[1]  # clockwise from the printed top left
    assert bottom_right[0] > bottom_left[0]
    assert sight.facing == pytest.approx(300.0 / np.linalg.norm([300.0, 20.0, 10.0]))


@pytest.mark.parametrize(("orientation", "down"), [(1, (0.0, 1.0)), (6, (1.0, 0.0)), (8, (-1.0, 0.0))])
def test_turned_upright_a_picture_has_its_below_below(orientation: int, down: tuple[float, float]) -> None:
    """EXIF 6: row 0 of the file is the right side of what is shown; 8: the left."""
    shot = aimed("a.jpg", Camera(), np.zeros(3), np.array([1000.0, 0.0, 0.0]), 0.0, orientation)
    above, below = shot.pixels(np.array([(1000.0, 0.0, 1.0), (1000.0, 0.0, -1.0)]))
    assert (below - above) / np.linalg.norm(below - above) == pytest.approx(down, abs=1e-3)
    assert np.linalg.det(shot.R) == pytest.approx(1.0)


def test_noise_has_the_sd_it_is_named_for() -> None:
    """Shot noise of n electrons is root n; both are light over full white."""
    shot = aimed("a.jpg", Camera(phone_lens(400, 300), 400, 300), np.zeros(3), np.array([1.0, 0.0, 0.0]))
    look = Look(electrons=2500.0, read_noise=10.0, curve="linear")
    grey = render(Scene(()), shot, look, 3, plain=0.4).grey / 255.0
    assert grey.mean() == pytest.approx(0.4, abs=5e-4)
    step = 1 / 255.0 / np.sqrt(12.0)
    assert grey.std() == pytest.approx(np.sqrt(0.4 / 2500.0 + (10.0 / 2500.0) ** 2 + step**2), rel=0.01)


def test_what_hides_a_sheet_is_drawn_where_it_hides() -> None:
    """A pipe changes the light on a sheet exactly where that sheet is not wholly clear."""
    lens = phone_lens(400, 300, focal=330.0)
    sheet, shot = straight_on(lens, facing((-1.0, 0.0, 0.0)), np.array([300.0, 0.0, 0.0]))
    before = Pipe("before", np.array([200.0, 200.0, 8.0]), np.array([220.0, -200.0, 14.0]), 4.0)
    behind = Pipe("behind", np.array([400.0, 200.0, 8.0]), np.array([420.0, -200.0, 14.0]), 4.0)
    alone, _ = light_of(Scene((sheet,)), shot, EXACT, np.random.default_rng(1), plain=0.2)
    drawn = patch(sheet, shot)
    assert drawn is not None
    window = np.s_[drawn.top : drawn.top + drawn.paper.shape[0], drawn.left : drawn.left + drawn.paper.shape[1]]
    for pipe, is_clear in ((before, False), (behind, True)):
        scene = Scene((sheet,), pipes=(pipe,))
        light, _ = light_of(scene, shot, EXACT, np.random.default_rng(1), plain=0.2)
        changed = np.abs(light - alone)[window][drawn.paper == 1.0].max() > 0.0
        assert bool(changed) is not is_clear
        assert (sights(scene, shot)[0].clear == 1.0) is is_clear
        assert len(observe(scene, [shot], 0.0, np.random.default_rng(1))[0].targets) == is_clear


def test_a_walk_round_sees_every_sheet_often_and_holds_the_phone_both_ways() -> None:
    rng = np.random.default_rng(2)
    scene = make_scene(photo_car(rng), rng)
    shots = walk_round(scene, Camera(), 20, rng)
    found = observe(scene, shots, 0.02, rng)
    count = {sheet.number: sum(t.number == sheet.number for f in found for t in f.targets) for sheet in scene.sheets}
    assert min(count.values()) >= 2
    assert {shot.orientation for shot in shots} == {1, 6, 8}
    assert min(len(f.targets) for f in found) >= 6
    again = observe(scene, shots, 0.02, np.random.default_rng(5))
    exact = observe(scene, shots, 0.0, np.random.default_rng(5))
    off = [np.subtract(a.centre, b.centre) for f, g in zip(again, exact, strict=True)
           for a, b in zip(f.targets, g.targets, strict=True)]  # fmt: skip
    assert np.std(off) == pytest.approx(0.02, rel=0.1)


def test_the_point_lies_the_standoff_before_the_paper() -> None:
    rng = np.random.default_rng(3)
    car = photo_car(rng)
    scene = make_scene(car, rng, standoff={"tailL": -6.0})
    sheet = next(s for s in scene.sheets if s.point == "tailL")
    assert sheet.centre + sheet.standoff * sheet.normal == pytest.approx(car.where("tailL"))
    assert (sheet.centre - car.where("tailL")) @ sheet.normal == pytest.approx(6.0)


def test_sheets_lie_flat_on_the_axle_faces_and_do_not_overlap() -> None:
    rng = np.random.default_rng(4)
    car = photo_car(rng, toe_deg=(0.3, -0.2), camber_deg=(1.0, -1.0), axle_yaw_deg=0.5)
    scene = make_scene(car, rng)
    for side, outward in (("L", 1.0), ("R", -1.0)):
        sheets = [s for s in scene.sheets if s.point.startswith("face") and s.point.endswith(side)]
        assert len(sheets) == 3
        for a in sheets:
            assert a.side == 50.0
            assert a.normal[1] * outward > 0.99
            apart = [b.centre - a.centre for b in sheets if b is not a]
            assert max(abs(gap @ a.normal) for gap in apart) < 1e-9
            assert min(float(np.linalg.norm(gap)) for gap in apart) > 1.5 * np.sqrt(2.0) * 50.0


def test_a_picture_says_what_took_it_and_keeps_its_grey(tmp_path: Path) -> None:
    lens = phone_lens(400, 300, focal=330.0)
    sheet, shot = straight_on(lens, facing((-1.0, 0.0, 0.0)), np.array([300.0, 0.0, 0.0]))
    shot = replace(shot, orientation=6)
    made = render(Scene((sheet,)), shot, Look(), 1, plain=0.2)
    with Pillow.open(io.BytesIO(jpeg(made, shot, 95))) as picture:
        assert picture.size == (400, 300)
        exif = picture.getexif()
        assert (exif[0x010F], exif[0x0110], exif[0x0112]) == ("Invented", "Phone One", 6)
        inner = exif.get_ifd(0x8769)
        assert (float(inner[0x920A]), inner[0xA405]) == (5.4, 26)
        kept = np.asarray(picture.convert("L"), dtype=float)
    assert np.sqrt(np.mean((kept - made.grey) ** 2)) < 3.0
    path = tmp_path / shot.name
    path.write_bytes(jpeg(made, shot, 95))
    assert open_picture(path).camera_key == as_picture(shot, tmp_path).camera_key


def test_a_job_of_photographs_is_the_same_every_time(tmp_path: Path) -> None:
    made = []
    for name in ("one", "two"):
        rng = np.random.default_rng(6)
        scene = make_scene(photo_car(rng), rng, bars=2)
        camera = Camera(phone_lens(1600, 1200), 1600, 1200)
        shots = walk_round(scene, camera, 2, rng, start_deg=70.0, sweep_deg=30.0)
        folder = write_photo_job(tmp_path / name, scene, shots, Look(), seed=9)
        made.append({p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*.*")})
    assert made[0] == made[1]
    assert sorted(made[0]) == ["before/photos/IMG_0001.jpg", "before/photos/IMG_0002.jpg", "before/tape.csv",
                               "before/targets.csv", "job.toml", "points.csv"]  # fmt: skip
    tape = made[0]["before/tape.csv"].decode().splitlines()
    assert len(tape) == 3 and tape[1].endswith(",bar,0.05")


def test_the_photo_car_in_the_tree_is_what_its_script_makes(tmp_path: Path) -> None:
    """Tables to the byte; a picture up to what another release of the libraries may round differently."""
    make_photo_car.main(tmp_path, pictures=False)
    tables = [path.relative_to(tmp_path) for path in tmp_path.rglob("*.*")]
    assert len(tables) == 5
    for name in tables:
        kept = (make_photo_car.PHOTO_CAR / name).read_bytes()
        assert (tmp_path / name).read_bytes() == kept, f"{name}: run python -m tests.make_photo_car"
    scene, shots = make_photo_car.photo_scene()
    photos = make_photo_car.PHOTO_CAR / "before" / "photos"
    assert sorted(path.name for path in photos.iterdir()) == [shot.name for shot in shots]
    assert sum(path.stat().st_size for path in photos.iterdir()) < 10e6
    made = render(scene, shots[4], make_photo_car.looks()[4], make_photo_car.SEED + 14)
    with Pillow.open(photos / shots[4].name) as picture:
        kept_grey = np.asarray(picture.convert("L"), dtype=float)
    assert np.sqrt(np.mean((kept_grey - made.grey) ** 2)) < 4.0
