"""Beliefs put back on the scale they were stated on. All series are invented."""

from __future__ import annotations

import pytest
from invented_series import Row, fitted, passes

from meltdoe.fit.checks.belief_check import belief_check
from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.series import Belief

ROWS: list[Row] = [(f, p, p == "edge") for f in (10.0, 20, 30, 40) for p in ("tight", "edge")]


def test_no_beliefs_no_check() -> None:
    assert belief_check(fitted(passes(ROWS))) is None
    assert belief_check(fitted(passes(ROWS, beliefs=(Belief({"flux": 20.0}, "poured", 0.6, 0.0),)))) is None


def test_a_belief_worth_more_pulls_harder_before_any_melt() -> None:
    def check(worth: float) -> float:
        belief = Belief({"flux": 20.0, "packing": "tight"}, "poured", 0.9, worth)
        found = belief_check(fitted(passes(ROWS, beliefs=(belief,))))
        assert found is not None
        return found.beliefs[0].before.mean

    assert 0.5 < check(1.0) < check(20.0) < 0.92
    assert check(20.0) > 0.8


def test_melts_that_contradict_a_belief_are_said_to_do_so() -> None:
    wrong = Belief({"flux": 25.0, "packing": "tight"}, "poured", 0.95, 2.0)
    fine = Belief({"flux": 25.0, "packing": "edge"}, "poured", 0.8, 2.0)
    found = belief_check(fitted(passes(ROWS, beliefs=(wrong, fine))))
    assert found is not None
    assert [one.conflict for one in found.beliefs] == [True, False]
    first = found.beliefs[0]
    assert first.without.mean < first.after.mean < first.before.mean


def test_the_answer_without_beliefs_is_that_of_a_fit_without_them() -> None:
    belief = Belief({"flux": 40.0, "packing": "tight"}, "poured", 0.99, 30.0)
    series, log = passes(ROWS, beliefs=(belief,))
    chain = fit_chain(series, log)
    found = belief_check(chain)
    assert found is not None
    plain = fit_chain(series, log, use_beliefs=False)
    assert found.best_without.chance == pytest.approx(plain.best().chance, abs=1e-12)
    assert found.chance_without.mean == pytest.approx(plain.chance(chain.best().raw).mean[0], abs=1e-12)
    assert found.before_at_best.low < found.best.chance
