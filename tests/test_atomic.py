import os
from pathlib import Path

import pytest

from measure.atomic import OLD, part_beside, sweep, write_atomically

on_posix = pytest.mark.skipif(os.name == "nt", reason="permissions and links of POSIX")


def test_a_new_file_and_a_replaced_one(tmp_path):
    path = tmp_path / "job.toml"
    write_atomically(path, b"one")
    assert path.read_bytes() == b"one"
    write_atomically(path, b"two")
    assert path.read_bytes() == b"two"
    assert list(tmp_path.iterdir()) == [path]


@on_posix
def test_permissions_are_kept_and_a_link_is_followed(tmp_path):
    path, link = tmp_path / "real.toml", tmp_path / "link.toml"
    path.write_bytes(b"one")
    path.chmod(0o640)
    link.symlink_to(path)
    write_atomically(link, b"two")
    assert link.is_symlink() and path.read_bytes() == b"two"
    assert path.stat().st_mode & 0o777 == 0o640


@on_posix
def test_a_new_file_has_the_permissions_of_any_new_file(tmp_path):
    write_atomically(tmp_path / "ours", b"")
    (tmp_path / "theirs").write_bytes(b"")
    assert (tmp_path / "ours").stat().st_mode == (tmp_path / "theirs").stat().st_mode


def test_a_failure_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    path = tmp_path / "job.toml"
    path.write_bytes(b"one")

    def full_disk(handle: int) -> None:
        raise OSError("no space left")

    monkeypatch.setattr(os, "fsync", full_disk)
    with pytest.raises(OSError, match="no space"):
        write_atomically(path, b"two")
    assert path.read_bytes() == b"one"
    assert list(tmp_path.iterdir()) == [path]


def test_no_folder(tmp_path):
    with pytest.raises(OSError):
        write_atomically(Path(tmp_path / "nowhere" / "job.toml"), b"one")


@pytest.mark.parametrize(("age", "stays"), [(OLD - 1.0, True), (OLD + 1.0, False)])
def test_a_part_that_a_killed_process_left_is_removed_when_nobody_can_be_writing_it(tmp_path, age, stays):
    part = part_beside(tmp_path / "job.toml")
    part.write_bytes(b"half")
    sweep(tmp_path, now=part.stat().st_mtime + age)
    assert part.exists() == stays


def test_there_is_nothing_to_remove_in_a_folder_that_has_gone(tmp_path):
    sweep(tmp_path / "nowhere")
