"""Photographs to verdicts: right within their uncertainty, and what is wrong with them is named."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from measure.acceptance import acceptance
from measure.check import check
from measure.findings import BadInput
from measure.photo.find import TargetImage
from measure.result import Document
from tests.synthetic import truth
from tests.walkrounds import WalkRound, walked


@pytest.fixture(scope="module")
def walk() -> WalkRound:
    return walked(11)


def fresh(walk: WalkRound) -> WalkRound:
    return WalkRound(walk.car, walk.scene, walk.shots, list(walk.found))


def judged(walk: WalkRound, folder: Path, **settings: object) -> Document:
    job = walk.write(folder, **settings)
    with walk.seen():
        return check(job)


def missed(doc: Document, walk: WalkRound) -> list[str]:
    """Checks off by 1.6 times their u95, which is three sd; the worst of several repeats others."""
    true = truth(walk.car)
    return [
        c.name for c in doc.checks
        if c.value is not None and c.u95 is not None and c.name in true and c.name != "rails.asymmetry"
        and abs(c.value - true[c.name]) > 1.6 * c.u95
    ]  # fmt: skip


def caution(doc: Document, words: str) -> bool:
    return any(words in c for c in doc.cautions)


def test_every_figure_is_within_its_uncertainty(walk: WalkRound, tmp_path: Path) -> None:
    doc = judged(walk, tmp_path / "car")
    assert not missed(doc, walk)
    verdicts = {c.name: c.verdict for c in doc.checks}
    assert verdicts["axle.rear.offset"] == "outside" and verdicts["pair.rail4.offset"] == "outside"
    assert verdicts["pair.rail1.offset"] == "within"
    assert not doc.plan_only and doc.tilt.roll is None  # in space, and nothing knows gravity
    axle = next(c for c in doc.checks if c.name == "axle.rear.offset")
    assert axle.u95 is not None and axle.u95 < 1.4  # the factory's scatter sets the floor
    assert doc.network.passed


def test_without_a_length_angles_are_judged_and_lengths_are_not(walk: WalkRound, tmp_path: Path) -> None:
    bare = WalkRound(walk.car, replace(walk.scene, bars=()), walk.shots, list(walk.found))
    doc = judged(bare, tmp_path / "car")
    limited = [c for c in doc.checks if c.limit is not None and c.value is not None]
    assert {c.verdict for c in limited if c.unit == "mm"} == {"undecided"}
    assert next(c for c in limited if c.name == "axle.rear.square").verdict == "outside"
    assert caution(doc, "No length was measured between targets")
    angles = [n for n in missed(doc, walk) if n.split(".")[-1] in ("square", "thrust", "toe", "camber", "yaw")]
    assert not angles


def test_one_bar_alone_is_cautioned_about(walk: WalkRound, tmp_path: Path) -> None:
    single = WalkRound(walk.car, replace(walk.scene, bars=walk.scene.bars[:1]), walk.shots, list(walk.found))
    assert caution(judged(single, tmp_path / "car"), "One length alone")


def test_a_bar_that_disagrees_is_a_suspect(walk: WalkRound, tmp_path: Path) -> None:
    views = Counter(t.number for p in walk.found for t in p.targets)
    number = numbers_of(walk)
    k = max(range(3), key=lambda i: min(views[number[end]] for end in (walk.scene.bars[i].a, walk.scene.bars[i].b)))
    bars = list(walk.scene.bars)
    bars[k] = replace(bars[k], written=bars[k].written + 4.0)
    spoilt = WalkRound(walk.car, replace(walk.scene, bars=tuple(bars)), walk.shots, list(walk.found))
    doc = judged(spoilt, tmp_path / "car")
    assert doc.suspects[0].source == f"tape.csv:{k + 2}" and doc.suspects[0].size == pytest.approx(4.0, abs=0.6)


def numbers_of(walk: WalkRound) -> dict[str, int]:
    return {sheet.point: sheet.number for sheet in walk.scene.sheets}


def test_a_misread_number_is_named_with_the_target_that_lies_there(walk: WalkRound, tmp_path: Path) -> None:
    spoilt = fresh(walk)
    picture = max(spoilt.found, key=lambda p: len(p.targets))
    a, b = picture.targets[0], picture.targets[1]

    def swap(name: str, image: TargetImage) -> TargetImage:
        if name != picture.picture.path.name or image.number not in (a.number, b.number):
            return image
        return replace(image, number=b.number if image.number == a.number else a.number)

    spoilt.spoil(swap)
    doc = judged(spoilt, tmp_path / "car")
    named = {s.source: s.hint for s in doc.suspects}
    for mine, other in ((a.number, b.number), (b.number, a.number)):
        hint = named[f"photos/{picture.picture.path.name}:{mine}"]
        assert f"it lies where target {other} should be" in hint
    assert not missed(doc, walk)


def test_a_target_that_moved_between_the_pictures_is_said_to_have(walk: WalkRound, tmp_path: Path) -> None:
    spoilt = fresh(walk)
    number = Counter(t.number for p in walk.found for t in p.targets).most_common(1)[0][0]
    showing = [p.picture.path.name for p in spoilt.found if any(t.number == number for t in p.targets)]
    late = set(showing[-3:])

    def move(name: str, image: TargetImage) -> TargetImage:
        if image.number != number or name not in late:
            return image
        shift = np.array([9.0, 4.0])
        corners = tuple((x + shift[0], y + shift[1]) for x, y in image.corners)
        return replace(image, centre=(image.centre[0] + 9.0, image.centre[1] + 4.0), corners=corners)

    spoilt.spoil(move)
    doc = judged(spoilt, tmp_path / "car")
    hints = [s.hint for s in doc.suspects if s.source.endswith(f":{number}")]
    assert len(hints) >= 2
    assert any(f"target {number} moved between the first and the last pictures" in hint for hint in hints)


def test_one_bad_image_is_found_and_its_size_is_in_pixels(walk: WalkRound, tmp_path: Path) -> None:
    spoilt = fresh(walk)
    target = spoilt.found[5].targets[3]
    name = spoilt.found[5].picture.path.name

    def knock(picture: str, image: TargetImage) -> TargetImage:
        if picture != name or image.number != target.number:
            return image
        return replace(image, centre=(image.centre[0] + 3.1, image.centre[1]))

    spoilt.spoil(knock)
    doc = judged(spoilt, tmp_path / "car")
    assert doc.suspects[0].source == f"photos/{name}:{target.number}"
    assert f"target {target.number} in {name} is 3." in doc.suspects[0].hint


def test_sheets_that_stand_off_their_points(tmp_path: Path) -> None:
    off = walked(21, standoff={"rail2L": 12.0, "rail2R": 12.0, "crossbarL": -6.0})
    doc = judged(off, tmp_path / "car")
    assert not missed(doc, off)
    width = next(c for c in doc.checks if c.name == "pair.rail2.width")
    assert abs(width.value - truth(off.car)["pair.rail2.width"]) < 0.4  # type: ignore[operator]


@pytest.mark.parametrize(("focal", "exif"), [(1.0, False), (0.6, False), (1.4, False), (0.92, True)])
def test_the_lens_is_solved_from_the_pictures(focal: float, exif: bool, tmp_path: Path) -> None:
    other = walked(31, focal=focal, exif=exif, noise=0.03, pictures=20)
    doc = judged(other, tmp_path / "car")
    assert not missed(doc, other)
    assert not doc.pieces


def test_tape_heights_and_photographs_in_one_stage(walk: WalkRound, tmp_path: Path) -> None:
    job = walk.write(tmp_path / "car")
    at = dict(zip(walk.car.names, walk.car.points, strict=True)) if hasattr(walk.car, "points") else walk.scene.points
    a, b = np.asarray(at["rail1L"]), np.asarray(at["rail3R"])
    with (job / "before" / "tape.csv").open("a") as table:
        table.write(f"rail1L,rail3R,{np.linalg.norm(a - b) + 12.0:.2f},car,\n")
    (job / "before" / "heights.csv").write_text(
        "point,height\n" + "".join(f"{n},{np.asarray(at[n])[2] + 500.0:.2f}\n" for n in ("rail1L", "rail1R", "rail3L"))
    )
    with walk.seen():
        doc = check(job)
    assert any(s.kind == "car" and s.size == pytest.approx(12.0, abs=2.0) for s in doc.suspects)
    assert doc.tilt.roll is not None and abs(doc.tilt.roll) < 0.5
    assert not missed(doc, walk)


def test_a_point_seen_once_is_named_and_left_out(walk: WalkRound, tmp_path: Path) -> None:
    spoilt = fresh(walk)
    number = numbers_of(walk)["rail3L"]
    first = next(p.picture.path.name for p in spoilt.found if any(t.number == number for t in p.targets))
    spoilt.spoil(lambda name, image: None if image.number == number and name != first else image)
    doc = judged(spoilt, tmp_path / "car")
    assert any(f"target {number} at rail3L in this photograph only" in note and first in note for note in doc.notes)
    assert next(p for p in doc.points if p.name == "rail3L").x is None


def test_one_picture_only_ends_in_words(walk: WalkRound, tmp_path: Path) -> None:
    alone = WalkRound(walk.car, walk.scene, walk.shots[:1], walk.found[:1])
    with pytest.raises(BadInput, match="share three targets"):
        judged(alone, tmp_path / "car")


def test_acceptance_passes_true_bars_and_fails_a_wrong_scale(tmp_path: Path) -> None:
    many = walked(41, bars=4)
    job = many.write(tmp_path / "car")
    with many.seen():
        result = acceptance(job)
    assert result.verdict == "too few" and len(result.lengths) >= 2
    assert max(abs(t.error) / t.u95 for t in result.lengths) < 1.3
    wrong = replace(many.scene, bars=(replace(many.scene.bars[0], written=many.scene.bars[0].written * 1.002),
                                      *many.scene.bars[1:]))  # fmt: skip
    job = WalkRound(many.car, wrong, many.shots, many.found).write(tmp_path / "wrong")
    with many.seen():
        result = acceptance(job)
    assert result.largest > 3.0


def test_the_same_pictures_give_the_same_bytes(walk: WalkRound, tmp_path: Path) -> None:
    from measure.result import as_json

    job = walk.write(tmp_path / "car")
    with walk.seen():
        one, other = as_json(check(job)), as_json(check(job))
    assert one == other
