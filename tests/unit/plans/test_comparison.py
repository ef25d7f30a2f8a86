"""Plans side by side: within the budget, different from each other, one of them recommended for a stated reason."""

from dataclasses import replace

import pytest
from planning_series import COOLING, FLUX, HOLD, PACKING, PEAK, limit, plain, series

from meltdoe.plans.comparison import compare_plans
from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.plans.plans_to_compare import Asked, alike
from meltdoe.series import Amount, Budget, Choice, Costs, Kiln

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
    assert "succeeds 90 % of the time (give or take 5 points)" in compared.reason
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


@pytest.mark.parametrize(
    ("factors", "melts"), [(1, 4), (1, 6), (2, 4), (2, 6), (4, 4), (5, 4), (5, 6), (6, 5), (7, 6), (7, 12), (15, 16)]
)
def test_a_handful_of_melts_still_leaves_four_plans(factors, melts):
    compared = compare_plans(plain(factors, budget=Budget(melts=melts), seed=9))
    assert 4 <= len(compared.options) <= 8
    assert compared.few == ""
    assert all(option.melts <= melts for option in compared.options)


def test_no_plan_is_shown_twice_under_two_names():
    for factors, melts in ((3, 8), (3, 40), (5, 6), (5, 16), (7, 12)):
        compared = compare_plans(plain(factors, budget=Budget(melts=melts)))
        for i, one in enumerate(compared.options):
            for other in compared.options[:i]:
                assert not alike(one.asked, one.plan, other.asked, other.plan), (one.name, other.name)


def test_the_same_fraction_with_signs_turned_is_the_same():
    half = make_plan(plain(5), "fraction", 16)
    turned = replace(
        half,
        design="optimal",
        melts=tuple(replace(melt, settings={**melt.settings, "x2": 10.0 - melt.settings["x2"]}) for melt in half.melts),
    )
    assert alike(Asked("fraction", 16), half, Asked("optimal", 16), turned)
    other = make_plan(plain(5), "space-filling", 16)
    assert not alike(Asked("fraction", 16), half, Asked("space-filling", 16), other)


def test_of_one_kind_a_few_melts_more_are_no_other_plan():
    ten, eleven, twelve = (make_plan(plain(3), "space-filling", melts) for melts in (10, 11, 12))
    asked = Asked("space-filling")
    assert alike(asked, ten, asked, eleven)
    assert not alike(asked, ten, asked, twelve)


def test_firings_too_few_for_what_is_set_per_firing_leave_that_alone():
    # three settings of the kiln cannot be told apart in two firings
    compared = compare_plans(plain(5, 3, budget=Budget(melts=8, firings=2), kiln=Kiln(4)))
    assert len(compared.options) >= 4
    for option in compared.options:
        assert option.asked.hold or option.design in ("space-filling", "sobol")
        assert "can wait" in option.choose_when or not option.asked.hold
    assert compared.option(compared.recommended).asked.hold


def test_a_factor_is_left_alone_only_where_nothing_else_shows_all():
    compared = compare_plans(plain(4, budget=Budget(melts=5)))
    assert not compared.option(compared.recommended).asked.hold


def test_where_fewer_plans_exist_that_is_said():
    # two options of one choice: nothing but how often each is made can differ
    two = series(factors=(Choice("kind", ("soda", "potash")),), limits=(), beliefs=(), costs=Costs())
    few = compare_plans(replace(two, budget=Budget(melts=3)))
    assert len(few.options) < 4
    assert few.few == "the budget leaves 3 melts, and there are 2 different settings in all"
    with pytest.raises(PlanImpossible, match=r"the budget leaves 1 melt, .* too little for any plan"):
        compare_plans(replace(two, budget=Budget(melts=1)))


def test_many_melts_for_few_factors_are_not_all_taken_for_power():
    compared = compare_plans(plain(3, budget=Budget(melts=40)), chances_shown=(0.1, 0.9))
    best = compared.option(compared.recommended)
    assert best.power >= 0.8
    assert best.melts == min(o.melts for o in compared.options if o.power >= 0.8 and not o.assessment.indistinguishable)
    assert "smallest plan that shows the weakest factor often enough" in compared.reason


def test_what_is_asked_for_draws_the_same_plan_again(comparison):
    for option in comparison.options:
        asked = option.asked
        assert make_plan(series(), asked.design, asked.melts, criterion=asked.criterion, hold=asked.hold) == option.plan


def test_blends_are_offered_where_amounts_share_a_total():
    soda, potash = (Amount(name, 0, 20, step=1) for name in ("soda", "potash"))
    shares = plain(2, factors=(soda, potash), limits=(limit("soda + potash <= 20"),), budget=Budget(melts=14))
    assert "mixture" in {option.design for option in compare_plans(shares).options}
    assert "mixture" not in {option.design for option in compare_plans(plain(2)).options}


def test_a_budget_for_nothing_is_refused():
    with pytest.raises(PlanImpossible, match="budget"):
        compare_plans(series(budget=Budget(melts=0)))
