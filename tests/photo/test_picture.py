"""Pictures opened: headers believed, values in the sensor's own frame, what cannot be used refused in words."""

from __future__ import annotations

import base64
import io
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from measure.photo.picture import MOST_PIXELS, Exif, PictureError, grey, open_picture, upright
from tests.photo.shown import Grey

RAMP: Grey = (np.add.outer(np.arange(40) * 2, np.arange(64) * 2) + 10).astype(np.uint8)


def saved(path: Path, values: Grey = RAMP, mode: str | None = None, **how: object) -> Path:
    image = Image.fromarray(values)
    (image.convert(mode) if mode else image).save(path, **how)  # type: ignore[arg-type]
    return path


def exif(**tags: object) -> Image.Exif:
    made = Image.Exif()
    inner = made.get_ifd(0x8769)
    names = {"make": 271, "model": 272, "orientation": 274, "taken": 306}
    inside = {"lens": 42036, "focal": 37386, "focal_35": 41989, "zoom": 41988}
    for name, value in tags.items():
        if name in names:
            made[names[name]] = value
        else:
            inner[inside[name]] = value
    return made


@pytest.mark.parametrize(
    ("name", "format", "off"), [("a.jpg", "JPEG", 3), ("a.png", "PNG", 0), ("a.tif", "TIFF", 0), ("a.JPG", "JPEG", 3)]
)
@pytest.mark.parametrize("mode", [None, "RGB"])
def test_the_usual_formats(name: str, format: str, off: int, mode: str | None, tmp_path: Path) -> None:
    picture = open_picture(saved(tmp_path / name, mode=mode))
    assert (picture.format, picture.width, picture.height) == (format, 64, 40)
    values = grey(picture)
    assert values.dtype == np.uint8 and values.flags.c_contiguous
    assert np.abs(values.astype(int) - RAMP).max() <= off + (mode == "RGB")


def test_the_ending_does_not_matter(tmp_path: Path) -> None:
    saved(tmp_path / "a.png").rename(tmp_path / "b.jpg")
    assert open_picture(tmp_path / "b.jpg").format == "PNG"


@pytest.mark.parametrize("name", ["a.png", "a.tif"])
def test_sixteen_bits_carry_the_same_curve(name: str, tmp_path: Path) -> None:
    Image.fromarray(RAMP.astype(np.uint16) * 257).save(tmp_path / name)
    assert np.array_equal(grey(open_picture(tmp_path / name)), RAMP)


@pytest.mark.parametrize(
    ("name", "orientation"),
    [("a.tif", 1), *((name, k) for name in ("a.jpg", "a.png") for k in range(1, 9))],
)
def test_exif_turns_nothing(name: str, orientation: int, tmp_path: Path) -> None:
    picture = open_picture(saved(tmp_path / name, exif=exif(orientation=orientation)))
    assert picture.exif.orientation == orientation and (picture.width, picture.height) == (64, 40)
    assert np.abs(grey(picture).astype(int) - RAMP).max() <= 3


@pytest.mark.parametrize("orientation", range(2, 9))
def test_a_tiff_that_wants_turning_is_refused_since_its_readers_turn_it(orientation: int, tmp_path: Path) -> None:
    path = saved(tmp_path / "a.tif", exif=exif(orientation=orientation))
    with pytest.raises(PictureError, match="wants turning"):
        open_picture(path)


@pytest.mark.parametrize(("orientation", "first"), [(1, (0, 0)), (3, (39, 63)), (6, (39, 0)), (8, (0, 63))])
def test_upright_is_what_a_person_sees(orientation: int, first: tuple[int, int]) -> None:
    """The standard's names: 6, the sensor's first row is the picture's right side; 8, its left."""
    turned = upright(RAMP, Exif(orientation=orientation))
    assert turned[0, 0] == RAMP[first] and turned.shape == ((64, 40) if orientation in (6, 8) else (40, 64))


RAMP_IN_HEIC = """
AAAAHGZ0eXBoZWljAAAAAG1pZjFoZWljbWlhZgAAAchtZXRhAAAAAAAAACFoZGxyAAAAAAAAAABwaWN0AAAAAAAAAAAAAAAAAAAAADRpbG9jAAAA
AERAAAIAAQAAAAAB7AABAAAAAAAAAF0AAgAAAAACSQABAAAAAAAAACQAAAA4aWluZgAAAAAAAgAAABVpbmZlAgAAAAABAABodmMxAAAAABVpbmZl
AgAAAQACAABFeGlmAAAAAA5waXRtAAAAAAABAAABB2lwcnAAAADmaXBjbwAAAHZodmNDAQNwAAAAkAAAAAAAHvAA/P34+AAADwNgAAEAGEABDAH/
/wNwAAADAJAAAAMAAAMAHroCQGEAAQAqQgEBA3AAAAMAkAAAAwAAAwAeoCCBBZbq5Ka5uAhoMCAAAAMDIAAAAwAhYgABAAZEAcFzwIkAAAATY29s
cm5jbHgAAQANAAaAAAAAFGlzcGUAAAAAAAAAQAAAAEAAAAAoY2xhcAAAAEAAAAABAAAAKAAAAAEAAAAAAAAAAv///+gAAAACAAAAEHBpeGkAAAAA
AwgICAAAAAlpcm90AwAAABlpcG1hAAAAAAAAAAEAAQaBAgMFhIYAAAAaaXJlZgAAAAAAAAAOY2RzYwACAAEAAQAAAIltZGF0AAAAWSgBrwng480h
/UF6YeyKqrAVvQZoveLfopzD8GyOLqhCZ28TftaRdovXGC0ncocoSh6yRKbIuBpXJDeFPdTuMkNw+rNSVSjH5MeiWlonV+mEOe3yM9fbZf/AAAAA
BkV4aWYAAE1NACoAAAAIAAEBEgADAAAAAQAGAAAAAAAA
"""
"""RAMP as HEIC (libheif, quality 60), EXIF orientation 6: what decodes it turns it upright."""


def test_heic_comes_in_the_sensors_frame(tmp_path: Path) -> None:
    (tmp_path / "a.heic").write_bytes(base64.b64decode(RAMP_IN_HEIC))
    picture = open_picture(tmp_path / "a.heic")
    assert (picture.format, picture.width, picture.height, picture.exif.orientation) == ("HEIF", 64, 40, 6)
    assert np.abs(grey(picture).astype(int) - RAMP).max() <= 4


def test_what_the_camera_says_of_itself(tmp_path: Path) -> None:
    said = exif(
        make="Invented", model="Phone\x00One\n", lens="back 5.4mm", focal=5.4, focal_35=26, zoom=1.0, orientation=6
    )
    found = open_picture(saved(tmp_path / "a.jpg", exif=said)).exif
    assert (found.make, found.lens, found.focal_mm, found.focal_35mm) == ("Invented", "back 5.4mm", 5.4, 26.0)
    assert found.orientation == 6 and found.digital_zoom == 1.0
    assert "\x00" not in found.model and "\n" not in found.model


def test_the_camera_key_tells_lenses_sizes_and_zooms_apart(tmp_path: Path) -> None:
    base = {"make": "Invented", "model": "One", "lens": "back", "focal": 5.4, "focal_35": 26}

    def key(values: Grey = RAMP, **changed: object) -> str:
        return open_picture(saved(tmp_path / "a.jpg", values, exif=exif(**(base | changed)))).camera_key

    first = key()
    assert first == "Invented, One, back, 5.4 mm, 26 mm in 35 mm, 64 x 40"
    assert key(zoom=1.0) == first and key(orientation=6) == first and key(taken="2026:01:01 00:00:00") == first
    others = [key(focal=2.2), key(focal_35=13), key(zoom=2.0), key(lens="wide"), key(RAMP[:, :60]), key(model="Two")]
    assert len({first, *others}) == 7


def test_no_exif_or_a_mad_one_says_nothing(tmp_path: Path) -> None:
    bare = open_picture(saved(tmp_path / "a.jpg"))
    assert bare.exif == Exif() and bare.camera_key == "64 x 40"
    mad = open_picture(saved(tmp_path / "b.jpg", exif=exif(orientation=99, focal=0.0, make="x" * 500)))
    assert mad.exif.orientation == 1 and mad.exif.focal_mm is None and len(mad.exif.make) <= 80
    data = (tmp_path / "a.jpg").read_bytes()
    broken = b"\xff\xe1\x00\x10Exif\0\0II*\0\xff\xff\xff\x7f"
    (tmp_path / "c.jpg").write_bytes(data[:2] + broken + data[2:])
    assert open_picture(tmp_path / "c.jpg").exif.make == ""


def test_content_is_told_by_its_sha256(tmp_path: Path) -> None:
    import hashlib

    path = saved(tmp_path / "a.png")
    assert open_picture(path).sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def png_of(width: int, height: int) -> bytes:
    """A PNG that says how large it is, and holds next to nothing."""
    made = b"\x89PNG\r\n\x1a\n"
    for name, data in ((b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)), (b"IDAT", zlib.compress(b""))):
        made += struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
    return made


def animated(form: str) -> bytes:
    out = io.BytesIO()
    frames = [Image.fromarray(RAMP), Image.fromarray(255 - RAMP)]
    frames[0].save(out, form, save_all=True, append_images=frames[1:])
    return out.getvalue()


def whole(form: str = "JPEG", mode: str = "L") -> bytes:
    out = io.BytesIO()
    rng = np.random.default_rng(1)
    Image.fromarray(rng.integers(0, 255, (200, 300), dtype=np.uint8)).convert(mode).save(out, form)
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"from,to,length\nfrontL,frontR,800\n", "text"),
        (b"\x00\x01\x02\x03" * 40, "no picture"),
        (b"\xff\xd8\xff", ""),
        (whole()[:300], ""),
        (whole()[:-4000], "cut off"),
        (whole("PNG")[:-4000], ""),
        (whole("TIFF")[:-4000], ""),
        (png_of(30_000, 30_000), "30000 x 30000|far too many"),
        (png_of(16_000, 14_000), "16000 x 14000"),
        (animated("GIF"), "GIF|2 pictures"),
        (animated("PNG"), "2 pictures"),
        (animated("TIFF"), "2 pictures"),
        (whole("BMP"), "BMP"),
        (whole(mode="CMYK"), "four-colour"),
        (b"\x00\x00\x00\x18ftypheic" + b"\x00" * 60, ""),
        (b"\x00\x00\x00\x18ftypmp42" + b"\x00" * 60, ""),
    ],
    ids=["empty", "text", "binary", "three bytes", "header", "cut jpeg", "cut png", "cut tiff", "30,000", "224 MP",
         "gif", "apng", "pages", "bmp", "cmyk", "broken heic", "film"],
)  # fmt: skip
def test_what_is_no_usable_picture_is_refused_in_words(data: bytes, words: str, tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(data)
    with pytest.raises(PictureError, match=words or None) as refused:
        grey(open_picture(path))
    assert refused.value.found and refused.value.would_do
    assert str(path) not in str(refused.value)


def test_a_picture_too_large_is_refused_before_it_is_decoded(tmp_path: Path) -> None:
    (tmp_path / "a.png").write_bytes(png_of(20_000, 11_001))
    with pytest.raises(PictureError, match=f"{MOST_PIXELS // 1_000_000} million"):
        open_picture(tmp_path / "a.png")


def test_a_jpeg_with_a_second_picture_behind_it_is_the_first(tmp_path: Path) -> None:
    """As phones write them: a depth map or a gain map follows (MPO)."""
    Image.fromarray(RAMP).save(tmp_path / "a.jpg", "MPO", save_all=True, append_images=[Image.fromarray(255 - RAMP)])
    picture = open_picture(tmp_path / "a.jpg")
    assert picture.format == "JPEG" and np.abs(grey(picture).astype(int) - RAMP).max() <= 3


def test_a_cut_jpeg_with_a_whole_preview_inside_is_still_cut(tmp_path: Path) -> None:
    small, data = whole(), whole()
    head = data[:2] + b"\xff\xe2" + struct.pack(">H", len(small) % 60_000 + 2) + small[: len(small) % 60_000]
    (tmp_path / "a.jpg").write_bytes((head + data[2:])[:-4000])
    with pytest.raises(PictureError, match="cut off"):
        grey(open_picture(tmp_path / "a.jpg"))


def test_a_png_cut_in_its_header_is_not_called_text(tmp_path: Path) -> None:
    (tmp_path / "a.png").write_bytes(png_of(40, 30)[:33])
    with pytest.raises(PictureError) as refused:
        open_picture(tmp_path / "a.png")
    assert "text" not in refused.value.found


def test_a_file_that_is_not_there_is_the_systems_word(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        open_picture(tmp_path / "none.jpg")
