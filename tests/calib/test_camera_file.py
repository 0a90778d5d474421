"""camera.toml: what is written is what is read; what is broken is told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from calib.camera_file import CalibratedOn, CameraFile, as_toml, read_camera_file
from measure.findings import Findings


def a_camera() -> CameraFile:
    rng = np.random.default_rng(2)
    A = rng.normal(size=(9, 30))
    C = A @ A.T
    sd = np.sqrt(np.diag(C))
    return CameraFile(
        "Acme|Nine|Wide 24 mm", "Acme", 'Nine "S"', "Wide 24 mm", 6.8, 4000, 3000,
        np.array([3000.1, 0.0002, 1999.5, 1499.5, 0.1, -0.2, 1e-4, -1e-4, 0.05]), sd * 1e-3, C / np.outer(sd, sd),
        0.0712, "chessboard 9x6",
        (CalibratedOn("IMG_1.JPG", 54, 0, 0.09, 1.1), CalibratedOn("IMG_2.JPG", 50, 4, 0.1, 1.3)),
    )  # fmt: skip


def written(tmp_path: Path, text: str | None = None) -> Path:
    path = tmp_path / "camera.toml"
    path.write_bytes(as_toml(a_camera()) if text is None else text.encode())
    return path


def test_there_and_back(tmp_path: Path) -> None:
    findings = Findings()
    back = read_camera_file(written(tmp_path), findings)
    assert back is not None and len(findings) == 0
    camera = a_camera()
    np.testing.assert_array_equal(back.values, camera.values)
    np.testing.assert_array_equal(back.sd, camera.sd)
    np.testing.assert_array_equal(back.correlation, camera.correlation)
    assert np.all(np.linalg.eigvalsh(back.covariance) > 0)
    for name in ("key", "make", "model", "lens", "focal_mm", "width", "height", "sigma0", "board", "pictures"):
        assert getattr(back, name) == getattr(camera, name), name
    assert as_toml(back) == as_toml(camera)


def test_errors_elsewhere_are_no_errors_of_this_file(tmp_path: Path) -> None:
    findings = Findings()
    findings.error("tape.csv", 1, "length", "x", "write a length")
    assert read_camera_file(written(tmp_path), findings) is not None


def test_no_focal_length_in_the_exif(tmp_path: Path) -> None:
    from dataclasses import replace

    path = tmp_path / "camera.toml"
    path.write_bytes(as_toml(replace(a_camera(), focal_mm=None, make="")))
    back = read_camera_file(path, Findings())
    assert back is not None and back.focal_mm is None and back.make == ""


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("lens_model = ", "lens_model = 7 # ", "lens_model"),
        ("focal = 3000.1", "focal = -3000.1", "positive"),
        ("focal = 3000.1", 'focal = "long"', "values.focal"),
        ("focal = 3000.1", "", "values.focal"),
        ("focal = 3000.1", "focal = nan", "values.focal"),
        ("focal = 3000.1", "focal = = 1", "no TOML"),
        ("[values]", "[value]", "key values"),
        ("width = 4000", "width = -4", "camera.width"),
        ("key = ", "kee = ", "camera.key"),
        ('"p1", "p2"', '"p2", "p1"', "correlation"),
    ],
)
def test_what_is_broken_is_told(tmp_path: Path, old: str, new: str, told: str) -> None:
    text = as_toml(a_camera()).decode()
    assert old in text
    findings = Findings()
    assert read_camera_file(written(tmp_path, text.replace(old, new, 1)), findings) is None
    assert findings.errors and told in findings.numbered()


def test_a_matrix_that_is_none(tmp_path: Path) -> None:
    camera = a_camera()
    findings = Findings()
    bad = camera.correlation.copy()
    bad[0, 1] = bad[1, 0] = 1.5
    path = tmp_path / "camera.toml"
    path.write_bytes(as_toml(CameraFile(**{**vars(camera), "correlation": bad})))
    assert read_camera_file(path, findings) is None
    assert "correlation" in findings.numbered()


def test_no_file_and_no_text(tmp_path: Path) -> None:
    for data in (None, b"", b"\x89PNG\r\n", bytes(range(256))):
        findings = Findings()
        if data is not None:
            (tmp_path / "camera.toml").write_bytes(data)
        assert read_camera_file(tmp_path / "camera.toml", findings) is None
        assert findings.errors
