"""The journal: chained, only added to, and mended where a line was cut off."""

import json

import pytest

from meltdoe.errors import ProblemsFound
from meltdoe.files.store.journal import Journal, append_event, read_journal


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "journal.jsonl"
    journal = Journal()
    for melt in (1, 2, 3):
        journal = append_event(path, journal, "record", {"rows": [{"melt": melt, "fill": 97.5, "note": "heiß"}]})
    return path


def test_events_are_numbered_and_read_back(path):
    journal = read_journal(path)
    assert [event.number for event in journal.events] == [1, 2, 3]
    assert journal.events[2].data == {"rows": [{"melt": 3, "fill": 97.5, "note": "heiß"}]}
    assert journal.events[0].kind == "record"
    assert all("format" in json.loads(line) for line in path.read_text(encoding="utf-8").splitlines())


def test_a_journal_that_is_not_there_is_empty(tmp_path):
    assert read_journal(tmp_path / "journal.jsonl") == Journal()


@pytest.mark.parametrize(
    ("old", "new", "line"), [("97.5", "98.5", 1), ('"number":2', '"number":9', 2), ("heiß", "kalt", 1)]
)
def test_a_line_that_was_changed_is_named(path, old, new, line):
    path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    with pytest.raises(ProblemsFound, match=f"journal.jsonl, line {line}: was changed"):
        read_journal(path)


def test_a_line_taken_out_or_moved_is_named(path):
    first, second, third = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(first + third)
    with pytest.raises(ProblemsFound, match="line 2"):
        read_journal(path)
    path.write_bytes(second + first + third)
    with pytest.raises(ProblemsFound, match="line 1"):
        read_journal(path)


def test_a_last_line_cut_off_anywhere_is_left_aside_and_kept(path):
    whole = path.read_bytes()
    start = whole[:-1].rindex(b"\n") + 1
    for cut in range(start + 1, len(whole) - 1):
        path.write_bytes(whole[:cut])
        journal = read_journal(path)
        assert len(journal.events) == 2
        assert journal.torn == whole[start:cut]
    journal = append_event(path, journal, "record", {"rows": [{"melt": 4}]})
    assert read_journal(path).events == journal.events
    assert [event.kind for event in journal.events] == ["record", "record", "mended", "record"]
    assert journal.events[2].data["torn"] == whole[start:-2].decode()


def test_a_last_line_that_lacks_only_its_end_counts(path):
    path.write_bytes(path.read_bytes()[:-1])
    journal = read_journal(path)
    assert len(journal.events) == 3
    append_event(path, journal, "record", {"rows": []})
    assert len(read_journal(path).events) == 4


def test_zeros_left_by_a_pulled_plug_are_a_cut_off_line(path):
    whole = path.read_bytes()
    path.write_bytes(whole[:-30] + b"\0" * 29 + b"\n")
    assert len(read_journal(path).events) == 2


def test_a_newer_format_is_refused(path):
    path.write_bytes(path.read_bytes().replace(b'{"format":1,"number":3', b'{"format":2,"number":3'))
    with pytest.raises(ProblemsFound, match=r"line 3: has format 2.*use a newer program"):
        read_journal(path)


def test_line_ends_of_another_system_do_no_harm(path):
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert len(read_journal(path).events) == 3
