"""Plans side by side: within the budget, different from each other, one of them recommended for a stated reason."""

from dataclasses import replace

import pytest
from planning_series import COOLING, FLUX, HOLD, PACKING, PEAK, plain, series

from meltdoe.plans.comparison import compare_plans
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.series import Amount, Budget, Choice, Kiln

DRYING = Amount("drying", 1, 7, unit="d", step=1)
# without limits and with one setting of the kiln, plans are drawn up in a moment
FREE = series(factors=(FLUX, PEAK, PACKING, COOLING, DRYING), limits=(), beliefs=())
ROOMY = replace(FREE, budget=Budget(melts=21))


@pytest.fixture(scope="module")
def comparison():
    return compare_plans(series())


def test_four_to_eight_options_within_the_budget(comparison):
    assert 4 <= len(comparison.options) <= 8
    for option in comparison.options:
        assert option.melts == len(option.plan.melts) <= 14
        assert option.firings == len(set(option.plan.firings)) <= 6
        assert option.cost.sure <= 400.0
        assert 0.0 <= option.power <= 1.0
        assert option.aliased
        assert option.choose_when.endswith(".")
        assert option.rehearsal is None
    assert len({option.name for option in comparison.options}) == len(comparison.options)
    assert [option.melts for option in comparison.options] == sorted(option.melts for option in comparison.options)


def test_the_cost_holds_the_losses_that_beliefs_let_expect(comparison):
    option = comparison.option("fraction, 8 melts")
    assert option.cost.total == pytest.approx(8 * 12.0 + 4 * 9.5 + 8 * 0.4 * 45.0)
    sure = compare_plans(series(), chances={"contained": 1.0}).option("fraction, 8 melts")
    assert sure.cost.losses == 0.0


def test_the_recommended_plan_is_affordable_and_leaves_melts_over(comparison):
    best = comparison.option(comparison.recommended)
    assert best.within_money
    assert best.melts < 14
    assert "leaves 6 melts" in comparison.reason
    assert not comparison.option("optimal, 14 melts").within_money


def test_designs_that_do_not_fit_are_listed_with_the_reason(comparison):
    assert "no middle" in comparison.left_out["central-composite"]
    assert "9 firings" in comparison.left_out["definitive-screening"]


def test_a_rehearsal_fills_its_slot_and_decides():
    melts = []

    def rehearse(plan):
        melts.append(len(plan.melts))
        found = {"plackett-burman": 0.7, "space-filling": 0.9}
        return {"true_chance": found.get(plan.design, 0.5), "true_chance_error": 0.05}

    compared = compare_plans(ROOMY, rehearse=rehearse)
    assert len(melts) == len(compared.options)
    assert compared.option(compared.recommended).design == "space-filling"
    assert "succeeds 90 % of the time (Monte Carlo error 5 points)" in compared.reason
    assert set(compared.to_frame()["rehearsal_true_chance"]) == {0.7, 0.9, 0.5}


def test_a_plan_that_leaves_nothing_to_follow_up_with_is_not_recommended_for_its_rehearsal():
    def rehearse(plan):
        return {"true_chance": 0.95 if len(plan.melts) > 10 else 0.5, "true_chance_error": 0.05}

    # two thirds of 14 melts are 10, which only the fraction keeps to
    assert compare_plans(FREE, rehearse=rehearse).recommended == "fraction, 8 melts"


def test_of_rehearsals_that_end_alike_the_cheapest_is_taken():
    def rehearse(plan):
        return {"true_chance": 0.5 + 0.002 * len(plan.melts), "true_chance_error": 0.05}

    compared = compare_plans(FREE, rehearse=rehearse)
    assert compared.recommended == "fraction, 8 melts"


def test_the_frame_has_what_a_reader_needs(comparison):
    frame = comparison.to_frame()
    assert list(frame.columns[:6]) == ["name", "design", "melts", "firings", "days", "cost"]
    assert list(frame.columns[6:9]) == ["at_worst", "power", "aliased"]
    assert (frame["at_worst"] >= frame["cost"]).all()
    assert frame["recommended"].sum() == 1


def test_a_choice_of_three_still_gets_options():
    three = series(factors=(FLUX, PEAK, HOLD, Choice("kind", ("soda", "potash", "borax"))))
    compared = compare_plans(three)
    assert {option.design for option in compared.options} >= {"optimal", "space-filling"}
    assert "3 options" in compared.left_out["fraction"]


def test_without_a_budget_there_are_options_too():
    compared = compare_plans(plain(4, kiln=Kiln(2)))
    assert len(compared.options) >= 3
    assert compared.option(compared.recommended).within_money


def test_a_budget_for_nothing_is_refused():
    with pytest.raises(PlanImpossible, match="budget"):
        compare_plans(series(budget=Budget(melts=0)))
