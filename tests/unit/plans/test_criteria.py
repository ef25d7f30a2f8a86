"""What an optimal plan can be best for, from the series and from the search itself."""

import numpy as np
import pytest
from planning_series import plain, series

from meltdoe.errors import WrongUsage
from meltdoe.plans.designs_offered import CRITERIA
from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.optimal.coordinate_exchange import Continuous, exchange
from meltdoe.plans.optimal.logistic_design import utility
from meltdoe.plans.optimal.model_matrix import main_effects, two_factor_interactions
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.series import Kiln


@pytest.mark.parametrize("criterion", CRITERIA)
def test_every_criterion_keeps_limits_and_firings(criterion):
    given = series()
    drawn = make_plan(given, "optimal", 9, criterion=criterion.upper())
    assert given.allowed(drawn.raw).all()
    assert CRITERIA[criterion] in drawn.reason
    for firing in set(drawn.firings):
        rows = drawn.raw[np.array(drawn.firings) == firing]
        assert len(np.unique(rows[:, list(given.per_firing)], axis=0)) == 1


def test_criteria_that_make_no_sense_are_refused():
    with pytest.raises(WrongUsage, match="take one of D, A, I"):
        make_plan(plain(3), "optimal", 8, criterion="Z")
    with pytest.raises(WrongUsage, match="goes with design"):
        make_plan(plain(3), "fraction", 8, criterion="I")


def test_possible_terms_are_the_prior_precision_written_out():
    factors = [Continuous((-1.0, 1.0))] * 4
    mains, crosses = main_effects(4), two_factor_interactions(4)
    named = exchange(factors, mains, 8, "bayesian-D", possible=crosses, tau=0.5)
    prior = np.concatenate([np.zeros(5), np.full(6, 4.0)])
    written = exchange(factors, [*mains, *crosses], 8, prior_precision=prior)
    assert named.log_det == pytest.approx(written.log_det)
    with pytest.raises(ValueError, match="possible terms go with"):
        exchange(factors, mains, 8, "D", possible=crosses)


def test_pass_chance_beats_the_corners_where_effects_are_strong():
    factors = [Continuous(per_firing=True), Continuous()]
    draws = np.random.default_rng(2).normal([0.0, 5.0, 4.0], [1.0, 1.0, 1.0], size=(128, 3))
    prior = np.eye(3) * 0.01
    found = exchange(factors, main_effects(2), 8, "pass-chance", draws=draws, prior_precision=prior, firings=[2] * 4)
    corners = np.array([[1.0, a, b] for a in (-1, 1) for b in (-1, 1)] * 2)
    assert found.criterion > utility(corners, draws, prior) + 1.0
    assert (found.table[0::2, 0] == found.table[1::2, 0]).all()
    rows = np.column_stack([np.ones(8), found.table])
    assert found.criterion == pytest.approx(utility(rows, draws, prior), abs=1e-4)


def test_a_range_of_ratios_is_served_by_one_design():
    factors = [Continuous(per_firing=True), Continuous(), Continuous()]
    found = exchange(factors, main_effects(3), 10, firings=[3, 3, 2, 2], eta=(0.1, 10.0))
    assert [ratio for ratio, _ in found.by_eta] == [0.1, 10.0]
    assert min(share for _, share in found.by_eta) > 97.0
    drawn = make_plan(plain(4, per_firing=1, kiln=Kiln(3)), "optimal", 9, variance_ratios=(0.1, 10.0))
    assert "at a ratio of 10" in drawn.reason


def test_interactions_that_must_stay_clear():
    drawn = make_plan(plain(6), "fraction", 16, keep_clear=["x1 * x2"])
    assert "clear of all others, as asked: x1 * x2" in drawn.reason
    with pytest.raises(PlanImpossible, match="there is no fraction"):
        make_plan(plain(6), "fraction", 8, keep_clear=["x1 * x2"])
    with pytest.raises(PlanImpossible, match="there is no fraction"):
        make_plan(plain(6, per_firing=2, kiln=Kiln(4)), "fraction", 8, keep_clear=["x1 * x3"])
    with pytest.raises(WrongUsage, match="no interaction of two factors"):
        make_plan(plain(6), keep_clear=["x1"])
    assert "x1 * x2" in make_plan(plain(3), "optimal", 8, keep_clear=["x1 * x2"]).reason
