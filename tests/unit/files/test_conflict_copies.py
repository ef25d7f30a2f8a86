"""Second copies that a synchronised drive leaves are named, and nothing else is."""

import pytest
from bench_series import SPILLED, bench_series, settings, snapshot

from meltdoe.files.disk.conflict_copies import conflict_copies
from meltdoe.files.store.recording import record_melt

COPIES = [
    "log (1).csv",
    "log (conflicted copy 2026-11-25).csv",
    "log (Workshop's conflicted copy 2026-11-25).csv",
    "log(2).csv",
    "log-DESKTOP.csv",
    "log-Workshop-PC.csv",
    "journal (2).jsonl",
    "journal.sync-conflict-20261125-101500-ABCDEFG.jsonl",
    "Copy of log.csv",
    "log - Copy.csv",
    "log 2.csv",
    "log_conflict-2.csv",
    "plan (1).csv",
    "series (1).toml",
    "log ($(x)).csv",
]
OWN = [
    "log.csv",
    "plan.csv",
    "series.toml",
    "journal.jsonl",
    "log-set-aside-20261125-101500.csv",
    "old-notes.csv",
    "logs.csv",
    "log-notes.csv",
    "log.txt",
    "journal.jsonl.before-format-1",
    "plan-for-spring.csv",
    "catalog (1).csv",
    "log (1).txt",
]


@pytest.mark.parametrize("name", COPIES)
def test_a_second_copy_is_named_with_what_to_do(tmp_path, name):
    (tmp_path / name).write_bytes(b"never read")
    before = snapshot(tmp_path)
    (problem,) = conflict_copies(tmp_path)
    assert problem.file == name
    assert "second copy of" in problem.what
    assert "move" in problem.mend
    assert "$(" not in problem.mend
    assert snapshot(tmp_path) == before


def test_what_is_no_second_copy_is_left_alone(tmp_path):
    for name in OWN:
        (tmp_path / name).write_bytes(b"")
    assert conflict_copies(tmp_path) == ()


def test_many_copies_are_counted(tmp_path):
    for i in range(30):
        (tmp_path / f"log ({i}).csv").write_bytes(b"")
    found = conflict_copies(tmp_path)
    assert len(found) == 21
    assert "10 more" in found[-1].what


def test_a_folder_that_is_not_there_has_none(tmp_path):
    assert conflict_copies(tmp_path / "nowhere") == ()


def test_a_copy_does_not_stand_in_the_way_of_recording(tmp_path):
    series = bench_series(tmp_path)
    (tmp_path / "log (1).csv").write_bytes(b"nonsense")
    assert record_melt(series, settings=settings(), seen=SPILLED).melt == 1
    assert (tmp_path / "log (1).csv").read_bytes() == b"nonsense"
