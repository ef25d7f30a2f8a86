"""Edits of log.csv are noticed at the next command, whichever it is: shown first, entered, never merged silently."""

import errno
import json
import os
import shutil
from pathlib import Path

import pytest
from made_block import made_block
from running import called, on_disk

EVERY = (  # every command that reads a folder, in its shortest form
    ("options", "--rehearsals", "0"),
    ("log",),
    ("analyse", "--no-figures"),
    ("next",),
    ("sheets",),
    ("record", "--melt", "9", "--seen", "contained=no"),
)
TOLD = "Edit found in log.csv and entered in the journal: melt 7: flux 20 -> 21"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return made_block(tmp_path_factory.mktemp("made") / "block")


@pytest.fixture
def folder(made, tmp_path):
    """A copy in which one cell was changed in a spreadsheet."""
    copy = tmp_path / "block"
    shutil.copytree(made, copy)
    edit(copy, "1200,20,", "1200,21,")
    return copy


def edit(folder, old, new):
    log = folder / "log.csv"
    content = log.read_text(encoding="utf-8")
    assert old in content
    log.write_text(content.replace(old, new, 1), encoding="utf-8")


@pytest.mark.parametrize("words", EVERY, ids=lambda words: words[0])
def test_whichever_command_comes_next_tells_of_the_edit_and_enters_it(folder, words):
    command, *more = words
    ran = called(command, folder, *more)
    assert ran.code == 0, ran.err
    assert ran.lines[0] == TOLD
    assert TOLD not in called(command, folder, *more).err, "it is told once"
    assert any("spreadsheet edit: melt 7: flux 20 -> 21" in line for line in called("log", folder).out.splitlines())


@pytest.mark.parametrize("words", EVERY, ids=lambda words: words[0])
def test_standard_output_stays_one_document(folder, words):
    command, *more = words
    ran = called(command, folder, *more, "--json")
    assert isinstance(ran.document, dict)
    assert TOLD in ran.err


def test_check_shows_what_waits_and_writes_nothing(folder):
    before = on_disk(folder)
    ran = called("check", folder)
    assert (ran.code, ran.err) == (0, "")
    assert "log.csv has an edit that the journal has not yet: melt 7: flux 20 -> 21" in ran.out
    document = called("check", folder, "--json").document
    assert len(document["waiting"]) == 1
    assert document["problems"] == []
    assert on_disk(folder) == before
    called("log", folder)
    assert called("check", folder, "--json").document["waiting"] == []


def test_an_emptied_log_and_a_journal_cut_off_are_shown_by_check(folder):
    (folder / "log.csv").write_bytes(b"")
    journal = folder / "journal.jsonl"
    journal.write_bytes(journal.read_bytes() + b'{"format":1,"nu')
    waiting = called("check", folder, "--json").document["waiting"]
    assert "missing and will be written again" in waiting[0]
    assert "cut off" in waiting[1]
    ran = called("check", folder, "--rebuild")
    assert ran.code == 0
    assert "journal.jsonl mended" in ran.out
    assert "log.csv written afresh from the journal: 8 rows" in ran.out


def test_rebuilding_tells_where_the_other_log_is_kept(folder):
    ran = called("check", folder, "--rebuild", "--json").document
    (kept,) = folder.glob("log-set-aside-*.csv")
    assert kept.name in ran["rebuilt"][0]
    assert "1200,21," in kept.read_text(encoding="utf-8")
    assert "1200,20," in (folder / "log.csv").read_text(encoding="utf-8")


def test_second_copies_are_named_first_also_where_the_series_is_broken(folder):
    (folder / "log (1).csv").write_bytes(b"melt\n")
    (folder / "series.toml").write_bytes(b"title =\n")
    journal = folder / "journal.jsonl"
    journal.write_bytes(journal.read_bytes().replace(b'"flux":22', b'"flux":23'))
    ran = called("check", folder)
    assert ran.code == 1
    assert ran.lines[0].startswith("log (1).csv: looks like a second copy of log.csv")
    assert f'meltdoe record {folder} --from "{folder / "log (1).csv"}" --preview' in ran.lines[0]
    assert any(line.startswith("series.toml") for line in ran.lines[1:])
    assert any(line.startswith("journal.jsonl, line") for line in ran.lines[1:])


@pytest.mark.parametrize("words", [("analyse",), ("next",), ("log",)], ids=lambda words: words[0])
def test_a_folder_that_cannot_be_written_is_read_with_its_edits(folder, monkeypatch, words):
    before = on_disk(folder)
    real_open, real_mkdir = os.open, Path.mkdir

    def refused(path, flags, *args, **kwargs):
        if flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT) and str(folder) in str(path):
            raise OSError(errno.EROFS, "Read-only file system", str(path))
        return real_open(path, flags, *args, **kwargs)

    def no_folder(path, *args, **kwargs):
        if str(folder) in str(path) and not path.exists():
            raise OSError(errno.EROFS, "Read-only file system", str(path))
        return real_mkdir(path, *args, **kwargs)

    monkeypatch.setattr(os, "open", refused)
    monkeypatch.setattr(Path, "mkdir", no_folder)
    ran = called(words[0], folder, "--json")
    assert ran.code == 0, ran.err
    assert json.loads(ran.out)
    assert "log.csv has an edit that the journal has not yet: melt 7: flux 20 -> 21" in ran.err
    assert "could not be written" in ran.err
    assert on_disk(folder) == before


def test_an_old_window_is_asked_about_by_every_command_and_nothing_is_merged(folder):
    assert called("log", folder).code == 0
    opened = (folder / "log.csv").read_text(encoding="utf-8")
    assert called("record", folder, "--melt", 6, "--seen", "fill=99", "--correct", "--reason", "x").code == 0
    (folder / "log.csv").write_text(opened.replace("1240,12,", "1240,13,"), encoding="utf-8")
    before = on_disk(folder)
    for command, *more in EVERY:
        ran = called(command, folder, *more)
        assert 'was replaced by "99"' in ran.err
        assert f"meltdoe record {folder} --melt 6 --correct" in ran.err
        assert ran.code == (0 if command == "options" else 1), "comparing plans needs no log"
        assert on_disk(folder) == before


def test_a_link_to_the_folder_is_the_folder_and_a_log_that_leads_out_is_refused(folder):
    link = folder.parent / "link"
    link.symlink_to(folder, target_is_directory=True)
    assert called("record", link, "--melt", 9, "--seen", "contained=no").code == 0
    assert "\n9,5," in (folder / "log.csv").read_text(encoding="utf-8")
    outside = folder.parent / "outside.csv"
    (folder / "log.csv").rename(outside)
    (folder / "log.csv").symlink_to(outside)
    before = on_disk(folder.parent)
    for command, *more in EVERY:
        ran = called(command, folder, *more)
        assert ran.code == 1
        assert "outside the folder" in ran.err
        assert on_disk(folder.parent) == before
