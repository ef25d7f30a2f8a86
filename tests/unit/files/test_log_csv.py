"""log.csv as people edit it: what is taken in, what is asked about, what is written again."""

from dataclasses import replace

import pytest
from bench_series import GOOD, SPILLED, bench_plan, bench_series, settings, snapshot

from meltdoe.errors import ProblemsFound
from meltdoe.files.store.journal import read_journal
from meltdoe.files.store.log_csv import check_log, log_text, read_log
from meltdoe.files.store.plan_csv import read_plan, write_plan
from meltdoe.files.store.recording import history, record_melt, remove_melt, undo
from meltdoe.files.store.settling import settle
from meltdoe.series import Unseen

HEAD = "melt,firing,date,flux,peak,sand,contained,fill,cracks,humidity,pot,note\n"


@pytest.fixture
def series(tmp_path):
    series = bench_series(tmp_path)
    write_plan(series, bench_plan(series))
    record_melt(series, 1, seen=GOOD, note="calm")
    record_melt(series, 2, seen={"contained": "yes", "fill": "later"})
    return series


def edit(tmp_path, old, new):
    path = tmp_path / "log.csv"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def problems(series):
    log, found = check_log(series)
    assert (log is None) == bool(found)
    return [str(problem) for problem in found]


def test_without_a_log_there_are_no_melts(tmp_path):
    assert read_log(bench_series(tmp_path)).entries == ()
    assert settle(bench_series(tmp_path)).changes == ()
    assert snapshot(tmp_path) == {}


def test_a_log_written_by_hand_is_read_and_entered(tmp_path):
    (tmp_path / "log.csv").write_text(
        "Melt;Firing;Date;flux;peak;sand;contained;fill;cracks;humidity;pot;note;\r\n"
        '1;1;25.11.2026;20,5;1.200;FINE;Y;97,5 %;None;;;"ran; slowly"\r\n'
        "2;1;26.11.2026;21;2192 °F;coarse;no;;;61,5;B;\r\n;;;;\r\n",
        encoding="utf-16",
    )
    series = bench_series(tmp_path)
    log = read_log(series)
    assert [entry.settings for entry in log.entries] == [settings(20.5), settings(21, 1200, "coarse")]
    assert log.entries[0].note == "ran; slowly"
    assert log.entries[1].circumstances == {"humidity": 61.5, "pot": "B"}
    before = snapshot(tmp_path)
    assert read_log(series) == log
    assert snapshot(tmp_path) == before
    assert [change.show(series) for change in settle(series).changes] == ["melt 1: added", "melt 2: added"]
    assert settle(series).changes == ()
    assert (tmp_path / "log.csv").read_bytes() == before["log.csv"]
    (tmp_path / "log.csv").unlink()
    assert read_log(series) == log


def test_an_edit_made_in_a_spreadsheet_is_shown_checked_and_entered(series, tmp_path):
    edit(tmp_path, "later", "80")
    edit(tmp_path, "calm", "calm, a little foam".replace(",", ""))
    assert read_log(series).entries[1].seen["fill"] == 80
    settled = settle(series)
    assert [change.show(series) for change in settled.changes] == [
        "melt 1: note calm -> calm a little foam",
        "melt 2: fill later -> 80",
    ]
    assert read_journal(tmp_path / "journal.jsonl").events[-1].kind == "spreadsheet edit"
    assert settle(series).changes == ()
    assert "spreadsheet edit: melt 1: note calm" in history(series)[-1]


def test_recording_takes_edits_in_first(series, tmp_path):
    edit(tmp_path, "later", "80")
    result = record_melt(series, 3, seen=SPILLED)
    assert len(result.settled.changes) == 1
    assert [entry.melt for entry in read_log(series).entries] == [1, 2, 3]
    undo(series)
    undo(series)
    assert read_log(series).entries[1].seen["fill"] is Unseen.LATER


def test_an_edit_that_cannot_be_is_refused_and_blocks_writing(series, tmp_path):
    edit(tmp_path, "later", "180")
    before = snapshot(tmp_path)
    assert problems(series) == ["log.csv, line 3: fill says 180 %, which cannot be; write a number between 0 and 100"]
    for act in (settle, undo, lambda s: record_melt(s, 3, seen=SPILLED), lambda s: write_plan(s, bench_plan(s))):
        with pytest.raises(ProblemsFound, match="line 3"):
            act(series)
    assert snapshot(tmp_path) == before


def test_an_edit_undone_in_the_spreadsheet_is_an_edit_too(series, tmp_path):
    edit(tmp_path, "97.5", "96")
    settle(series)
    edit(tmp_path, ",96,", ",97,")
    settle(series)
    edit(tmp_path, ",97,", ",96,")
    assert [change.after for change in settle(series).changes] == ["96"]


def test_an_old_copy_to_the_byte_is_written_again(series, tmp_path):
    old = (tmp_path / "log.csv").read_bytes()
    record_melt(series, 3, seen=SPILLED)
    new = (tmp_path / "log.csv").read_bytes()
    for stale in (old, HEAD.encode(), b"", b"\n"):
        (tmp_path / "log.csv").write_bytes(stale)
        assert read_log(series).melt_numbers == {1, 2, 3}
        assert settle(series).rewritten
        assert (tmp_path / "log.csv").read_bytes() == new


def test_an_old_copy_with_an_edit_is_asked_about_row_by_row(series, tmp_path):
    old = (tmp_path / "log.csv").read_text()
    record_melt(series, 2, seen={"fill": 97, "cracks": "open"})
    record_melt(series, 3, seen=SPILLED)
    (tmp_path / "log.csv").write_text(old.replace("calm", "calm and slow"))
    before = snapshot(tmp_path)
    found = problems(series)
    assert len(found) == 3
    assert 'log.csv, line 3: melt 2 has fill "later", which was replaced by "97"' in found[0]
    assert 'melt 2 has cracks "", which was replaced by "open"' in found[1]
    assert "log.csv: melt 3 is in the journal and no longer in this file" in found[2]
    with pytest.raises(ProblemsFound):
        settle(series)
    assert snapshot(tmp_path) == before


def test_a_row_that_was_taken_out_does_not_creep_back(series, tmp_path):
    old = (tmp_path / "log.csv").read_text()
    remove_melt(series, 2, "another charge")
    (tmp_path / "log.csv").write_text(old.replace("calm", "calm and slow"))
    (found,) = problems(series)
    assert "melt 2 is in this file again, though it was taken out" in found


def test_every_problem_of_a_log_is_found_at_once(tmp_path):
    (tmp_path / "log.csv").write_text(
        HEAD + "1,1,05/11/2026,20,1200,fine,yes,,,,,\n1,1,,20,1200,fine,no,80,,,,\n3,0,,,1200,fin,maybe,,,damp,,\n"
    )
    assert [text.split(";")[0] for text in problems(bench_series(tmp_path))] == [
        'log.csv, line 2: date "05/11/2026" can be 2026-11-05 or 2026-05-11',
        "log.csv, line 3: melt 1 has fill 80 %, which cannot be: contained was no, not good",
        'log.csv, line 4: firing: "0" is not a whole number from 1',
        "log.csv, line 4: flux is blank",
        'log.csv, line 4: sand says "fin", which is none of its words',
        'log.csv, line 4: contained says "maybe"',
        'log.csv, line 4: humidity: "damp" is not a number',
    ]


def test_a_column_that_the_series_does_not_have_is_a_problem(series, tmp_path):
    edit(tmp_path, "fill", "filling")
    found = problems(series)
    assert found[0] == 'log.csv, line 1: the column "filling" is not known; rename it "fill"'


def test_a_renamed_outcome_keeps_its_values_once_the_heading_is_renamed(series, tmp_path):
    contained, fill, cracks = series.outcomes
    renamed = replace(series, outcomes=(contained, replace(fill, name="filling"), replace(cracks, after="filling")))
    assert "fill" in problems(renamed)[0]
    edit(tmp_path, "fill", "filling")
    settle(renamed)
    assert read_log(renamed).entries[0].seen["filling"] == 97.5


def test_dates_rewritten_by_a_spreadsheet_are_settled_by_the_journal(series, tmp_path):
    record_melt(series, 3, seen=SPILLED, date="2026-05-11")
    edit(tmp_path, "2026-05-11", "05/11/2026")
    assert settle(series).changes == ()


def test_a_journal_that_was_changed_stops_everything(series, tmp_path):
    path = tmp_path / "journal.jsonl"
    path.write_bytes(path.read_bytes().replace(b"97.5", b"98.5"))
    assert "journal.jsonl, line 2: was changed" in problems(series)[0]
    with pytest.raises(ProblemsFound):
        record_melt(series, 3, seen=SPILLED)
    path.rename(tmp_path / "journal-aside.jsonl")
    assert len(settle(series).changes) == 2
    assert read_log(series).melt_numbers == {1, 2}


def test_the_text_of_a_log_without_rows_is_its_headings(tmp_path):
    assert log_text(bench_series(tmp_path), []) == HEAD


@pytest.mark.parametrize("name", ["log.csv", "journal.jsonl", "plan.csv"])
def test_a_folder_in_place_of_a_file_is_a_problem(series, tmp_path, name):
    (tmp_path / name).unlink()
    (tmp_path / name).mkdir()
    with pytest.raises(ProblemsFound, match="is a folder"):
        read_plan(series) if name == "plan.csv" else read_log(series)
