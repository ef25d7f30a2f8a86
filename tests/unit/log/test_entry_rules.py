"""What no row may say, and what is a question."""

import pytest

from meltdoe.log.entry import QUESTION, Where, closed_chain, entry_row, log_problems, read_entry
from meltdoe.series import Amount, GoodRange, MeltSeries, Outcome, Unseen

HERE = Where("log.csv", 4)
CHAIN = (
    Outcome("contained", "pass"),
    Outcome("fill", "measured", unit="%", bounds=(0, 100), after="contained", good=GoodRange(low=95)),
    Outcome("cracks", "pass", after="fill", seen_per="mould"),
)


def series(moulds=1):
    return MeltSeries("Invented", (Amount("flux", 15, 40, unit="wt%"),), CHAIN, moulds_per_melt=moulds)


def read(moulds=1, **cells):
    texts = {"melt": "4", "firing": "2", "flux": "20"} | cells
    return read_entry(series(moulds), texts, HERE)


@pytest.mark.parametrize(
    "cells",
    [
        {"contained": "no"},
        {"contained": "yes", "fill": "80"},
        {"contained": "yes", "fill": "97", "cracks": "no"},
        {"contained": "yes", "fill": "later"},
        {"contained": "yes", "fill": "later", "cracks": "later"},
        {"contained": "yes", "fill": "lost", "cracks": "yes"},
        {"contained": "later"},
        {"note": "the crucible broke in the cold kiln"},
    ],
)
def test_rows_that_hold_together(cells):
    entry, problems = read(**cells)
    assert problems == ()
    assert entry is not None


@pytest.mark.parametrize(
    ("cells", "column"),
    [({"contained": "yes"}, "fill"), ({"contained": "yes", "fill": "97"}, "cracks"), ({}, "nothing")],
)
def test_a_blank_behind_a_good_forerunner_is_a_question(cells, column):
    _, problems = read(**cells)
    assert len(problems) == 1
    assert problems[0].mend.startswith(QUESTION)
    assert column in problems[0].what
    assert problems[0].line == 4


@pytest.mark.parametrize(
    ("cells", "column"),
    [
        ({"contained": "no", "fill": "80"}, "fill"),
        ({"contained": "no", "fill": "later"}, "fill"),
        ({"contained": "yes", "fill": "80", "cracks": "no"}, "cracks"),
        ({"fill": "80"}, "fill"),
    ],
)
def test_an_outcome_behind_a_forerunner_that_was_not_good_is_a_problem(cells, column):
    _, problems = read(**cells)
    assert len(problems) == 1
    assert f"has {column}" in problems[0].what
    assert "leave" in problems[0].mend


def test_all_faults_of_a_row_are_found_at_once():
    entry, problems = read(melt="x", firing="0", flux="", date="soon", contained="perhaps", fill="120")
    assert entry is None
    assert len(problems) == 6


def test_what_was_awaited_closes_when_it_cannot_come():
    seen = {"contained": False, "fill": Unseen.LATER, "cracks": Unseen.LATER}
    assert closed_chain(series(), seen) == {
        "contained": False,
        "fill": Unseen.NOT_REACHED,
        "cracks": Unseen.NOT_REACHED,
    }
    assert closed_chain(series(), seen, said=["fill", "cracks"]) == seen


def test_one_melt_may_stand_once():
    entry, _ = read(contained="no")
    problems = log_problems(series(), [(entry, Where("log.csv", 2)), (entry, Where("log.csv", 5))])
    assert [str(p) for p in problems] == ["log.csv, line 5: melt 4 stands already in line 2; keep one of the two rows"]


def test_moulds_of_one_melt_agree_on_what_they_share():
    first, _ = read(moulds=2, mould="1", contained="yes", fill="97", cracks="no")
    second, _ = read(moulds=2, mould="2", contained="yes", fill="97", cracks="yes")
    other, _ = read(moulds=2, mould="2", contained="yes", fill="99", cracks="yes")
    assert log_problems(series(2), [(first, HERE), (second, HERE)]) == ()
    (problem,) = log_problems(series(2), [(first, HERE), (other, HERE)])
    assert 'fill "99"' in problem.what
    _, problems = read(moulds=2, mould="3", contained="no")
    assert "a melt fills 2" in problems[0].what


def test_a_row_leaves_blank_cells_out():
    entry, _ = read(contained="yes", fill="later")
    assert entry_row(series(), entry) == {"melt": 4, "firing": 2, "flux": 20.0, "contained": "yes", "fill": "later"}
