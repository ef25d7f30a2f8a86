"""What came to a series when melts were on record: old rows keep their meaning, nothing is typed into a table."""

import json
from dataclasses import replace

import pytest
from bench_series import FILL, FLUX, GOOD, PEAK, SAND, SPILLED, bench_plan, bench_series, settings

from meltdoe.errors import ProblemsFound
from meltdoe.files.store.log_csv import read_log
from meltdoe.files.store.plan_csv import read_plan, write_plan
from meltdoe.files.store.recording import history, rebuild, record_melt, undo
from meltdoe.files.store.settling import pending, settled_log
from meltdoe.series import Amount, Choice, Circumstance, Outcome, Unseen

COBALT = Amount("cobalt", 0, 2, unit="wt%", earlier=0.0)
LID = Choice("lid", ("off", "on"), earlier="off")
SEEDS = Outcome("seeds", "pass", after="fill")
KILN = Circumstance("kiln", options=("old", "new"))


@pytest.fixture
def series(tmp_path):
    made = bench_series(tmp_path)
    write_plan(made, bench_plan(made))
    record_melt(made, 1, seen=GOOD)
    record_melt(made, 2, seen=SPILLED)
    return made


def grown(series, *, factors=(), outcomes=(), circumstances=()):
    return replace(
        series,
        factors=(*series.factors, *factors),
        outcomes=(*series.outcomes, *outcomes),
        circumstances=(*series.circumstances, *circumstances),
    )


def headings(series):
    return (series.folder / "log.csv").read_text(encoding="utf-8").splitlines()[0].split(",")


def test_a_factor_that_came_later_stands_in_old_rows_at_what_it_was(series):
    now = grown(series, factors=(COBALT, LID))
    assert pending(now) == (
        "log.csv is without the new columns cobalt and lid and will be written again from the journal",
    )
    log, told = settled_log(now)
    assert [(entry.settings["cobalt"], entry.settings["lid"]) for entry in log.entries] == [(0.0, "off")] * 2
    assert told == ("log.csv was without the new columns cobalt and lid, and was written again from the journal",)
    assert {"cobalt", "lid"} <= set(headings(now))
    assert settled_log(now) == (log, ())
    assert len(history(now)) == 3, "nothing had to be entered in the journal"


def test_rows_that_were_planned_without_it_are_melted_as_planned(series):
    now = grown(series, factors=(COBALT,))
    assert {melt.settings["cobalt"] for melt in read_plan(now).melts} == {0.0}
    assert record_melt(now, 3, seen=SPILLED).entry.settings["cobalt"] == 0.0
    assert record_melt(now, 4, settings={"cobalt": 1.5}, seen=SPILLED).entry.settings["cobalt"] == 1.5
    undo(now)
    undo(now)
    assert [entry.settings["cobalt"] for entry in read_log(now).entries] == [0.0, 0.0]
    plan = bench_plan(now, first=5, firing=3)
    write_plan(now, replace(plan, melts=[replace(m, settings={**m.settings, "cobalt": 2.0}) for m in plan.melts]))
    assert not list(series.folder.glob("plan-set-aside*")), "the plan without the column is the one on record"


def test_a_melt_from_before_can_be_corrected_and_a_lost_log_comes_back(series):
    now = grown(series, factors=(COBALT,))
    record_melt(now, 1, settings={"cobalt": 0.5}, correct=True)
    (series.folder / "log.csv").unlink()
    assert [entry.settings["cobalt"] for entry in read_log(now).entries] == [0.5, 0.0]
    rebuild(now)
    assert [entry.settings["cobalt"] for entry in read_log(now).entries] == [0.5, 0.0]


def test_without_a_word_of_how_it_was_it_is_asked_for(series):
    unsaid = grown(series, factors=(replace(COBALT, earlier=None), replace(LID, earlier=None)))
    with pytest.raises(ProblemsFound) as found:
        read_log(unsaid)
    assert [problem.what for problem in found.value.problems] == [
        'the column "cobalt" is missing', 'the column "lid" is missing',
    ]  # fmt: skip
    assert "such as earlier = 0;" in found.value.problems[0].mend
    assert 'such as earlier = "off";' in found.value.problems[1].mend
    with pytest.raises(ProblemsFound, match=r"came to series.toml after this plan, .* such as earlier = 0;"):
        read_plan(unsaid)


def test_a_column_that_the_journal_has_held_may_not_go_missing(series):
    now = grown(series, factors=(COBALT,), circumstances=(KILN,))
    record_melt(now, 3, settings={"cobalt": 1.0}, seen=SPILLED, circumstances={"kiln": "new"})
    text = (series.folder / "log.csv").read_text(encoding="utf-8")
    places = [i for i, name in enumerate(headings(now)) if name not in ("cobalt", "kiln")]
    cut = [",".join(row.split(",")[i] for i in places) for row in text.splitlines()]
    (series.folder / "log.csv").write_text("\n".join(cut) + "\n", encoding="utf-8")
    with pytest.raises(ProblemsFound) as found:
        read_log(now)
    assert [problem.what for problem in found.value.problems] == [
        'the column "cobalt" is missing', 'the column "kiln" is missing',
    ]  # fmt: skip


def test_a_new_circumstance_is_blank_until_it_is_said(series):
    now = grown(series, circumstances=(KILN,))
    assert [entry.circumstances for entry in read_log(now).entries] == [{}, {}]
    done = record_melt(now, 1, circumstances={"kiln": "old"})
    assert done.how == "completed"
    assert [entry.circumstances for entry in read_log(now).entries] == [{"kiln": "old"}, {}]


@pytest.mark.parametrize("lost", ["nothing", "log.csv", "rebuilt"])
def test_a_new_outcome_is_awaited_where_the_melt_got_so_far(series, lost):
    now = grown(series, outcomes=(SEEDS,))
    if lost == "log.csv":
        (series.folder / "log.csv").unlink()
    if lost == "rebuilt":
        rebuild(now)
    log, told = settled_log(now)
    assert [entry.seen["seeds"] for entry in log.entries] == [Unseen.LATER, Unseen.NOT_REACHED]
    assert "Edit found in log.csv and entered in the journal: melt 1: seeds blank -> later" in told
    assert settled_log(now) == (log, ())
    assert record_melt(now, 1, seen={"seeds": "yes"}).entry.seen["seeds"] is True


def test_a_new_outcome_behind_one_that_was_bad_is_not_awaited(series):
    record_melt(series, 3, seen={"contained": "yes", "fill": "80"})
    entries = read_log(grown(series, outcomes=(SEEDS,))).entries
    assert [entry.seen["seeds"] for entry in entries] == [Unseen.LATER, Unseen.NOT_REACHED, Unseen.NOT_REACHED]
    assert FILL.is_good(entries[2].seen["fill"]) is False


def test_what_was_taken_out_of_the_series_leaves_the_table_with_one_command(series):
    less = replace(series, factors=(FLUX, PEAK))
    with pytest.raises(ProblemsFound, match=r'the column "sand" is not known; .* meltdoe check --rebuild'):
        read_log(less)
    rebuild(less)
    assert [set(entry.settings) for entry in read_log(less).entries] == [{"flux", "peak"}] * 2
    lines = (series.folder / "journal.jsonl").read_text(encoding="utf-8").splitlines()
    assert json.loads(lines[1])["data"]["rows"][0]["sand"] == settings()["sand"], "the journal forgets nothing"
    assert SAND.name not in headings(less)


def test_blank_is_still_a_question_where_the_column_is_there(series):
    now = grown(series, factors=(COBALT,))
    settled_log(now)
    path = series.folder / "log.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("fine,0,yes", "fine,,yes"), encoding="utf-8")
    with pytest.raises(ProblemsFound, match="cobalt is blank"):
        read_log(now)
