"""What `plumbsquare camera` says: shop's words first, the figures second, the statistics last."""

from __future__ import annotations

from calib.camera_file import CameraFile
from measure.photo.lens import LENS

K95 = 1.96


def camera_lines(camera: CameraFile, weak: tuple[str, ...]) -> list[str]:
    """The lens in words and figures, one line each."""
    who = " ".join(filter(None, (camera.make, camera.model, camera.lens))) or "not named in the pictures"
    focal, focal_sd = camera.values[0], camera.sd[0]
    verdict = "This lens can be used." if not weak else "This lens can be used, but it is weaker than it could be."
    lines = [
        verdict,
        f"camera: {who}; pictures of {camera.width} x {camera.height} pixels",
        f"focal length {focal:.1f} ± {K95 * focal_sd:.1f} px (95 %, {100 * K95 * focal_sd / focal:.2f} %)",
        *(f"weak: {words}" for words in weak),
        "",
        f"{len(camera.pictures)} pictures, {sum(each.corners for each in camera.pictures)} corners, "
        f"{camera.sigma0:.3f} px (sd of one coordinate)",
        "parameter      value         sd",
    ]
    for name, value, sd in zip(LENS, camera.values, camera.sd, strict=True):
        digits = 2 if name in ("focal", "cx", "cy") else 5
        lines.append(f"{name:9} {value:10.{digits}f} {sd:10.{digits}f}")
    lines.append("picture                      corners  left out   rms px  edge px")
    for each in camera.pictures:
        lines.append(f"{each.name:28} {each.corners:7} {each.left_out:9} {each.rms:8.3f} {each.blur:8.2f}")
    return lines
