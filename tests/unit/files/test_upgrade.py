"""Newer files are refused as they are; older ones are read, and brought up to date with a copy kept."""

import json

import pytest
from bench_series import SPILLED, bench_series, settings, snapshot

from meltdoe.errors import ProblemsFound
from meltdoe.files.disk.upgrade import FileFormat, replace_with_copy, upgraded
from meltdoe.files.store.journal import read_journal
from meltdoe.files.store.log_csv import read_log
from meltdoe.files.store.recording import history, record_melt
from meltdoe.files.store.settling import pending, settle

STEPS = {1: lambda content: content.replace(b"one", b"two"), 2: lambda content: content + b"three"}
FORM = FileFormat("any.txt", 3, STEPS)


def test_the_steps_are_taken_in_order_from_any_older_format():
    assert upgraded(FORM, b"one ", 1) == b"two three"
    assert upgraded(FORM, b"one ", 2) == b"one three"
    assert upgraded(FORM, b"one ", 3) == b"one "


@pytest.mark.parametrize(
    ("number", "said"), [(4, "has format 4, and this program knows formats up to 3"), (0, "no longer")]
)
def test_a_format_that_is_newer_or_too_old_is_refused(number, said):
    with pytest.raises(ProblemsFound, match=f"{said}.*the file was left as it is"):
        upgraded(FORM, b"", number)


def test_the_old_file_is_kept_and_no_copy_is_overwritten(tmp_path):
    path = tmp_path / "any.txt"
    for old, copy in ((b"one", "any.txt.before-format-3"), (b"other", "any.txt.before-format-3-2")):
        path.write_bytes(old)
        assert replace_with_copy(path, FORM, old, b"new").name == copy
        assert replace_with_copy(path, FORM, old, b"new").name == copy
        assert ((tmp_path / copy).read_bytes(), path.read_bytes()) == (old, b"new")
    assert len(snapshot(tmp_path)) == 3


@pytest.fixture
def series(tmp_path):
    """A folder with a journal of format 0: two records without checks."""
    series = bench_series(tmp_path)
    record_melt(series, settings=settings(), seen=SPILLED, note='"a", b')
    record_melt(series, settings=settings(21), seen=SPILLED)
    path = tmp_path / "journal.jsonl"
    lines = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    plain = [{name: line[name] for name in ("number", "time", "kind", "data")} for line in lines]
    path.write_text("".join(f"{json.dumps({'format': 0} | line, separators=(',', ':'))}\n" for line in plain))
    return series


def test_an_older_journal_is_read_unchanged_and_upgraded_by_the_next_writing(series, tmp_path):
    before = snapshot(tmp_path)
    assert read_log(series).melt_numbers == {1, 2}
    assert len(history(series)) == 2
    assert "older format" in pending(series)[0]
    assert snapshot(tmp_path) == before
    assert record_melt(series, settings=settings(22), seen=SPILLED).melt == 3
    after = snapshot(tmp_path)
    assert after["journal.jsonl.before-format-1"] == before["journal.jsonl"]
    journal = read_journal(tmp_path / "journal.jsonl")
    assert (len(journal.events), journal.older) == (3, None)
    assert b'"format":0' not in after["journal.jsonl"]


def test_settling_alone_upgrades_too(series, tmp_path):
    assert settle(series).changes == ()
    assert read_journal(tmp_path / "journal.jsonl").older is None
    assert (tmp_path / "journal.jsonl.before-format-1").exists()


def test_an_older_journal_that_is_cut_off_keeps_all_that_was_whole(series, tmp_path):
    path = tmp_path / "journal.jsonl"
    whole = path.read_bytes()
    path.write_bytes(whole[:-1])
    assert len(read_journal(path).events) == 2
    path.write_bytes(whole[:-30])
    assert (len(read_journal(path).events), bool(read_journal(path).torn)) == (1, True)
    record_melt(series, settings=settings(22), seen=SPILLED)
    assert read_log(series).melt_numbers == {1, 2, 3}
    assert "mended" in " ".join(history(series))


def test_formats_are_not_mixed(series, tmp_path):
    path = tmp_path / "journal.jsonl"
    path.write_bytes(path.read_bytes().replace(b'{"format":0,"number":2', b'{"format":1,"number":2'))
    before = snapshot(tmp_path)
    with pytest.raises(ProblemsFound, match="line 2: is not of the format of the first line"):
        record_melt(series, settings=settings(), seen=SPILLED)
    assert snapshot(tmp_path) == before
