"""Files are replaced at one stroke or not at all."""

import os
import resource
from contextlib import contextmanager

import pytest

from meltdoe.errors import ProblemsFound
from meltdoe.files.disk.lock import locked
from meltdoe.files.disk.safe_write import append_bytes, remove_leftovers, write_file


def names(folder):
    return sorted(path.name for path in folder.iterdir())


@contextmanager
def largest_file(size):
    """No file may grow past `size`, as on a full disk."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_file_is_written_and_replaced(tmp_path):
    path = tmp_path / "plan.csv"
    write_file(path, "Müll °C\n")
    assert path.read_bytes() == "Müll °C\n".encode()
    path.chmod(0o640)
    write_file(path, b"new")
    assert path.read_bytes() == b"new"
    assert path.stat().st_mode & 0o777 == 0o640
    assert names(tmp_path) == ["plan.csv"]


def test_a_full_disk_leaves_the_old_file_and_nothing_else(tmp_path):
    path = tmp_path / "log.csv"
    write_file(path, b"old")
    with largest_file(4096), pytest.raises(ProblemsFound, match="make room on the disk") as found:
        write_file(path, b"x" * 10_000)
    assert len(found.value.problems) == 1
    assert path.read_bytes() == b"old"
    assert names(tmp_path) == ["log.csv"]


def test_a_line_that_does_not_fit_is_not_appended_at_all(tmp_path):
    path = tmp_path / "journal.jsonl"
    append_bytes(path, b"a" * 4000)
    with largest_file(4096), pytest.raises(ProblemsFound, match="make room on the disk"):
        append_bytes(path, b"b" * 1000)
    assert path.read_bytes() == b"a" * 4000
    append_bytes(path, b"c")
    assert path.read_bytes() == b"a" * 4000 + b"c"


def test_a_file_that_may_not_be_written_is_said_in_one_line(tmp_path, monkeypatch):
    def refused(handle):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "fsync", refused)
    for write in (write_file, append_bytes):
        with pytest.raises(ProblemsFound) as found:
            write(tmp_path / "log.csv", b"x")
        assert "\n" not in str(found.value)
        assert "close the file in other programs" in str(found.value)
    assert all(not path.read_bytes() for path in tmp_path.iterdir())


def test_a_folder_that_is_missing_is_named(tmp_path):
    with pytest.raises(ProblemsFound, match="make the folder"):
        write_file(tmp_path / "nowhere" / "log.csv", b"x")


def test_a_link_is_followed(tmp_path):
    real = tmp_path / "elsewhere.csv"
    real.write_bytes(b"old")
    (tmp_path / "log.csv").symlink_to(real)
    write_file(tmp_path / "log.csv", b"new")
    assert (tmp_path / "log.csv").is_symlink()
    assert real.read_bytes() == b"new"


def test_leftovers_of_a_killed_process_are_cleared_away(tmp_path):
    (tmp_path / ".log.csv.0123456789ab.part").write_bytes(b"half")
    (tmp_path / ".plan.csv.0123456789ab.part").write_bytes(b"half")
    remove_leftovers(tmp_path / "log.csv")
    assert names(tmp_path) == [".plan.csv.0123456789ab.part"]


def test_a_lock_is_kept_from_others_and_given_back(tmp_path):
    with locked(tmp_path), pytest.raises(ProblemsFound, match="another process holds it"), locked(tmp_path, seconds=0):
        pass
    with locked(tmp_path, seconds=0):
        pass


def test_a_folder_that_cannot_be_locked_is_a_problem(tmp_path):
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(ProblemsFound, match="cannot be locked"), locked(tmp_path / "file"):
        pass
