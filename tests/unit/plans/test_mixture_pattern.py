"""Blends of amounts that share a total: a simplex within the limit, crossed with what else is varied."""

import numpy as np
import pytest
from planning_series import PACKING, limit, series

from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.series import Amount, Budget, Choice, Costs, Kiln

SODA = Amount("soda", 0, 20, unit="wt%", step=1)
POTASH = Amount("potash", 2, 22, unit="wt%", step=1)
BORAX = Amount("borax", 0, 20, unit="wt%", step=1)
TOTAL = limit("soda + potash <= 22")
PEAK = Amount("peak", 1000, 1200, unit="°C", step=10)


def blends(*others, limits=(TOTAL,), first=(SODA, POTASH), **changes):
    bare = {"budget": Budget(), "costs": Costs(), "beliefs": (), "kiln": Kiln(1)}
    return series(factors=(*first, *others), limits=limits, **{**bare, **changes})


def test_three_components_take_the_simplex_centroid():
    plan = make_plan(blends(), "mixture")
    shares = (plan.raw - [0, 2]) / 20.0
    table = np.column_stack([shares, 1.0 - shares.sum(axis=1)])
    # Scheffe (1963): pure components, halves, thirds; thirds of 20 stand on the step at 7, 7 and 6
    assert sorted(map(tuple, np.round(table, 2).tolist())) == sorted(
        [(1, 0, 0), (0, 1, 0), (0, 0, 1), (0.5, 0.5, 0), (0.5, 0, 0.5), (0, 0.5, 0.5), (0.35, 0.35, 0.3)]
    )
    assert plan.design == "mixture"
    assert "simplex centroid of 3 components (soda, potash and what they leave of their total)" in plan.reason
    assert not any("moved" in melt.purpose for melt in plan.melts)


@pytest.mark.parametrize(
    ("melts", "says"), [(3, "pure components"), (6, "{3, 2}"), (10, "{3, 3}"), (14, "in 7 blends, 2 times")]
)
def test_the_number_of_melts_chooses_the_blends(melts, says):
    plan = make_plan(blends(), "mixture", melts)
    assert len(plan.melts) == melts
    assert says in plan.reason
    assert blends().allowed(plan.raw).all()


def test_the_quadratic_of_all_components_can_be_estimated():
    four = blends(first=(SODA, POTASH, BORAX), limits=(limit("soda + potash + borax <= 22"),))
    plan = make_plan(four, "mixture")
    assert len(plan.melts) == 10
    coded = plan.raw / 10.0
    pairs = [coded[:, i] * coded[:, j] for i in range(3) for j in range(i, 3)]
    assert np.linalg.matrix_rank(np.column_stack([np.ones(10), coded, *pairs])) == 10


def test_each_blend_is_made_at_every_setting_of_the_others():
    plan = make_plan(blends(PEAK, PACKING), "mixture", 24)
    assert len(np.unique(plan.raw[:, :2], axis=0)) == 6
    assert len(np.unique(plan.raw, axis=0)) == 24
    assert "each at every combination of peak and packing" in plan.reason
    held = make_plan(blends(PEAK, PACKING), "mixture", hold=["peak"])
    assert len(held.melts) == 14


def test_many_others_are_crossed_as_a_fraction():
    others = [Amount(f"x{i}", 0, 10) for i in range(3)]
    plan = make_plan(blends(*others), "mixture", 24)
    assert "each at a fraction of the combinations of x0, x1 and x2" in plan.reason
    coded = plan.raw[:, 2:] / 5.0 - 1.0
    assert np.allclose(coded.T @ coded, 24 * np.eye(3))


def test_a_budget_takes_what_fits():
    assert len(make_plan(blends(budget=Budget(melts=6)), "mixture").melts) == 6
    with pytest.raises(PlanImpossible, match="blends of these factors take 3, 6, 7, 10 melts"):
        make_plan(blends(budget=Budget(melts=2)), "mixture")


def test_any_way_of_writing_the_total_is_read():
    for text in ("22 - soda - potash >= 0", "2 * (soda + potash) <= 44", "potash <= 22 - soda"):
        assert len(make_plan(blends(limits=(limit(text),)), "mixture").melts) == 7
    for text in ("soda + 2 * potash <= 24", "soda * potash <= 40", "soda <= 18"):
        with pytest.raises(PlanImpossible, match="needs a limit on the sum of amounts"):
            make_plan(blends(limits=(limit(text),)), "mixture")


def test_a_range_that_cuts_the_blends_off_is_refused():
    with pytest.raises(PlanImpossible, match="raise the high end of soda"):
        make_plan(blends(first=(Amount("soda", 0, 12, unit="wt%"), POTASH)), "mixture")


def test_coarse_steps_are_refused():
    coarse = Amount("soda", 0, 20, step=20), Amount("potash", 0, 20, step=20)
    with pytest.raises(PlanImpossible, match="too coarse"):
        make_plan(blends(first=coarse, limits=(limit("soda + potash <= 20"),)), "mixture", 7)


def test_a_choice_is_no_share():
    with pytest.raises(PlanImpossible, match="needs a limit on the sum"):
        make_plan(series(factors=(SODA, Choice("kind", ("a", "b"))), limits=(), beliefs=()), "mixture")
