"""The log as every command reads it: edits entered and told, or counted all the same where nothing can be written."""

import errno
import os
import re

import pytest
from bench_series import SPILLED, bench_series, settings, snapshot

from meltdoe.errors import ProblemsFound
from meltdoe.files.store.recording import history, record_melt
from meltdoe.files.store.settling import pending, settled_log


@pytest.fixture
def series(tmp_path):
    made = bench_series(tmp_path)
    record_melt(made, settings=settings(20), seen=SPILLED)
    return made


def edit(series, old, new):
    path = series.folder / "log.csv"
    content = path.read_text(encoding="utf-8")
    assert old in content
    path.write_text(content.replace(old, new), encoding="utf-8")


def refuse_writing(monkeypatch):
    real = os.open

    def refused(path, flags, *args, **kwargs):
        if flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT):
            raise OSError(errno.EROFS, "Read-only file system", str(path))
        return real(path, flags, *args, **kwargs)

    monkeypatch.setattr(os, "open", refused)


def test_an_edit_is_entered_and_told_once(series):
    edit(series, ",20,", ",21,")
    log, told = settled_log(series)
    assert log.entries[0].settings["flux"] == 21
    assert told == ("Edit found in log.csv and entered in the journal: melt 1: flux 20 -> 21",)
    assert "flux 20 -> 21" in history(series)[-1]
    assert settled_log(series) == (log, ())


def test_many_edits_are_told_in_one_line_that_says_where_each_is_shown(series, monkeypatch):
    for melt in (2, 3, 5):
        record_melt(series, melt, settings=settings(20), seen=SPILLED)
    edit(series, "1200", "1190")
    edit(series, ",20,", ",21,")
    with monkeypatch.context() as patch:
        refuse_writing(patch)
        waiting, hindered = settled_log(series)[1]
    assert waiting.startswith("log.csv has ")
    told = settled_log(series)[1]
    count, _, rest = told[0].partition(" ")
    assert int(count) == len(re.findall("->", history(series)[-1])) == 8
    where = "(melts 1 to 3 and 5)"
    assert waiting == f"log.csv has 8 edits that the journal has not yet {where}; to see each: meltdoe check"
    assert "could not be written" in hindered
    assert rest == f"edits found in log.csv {where} and entered in the journal; to see each: meltdoe log"
    assert len(told) == 1


def test_an_edit_counts_in_a_folder_that_cannot_be_written_and_waits_there(series, monkeypatch):
    edit(series, ",20,", ",21,")
    before = snapshot(series.folder)
    with monkeypatch.context() as patch:
        refuse_writing(patch)
        for _ in range(2):
            log, told = settled_log(series)
            assert log.entries[0].settings["flux"] == 21
            assert told[0] == "log.csv has an edit that the journal has not yet: melt 1: flux 20 -> 21"
            assert "could not be written" in told[1]
            assert "Read-only file system" in told[1]
            assert snapshot(series.folder) == before
    assert settled_log(series)[1][0].startswith("Edit found in log.csv and entered")


def test_a_log_without_edits_is_read_where_nothing_can_be_written(series, monkeypatch):
    refuse_writing(monkeypatch)
    log, told = settled_log(series)
    assert (len(log.entries), told) == (1, ())


def test_an_emptied_log_is_read_from_the_journal_and_written_again(series):
    (series.folder / "log.csv").write_bytes(b"")
    assert pending(series) == ("log.csv is missing and will be written again from the journal",)
    log, told = settled_log(series)
    assert len(log.entries) == 1
    assert told == ("log.csv was missing, and was written again from the journal",)
    assert b"contained" in (series.folder / "log.csv").read_bytes()


def test_a_contradiction_stops_and_writes_nothing(series):
    record_melt(series, 1, settings={"flux": 22}, correct=True)
    edit(series, ",22,", ",20,")
    edit(series, "1200", "1190")  # says something new beside what was replaced: no old copy to the letter
    before = snapshot(series.folder)
    with pytest.raises(ProblemsFound, match="which was replaced by"):
        settled_log(series)
    assert snapshot(series.folder) == before


def test_a_journal_that_the_next_record_mends_is_named_beforehand(series):
    journal = series.folder / "journal.jsonl"
    journal.write_bytes(journal.read_bytes() + b'{"format":1,"num')
    assert pending(series) == (
        "journal.jsonl is mended by the next record: its last line was cut off while being written, and is set aside "
        "in it",
    )
