"""Two people, two windows, two computers: nothing is merged without a word, and every way out that is named works."""

import pytest
from bench_series import GOOD, SPILLED, bench_plan, bench_series, settings, snapshot

from meltdoe.errors import ProblemsFound
from meltdoe.files.store import log_csv, settling
from meltdoe.files.store.journal import read_journal
from meltdoe.files.store.log_csv import check_log, read_log
from meltdoe.files.store.plan_csv import write_plan
from meltdoe.files.store.recording import history, rebuild, record_melt, remove_melt, undo
from meltdoe.files.store.settling import pending, settle


@pytest.fixture
def series(tmp_path):
    series = bench_series(tmp_path)
    write_plan(series, bench_plan(series))
    record_melt(series, 1, seen=GOOD, note="calm")
    record_melt(series, 2, seen={"contained": "yes", "fill": 90})
    return series


def save(series, text):
    (series.folder / "log.csv").write_text(text, encoding="utf-8")


def text(series):
    return (series.folder / "log.csv").read_text(encoding="utf-8")


def problems(series):
    return [str(problem) for problem in check_log(series)[1]]


def fill(series, melt):
    return next(entry.seen["fill"] for entry in read_log(series).entries if entry.melt == melt)


def test_a_second_window_does_not_take_back_the_edit_of_the_first(series):
    opened = text(series)
    save(series, opened.replace("97.5", "96"))
    settle(series)
    save(series, opened.replace("calm", "calm and slow"))  # the second window never saw 96
    before = snapshot(series.folder)
    (problem,) = problems(series)
    assert 'melt 1 has fill "97.5", which was replaced by "96"' in problem
    with pytest.raises(ProblemsFound):
        record_melt(series, 3, seen=SPILLED)
    assert snapshot(series.folder) == before
    save(series, text(series).replace("97.5", "96"))  # the way out that is named
    assert [change.column for change in settle(series).changes] == ["note"]
    record_melt(series, 1, seen={"fill": 97.5}, correct=True)
    assert fill(series, 1) == 97.5


def test_a_cell_may_be_changed_back_and_that_is_said(series):
    opened = text(series)
    save(series, opened.replace("97.5", "96"))
    settle(series)
    save(series, opened)
    assert pending(series) == ("log.csv has an edit that the journal has not yet: melt 1: fill 96 -> 97.5",)
    settled = settle(series)
    assert settled.lines(series) == ("Edit found in log.csv and entered in the journal: melt 1: fill 96 -> 97.5",)
    assert "96 -> 97.5" in history(series)[-1]
    undo(series)
    assert fill(series, 1) == 96


def test_an_old_window_saved_over_a_command_is_asked_about(series):
    opened = text(series)
    record_melt(series, 1, seen={"fill": 96}, correct=True)
    record_melt(series, 3, seen=SPILLED)
    save(series, opened.replace("calm", "slow"))
    found = problems(series)
    assert len(found) == 2
    assert 'write "96" here and save' in found[0]
    assert "meltdoe record --melt 1 --correct" in found[0]
    assert (
        "melt 3 is in the journal and no longer in this file; bring it back with: meltdoe check --rebuild" in found[1]
    )
    assert "meltdoe record --remove --melt 3 --reason" in found[1]
    kept = rebuild(series).set_aside
    assert "slow" in kept.read_text(encoding="utf-8")
    remove_melt(series, 3, "another charge")
    assert read_log(series).melt_numbers == {1, 2}


def test_an_old_copy_to_the_letter_is_said_and_written_again(series):
    opened = text(series)
    record_melt(series, 3, seen=SPILLED)
    save(series, opened)
    said = "log.csv is an older copy to the letter and will be written again from the journal"
    assert pending(series) == (said,)
    assert settle(series).lines(series) == (
        "log.csv was an older copy to the letter, and was written again from the journal",
    )
    assert pending(series) == ()
    (series.folder / "log.csv").unlink()
    assert "missing" in pending(series)[0]


@pytest.mark.parametrize("moment", ["while it is read", "while the journal is written"])
def test_a_save_in_the_midst_of_a_command_is_not_overwritten(series, monkeypatch, moment):
    edited = text(series).replace("calm", "calm and slow")
    module, name = (log_csv, "read_journal") if moment == "while it is read" else (settling, "states")
    real, calls = getattr(module, name), []

    def interrupted(*args):
        found = real(*args)
        calls.append(name)
        if len(calls) == 1:
            save(series, edited)
        return found

    with monkeypatch.context() as patch:
        patch.setattr(module, name, interrupted)
        with pytest.raises(ProblemsFound, match="was saved by another program"):
            record_melt(series, 3, seen=SPILLED)
    assert text(series) == edited
    if moment == "while it is read":
        assert len(read_journal(series.folder / "journal.jsonl").events) == 3
        assert [change.after for change in record_melt(series, 3, seen=SPILLED).settled.changes] == ["calm and slow"]
    else:
        assert "melt 3 is in the journal and no longer in this file" in problems(series)[0]
        assert rebuild(series).set_aside.read_text(encoding="utf-8") == edited
    assert read_log(series).melt_numbers == {1, 2, 3}


def test_an_edit_is_not_entered_by_a_command_that_fails(series):
    save(series, text(series).replace("calm", "slow"))
    before = snapshot(series.folder)
    for act in (
        lambda: record_melt(series, 1, seen={"fill": 50}),
        lambda: remove_melt(series, 9, "not ours"),
        lambda: write_plan(series, bench_plan(series, 2, 1, flux=39.0)),
    ):
        with pytest.raises(ProblemsFound):
            act()
        assert snapshot(series.folder) == before
    assert record_melt(series, settings=settings(), seen=SPILLED).settled.changes[0].after == "slow"


def test_a_file_cut_off_while_it_was_saved_is_no_edit(series):
    whole = text(series)
    save(series, whole[: whole.index("90") + 1])
    (problem,) = problems(series)
    assert "ends without a line break" in problem
    assert "meltdoe check --rebuild" in problem
    rebuild(series)
    assert text(series) == whole
