"""Putting down melts: planned and not, in part and completed, corrected, taken out and taken back."""

import datetime
from dataclasses import replace

import pytest
from bench_series import GOOD, SPILLED, bench_plan, bench_series, settings, snapshot

from meltdoe.errors import ProblemsFound, WrongUsage
from meltdoe.files.store import recording
from meltdoe.files.store.journal import read_journal
from meltdoe.files.store.log_csv import read_log
from meltdoe.files.store.plan_csv import write_plan
from meltdoe.files.store.recording import history, rebuild, record_melt, remove_melt, undo
from meltdoe.files.store.settling import settle
from meltdoe.series import Unseen


@pytest.fixture
def series(tmp_path):
    series = bench_series(tmp_path)
    write_plan(series, bench_plan(series))
    return series


def only(series, melt):
    (entry,) = (entry for entry in read_log(series).entries if entry.melt == melt)
    return entry


def test_a_planned_melt_takes_its_settings_from_the_plan(series, tmp_path):
    result = record_melt(series, 3, seen=GOOD, note="a calm pour", date="25.11.2026", circumstances={"humidity": "62"})
    assert (result.how, result.melt, result.entry.firing) == ("new", 3, 2)
    assert result.entry.settings == settings(22, 1210)
    assert result.entry.date == datetime.date(2026, 11, 25)
    assert read_log(series).entries == (result.entry,)
    assert (tmp_path / "log.csv").read_text() == (
        "melt,firing,date,flux,peak,sand,contained,fill,cracks,humidity,pot,note\n"
        "3,2,2026-11-25,22,1210,fine,yes,97.5,none,62,,a calm pour\n"
    )


def test_actual_settings_replace_planned_ones_also_beyond_the_range(series):
    result = record_melt(series, 1, settings={"peak": "2372 °F", "flux": 19}, seen=SPILLED)
    assert result.entry.settings == settings(19, 1300)


def test_a_firing_that_overshot_overshot_for_all_of_its_melts(series):
    record_melt(series, 1, settings={"peak": 1190}, seen=GOOD)
    result = record_melt(series, 2, seen=GOOD)
    assert result.entry.settings["peak"] == 1190
    assert result.notices == ("peak 1190 °C as in melt 1 (planned: peak 1200 °C)",)
    assert record_melt(series, 3, seen=GOOD).entry.settings["peak"] == 1210


def test_a_melt_outside_the_plan_takes_the_next_number_and_firing(series):
    result = record_melt(series, settings=settings(), seen=SPILLED)
    assert (result.melt, result.entry.firing) == (5, 3)
    assert record_melt(series, settings=settings(), seen=SPILLED, firing=3).entry.firing == 3
    with pytest.raises(ProblemsFound, match="nothing is said of flux"):
        record_melt(series, settings={"peak": 1200, "sand": "fine"}, seen=SPILLED)


def test_an_outcome_not_spoken_of_is_asked_about(series, tmp_path):
    before = snapshot(tmp_path)
    with pytest.raises(ProblemsFound, match=r"leaves fill blank.*later .not known yet. or lost"):
        record_melt(series, 1, seen={"contained": "yes"})
    with pytest.raises(ProblemsFound, match="says nothing of what was seen"):
        record_melt(series, 1)
    assert snapshot(tmp_path) == before
    assert record_melt(series, 1, seen={"contained": "yes"}, unsaid="later").entry.seen["fill"] is Unseen.LATER
    assert record_melt(series, 2, unsaid="lost").entry.seen["contained"] is Unseen.LOST


def test_what_was_awaited_is_filled_in_later_without_a_correction(series):
    record_melt(series, 1, seen={"contained": True, "fill": "later"}, note="in the sand", date="2026-11-25")
    result = record_melt(series, 1, seen={"fill": 97, "cracks": "none"}, note="out of the sand")
    assert result.how == "completed"
    assert result.entry.seen == {"contained": True, "fill": 97.0, "cracks": "none"}
    assert result.entry.note == "in the sand; out of the sand"
    assert result.entry.date == datetime.date(2026, 11, 25)


def test_what_can_no_longer_come_is_no_longer_awaited(series):
    record_melt(series, 1, seen={"contained": "later", "fill": "later", "cracks": "later"})
    result = record_melt(series, 1, seen=SPILLED)
    assert result.entry.seen == {"contained": False, "fill": Unseen.NOT_REACHED, "cracks": Unseen.NOT_REACHED}
    assert len(result.notices) == 2


def test_replacing_what_is_on_record_needs_a_correction(series, tmp_path):
    first = record_melt(series, 1, seen=GOOD)
    before = snapshot(tmp_path)
    for said in ({"seen": {"fill": "96"}}, {"settings": {"flux": 21}}, {"firing": 9}):
        with pytest.raises(ProblemsFound, match=r"melt 1 is on record with .* --correct"):
            record_melt(series, 1, **said)
    assert snapshot(tmp_path) == before
    result = record_melt(series, 1, seen={"fill": "96"}, note="weighed again", correct=True, reason="misread")
    assert (result.how, result.was) == ("corrected", first.entry)
    assert only(series, 1).seen["fill"] == 96
    assert [event.kind for event in read_journal(tmp_path / "journal.jsonl").events] == ["plan", "record", "correct"]
    assert "fill 97.5 -> 96" in history(series)[-1]
    assert "(misread)" in history(series)[-1]


def test_a_correction_may_not_leave_a_contradiction(series):
    record_melt(series, 1, seen=GOOD)
    with pytest.raises(ProblemsFound, match=r"has fill 97.5 %, which cannot be"):
        record_melt(series, 1, seen=SPILLED, correct=True)
    result = record_melt(series, 1, seen=SPILLED | {"fill": "", "cracks": ""}, correct=True)
    assert result.entry.seen["fill"] is Unseen.NOT_REACHED


def test_saying_the_same_again_changes_nothing(series, tmp_path):
    record_melt(series, 1, seen=GOOD, note="calm")
    before = snapshot(tmp_path)
    assert record_melt(series, 1, seen=GOOD, note="calm").how == "unchanged"
    assert record_melt(series, 1, seen=GOOD, correct=True).how == "unchanged"
    assert snapshot(tmp_path) == before


def test_correcting_a_melt_that_is_not_there_is_a_problem(series):
    with pytest.raises(ProblemsFound, match="melt 7 is not in the log"):
        record_melt(series, 7, seen=GOOD, correct=True)


def test_every_fault_of_what_was_said_is_named_at_once(series, tmp_path):
    before = snapshot(tmp_path)
    with pytest.raises(ProblemsFound) as found:
        record_melt(
            series, 1, settings={"pek": 1, "flux": "x"}, seen={"contaned": "yes", "fill": "120"}, firing=0, mould=2,
            circumstances={"humidty": 1}, date="soon", note="x" * 6000,
        )  # fmt: skip
    assert len(found.value.problems) == 9
    assert 'the factor "pek" is not in series.toml; write "peak"' in str(found.value)
    assert snapshot(tmp_path) == before


def test_numbers_that_are_none_are_problems_too(series):
    for value in (float("nan"), float("inf")):
        with pytest.raises(ProblemsFound, match="is not a number"):
            record_melt(series, 1, settings={"flux": value}, seen=SPILLED)


def test_a_melt_is_taken_out_only_with_a_reason(series, tmp_path):
    record_melt(series, 1, seen=GOOD)
    for melt, reason in ((1, " "), (9, "not ours")):
        with pytest.raises(ProblemsFound):
            remove_melt(series, melt, reason)
    remove_melt(series, 1, "another charge")
    assert read_log(series).entries == ()
    assert "remove: melt 1 (another charge)" in history(series)[-1]
    assert b"97.5" in (tmp_path / "journal.jsonl").read_bytes()


def test_undoing_goes_back_step_by_step(series):
    record_melt(series, 1, seen={"contained": "later"})
    record_melt(series, 1, seen=SPILLED)
    remove_melt(series, 1, "by mistake")
    states = []
    for _ in range(3):
        undo(series, "again")
        states.append([entry.seen["contained"] for entry in read_log(series).entries])
    assert states == [[False], [Unseen.LATER], []]
    with pytest.raises(ProblemsFound, match="nothing to take back"):
        undo(series)
    assert record_melt(series, 1, seen=GOOD).how == "new"
    assert "[undone by" in history(series)[1]


def test_moulds_of_one_melt_share_what_belongs_to_the_melt(tmp_path):
    plain = bench_series()
    outcomes = (*plain.outcomes[:2], replace(plain.outcomes[2], seen_per="mould"))
    series = bench_series(tmp_path, outcomes=outcomes, moulds_per_melt=2)
    record_melt(series, 1, settings=settings(), seen=GOOD)
    second = record_melt(series, 1, mould=2, seen={"cracks": "open"})
    assert second.entry.settings == settings()
    assert second.entry.seen == {"contained": True, "fill": 97.5, "cracks": "open"}
    with pytest.raises(ProblemsFound, match=r"melt 1, mould 1 is on record with fill 97.5"):
        record_melt(series, 1, mould=2, seen={"fill": 99})
    record_melt(series, 1, mould=2, seen={"fill": 99}, correct=True)
    assert [entry.seen["fill"] for entry in read_log(series).entries] == [99.0, 99.0]


def test_a_record_is_safe_once_its_journal_line_is(series, tmp_path, monkeypatch):
    def killed(series, state, known):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(recording, "write_log_view", killed)
        with pytest.raises(KeyboardInterrupt):
            record_melt(series, 1, seen=GOOD)
    assert not (tmp_path / "log.csv").exists()
    assert read_log(series).melt_numbers == {1}
    assert settle(series).rewritten
    assert (tmp_path / "log.csv").read_text().splitlines()[1].startswith("1,1,")


def test_a_table_that_cannot_be_written_does_not_lose_the_record(series, tmp_path, monkeypatch):
    def refused(series, state, known):
        raise ProblemsFound.single("log.csv", None, "cannot be written (in use)", "close it")

    with monkeypatch.context() as patch:
        patch.setattr(recording, "write_log_view", refused)
        with pytest.raises(ProblemsFound, match=r"the record is safe in journal.jsonl, but the file cannot be written"):
            record_melt(series, 1, seen=GOOD)
    assert record_melt(series, 1, seen=GOOD).how == "unchanged"
    assert (tmp_path / "log.csv").read_text().splitlines()[1].startswith("1,1,")


def test_rebuilding_brings_the_log_back_and_keeps_what_stood_there(series, tmp_path):
    record_melt(series, 1, seen=GOOD)
    good = (tmp_path / "log.csv").read_bytes()
    (tmp_path / "log.csv").write_bytes(b"melt;nonsense\n")
    (tmp_path / "plan.csv").unlink()
    result = rebuild(series)
    assert (tmp_path / "log.csv").read_bytes() == good
    assert result.melts == 1
    assert result.set_aside is not None
    assert result.set_aside.read_bytes() == b"melt;nonsense\n"
    assert (tmp_path / "plan.csv").exists()
    assert rebuild(series).set_aside is None


def test_rebuilding_without_a_journal_is_refused(tmp_path):
    (tmp_path / "log.csv").write_text("melt\n")
    with pytest.raises(ProblemsFound, match="restore it from a copy"):
        rebuild(bench_series(tmp_path))
    assert (tmp_path / "log.csv").read_text() == "melt\n"


def test_a_series_without_a_folder_cannot_be_recorded():
    with pytest.raises(WrongUsage, match="has no folder"):
        record_melt(bench_series(), 1, seen=GOOD)


def test_the_reason_of_a_correction_that_changes_nothing_is_kept_once(series):
    record_melt(series, 1, seen=SPILLED)
    flux = only(series, 1).settings["flux"]
    for _ in range(2):
        result = record_melt(series, 1, settings={"flux": flux}, correct=True, reason="weighed again")
        assert (result.how, result.changes) == ("unchanged", ())
    assert [event.kind for event in read_journal(series.folder / "journal.jsonl").events] == [
        "plan", "record", "correct",
    ]  # fmt: skip
    assert history(series)[-1].endswith("correct: melt 1: nothing new (weighed again)")
    assert record_melt(series, 1, settings={"flux": flux}, correct=True).event is None
    undo(series)
    assert only(series, 1).settings["flux"] == flux


def test_a_note_given_with_a_correction_that_changes_nothing_else_is_kept(series):
    record_melt(series, 1, seen=SPILLED)
    result = record_melt(series, 1, seen=SPILLED, note="crucible 3", correct=True, reason="forgotten")
    assert result.how == "corrected"
    assert only(series, 1).note == "crucible 3"
    assert "(forgotten)" in history(series)[-1]


def test_rebuilding_tells_what_it_did(series, tmp_path):
    record_melt(series, 1, seen=GOOD)
    assert rebuild(series).lines == ("log.csv written afresh from the journal: 1 rows",)
    journal = tmp_path / "journal.jsonl"
    journal.write_bytes(journal.read_bytes() + b'{"format":1')
    (tmp_path / "log.csv").write_bytes(b"melt;nonsense\n")
    (tmp_path / "plan.csv").write_bytes(b"nonsense\n")
    result = rebuild(series)
    mended, kept, log, plan_kept, plan = result.lines
    assert "cut off" in mended
    assert result.set_aside.name in kept
    assert log.startswith("log.csv written afresh")
    assert "plan-set-aside-" in plan_kept
    assert plan.startswith("plan.csv written afresh")
