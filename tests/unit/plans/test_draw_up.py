"""From a series to a plan: which pattern, which firings, which limits; and what is refused, in which words."""

import numpy as np
import pytest
from planning_series import BOILS_OVER, COOLING, FLUX, HOLD, PACKING, PEAK, limit, plain, series

from meltdoe.errors import MeltdoeError, WrongUsage
from meltdoe.plans.designs_offered import DESIGNS
from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.merits.assessment import assess
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.series import Amount, Budget, Choice, Costs, Kiln, Ordered, parse_term


def coded(plan):
    return np.column_stack([plan.series.coding.factor_columns(n, plan.raw) for n in plan.series.factor_names])


def groups_of(plan):
    """Per firing: number of melts and number of different per-firing settings."""
    firings = np.array(plan.firings)
    held = plan.raw[:, plan.series.per_firing]
    return [(int((firings == f).sum()), len(np.unique(held[firings == f], axis=0))) for f in np.unique(firings)]


def test_without_wishes_the_example_gets_a_fraction_in_four_firings():
    plan = make_plan(series())
    assert plan.design == "fraction"
    assert groups_of(plan) == [(2, 1)] * 4
    assert "resolution III" in plan.reason
    assert plan.seed == series().seed


def test_melts_and_firings_are_numbered_in_the_order_of_the_work():
    plan = make_plan(series(), first_melt=5, first_firing=3, melts=8, design="fraction")
    assert [m.melt for m in plan.melts] == list(range(5, 13))
    assert plan.firings == tuple(sorted(plan.firings))
    assert plan.firings[0] == 3


@pytest.mark.parametrize(
    ("factors", "runs", "resolution"),
    [(3, 8, None), (4, 8, 4), (5, 8, 3), (5, 16, 5), (7, 16, 4), (9, 16, 3), (9, 32, 4)],
)
def test_fractions_are_as_little_mixed_up_as_the_melts_allow(factors, runs, resolution):
    plan = make_plan(plain(factors), "fraction", runs)
    assert len(plan.melts) == runs
    assert assess(plan).resolution == resolution
    assert np.array_equal(coded(plan).T @ coded(plan), runs * np.eye(factors))


def test_a_fraction_that_is_not_asked_for_a_number_takes_the_smallest_that_keeps_main_effects_clear():
    assert len(make_plan(plain(4), "fraction").melts) == 8
    assert len(make_plan(plain(5), "fraction").melts) == 16
    assert len(make_plan(plain(5, budget=Budget(melts=15)), "fraction").melts) == 8


def test_per_firing_factors_take_few_firings_and_both_kinds_are_balanced():
    """16 melts, 4 a firing, 2 of 6 factors per firing: 4 settings of the kiln, one firing each; still resolution IV."""
    plan = make_plan(plain(6, per_firing=2, kiln=Kiln(4)), "fraction", 16)
    assert groups_of(plan) == [(4, 1)] * 4
    assert assess(plan).resolution == 4
    assert np.array_equal(coded(plan).T @ coded(plan), 16 * np.eye(6))


def test_a_setting_of_the_kiln_is_repeated_over_firings_where_one_firing_does_not_hold_its_melts():
    plan = make_plan(plain(4, per_firing=1, kiln=Kiln(2)), "fraction", 8)
    assert groups_of(plan) == [(2, 1)] * 4
    settings = {firing: m.settings["x1"] for m, firing in zip(plan.melts, plan.firings, strict=True)}
    assert sorted(settings.values()) == [0.0, 0.0, 10.0, 10.0]
    whole = assess(plan).effects[0]
    assert (whole.judged_by, whole.df) == ("firings", 2)


def test_fewer_firings_left_change_the_fraction_before_it_is_refused():
    """Three per-firing factors take eight settings in 16 melts, or four where firings are short: then x3 = x1 * x2."""
    rich = make_plan(plain(6, per_firing=3, kiln=Kiln(4)), "fraction", 16)
    poor = make_plan(plain(6, per_firing=3, kiln=Kiln(4), budget=Budget(firings=5)), "fraction", 16)
    assert len(set(rich.firings)) == 8
    assert len(set(poor.firings)) == 4
    with pytest.raises(PlanImpossible, match="at least 4 firings, since x1, x2, x3 stay the same within a firing"):
        make_plan(plain(6, per_firing=3, kiln=Kiln(4), budget=Budget(firings=3)), "fraction", 16)


def test_melts_that_would_break_a_limit_are_moved_to_the_nearest_step_and_say_so():
    plan = make_plan(series(), "fraction", 8)
    moved = [m for m in plan.melts if "moved" in m.purpose]
    assert [(m.settings["flux"], m.settings["peak"]) for m in moved] == [(35.0, 1250.0)] * 2
    assert "2 melts were moved" in plan.reason
    assert "the charge boils over" in plan.reason


def test_a_limit_on_the_kiln_alone_moves_whole_firings():
    plan = make_plan(series(limits=(limit("peak <= 1203"),)), "fraction", 8)
    assert {m.settings["peak"] for m in plan.melts} == {1000.0, 1200.0}
    assert groups_of(plan) == [(2, 1)] * 4


def test_a_pattern_that_a_limit_would_crush_is_refused_and_replaced():
    tight = series(limits=(limit("flux <= 16", "the crucible dissolves"),))
    with pytest.raises(PlanImpossible, match=r'"flux <= 16" \(the crucible dissolves\) would move 4 of 8 melts'):
        make_plan(tight, "fraction", 8)
    assert make_plan(tight, melts=8).design == "optimal"


def test_a_limit_that_nothing_keeps_is_named():
    with pytest.raises(PlanImpossible, match='"flux <= 10"'):
        make_plan(series(limits=(limit("flux <= 10"),)), "fraction", 8)


def test_three_options_are_refused_by_two_level_designs_and_used_by_the_optimal_one():
    three = series(factors=(FLUX, PEAK, Choice("kind", ("soda", "potash", "borax"))))
    with pytest.raises(PlanImpossible, match='factor "kind" has 3 options and a two-level fraction takes two'):
        make_plan(three, "fraction", 8)
    plan = make_plan(three, melts=9)
    assert plan.design == "optimal"
    assert {m.settings["kind"] for m in plan.melts} == {"soda", "potash", "borax"}


def test_two_options_are_two_levels():
    plan = make_plan(series(factors=(FLUX, PACKING, Ordered("sand", ("fine", "coarse"))), limits=()), "fraction", 8)
    assert np.array_equal(coded(plan).T @ coded(plan), 8 * np.eye(3))


def test_every_combination_of_ends_and_options():
    plan = make_plan(series(factors=(FLUX, Choice("kind", ("a", "b", "c"))), limits=()), "full")
    assert len({tuple(m.settings.values()) for m in plan.melts}) == len(plan.melts) == 6
    twice = make_plan(series(factors=(FLUX, Choice("kind", ("a", "b", "c"))), limits=()), "full", 12)
    assert sum(m.purpose.startswith("repeat of melt") for m in twice.melts) == 6
    with pytest.raises(PlanImpossible, match="takes 6 melts or a multiple of that, not 8"):
        make_plan(series(factors=(FLUX, Choice("kind", ("a", "b", "c"))), limits=()), "full", 8)


def test_a_repeat_names_an_earlier_melt_with_the_same_settings():
    plan = make_plan(plain(1), "fraction", 4)
    by_number = {m.melt: m for m in plan.melts}
    repeats = [m for m in plan.melts if m.purpose.startswith("repeat")]
    assert len(repeats) == 2
    for melt in repeats:
        earlier = by_number[int(melt.purpose.split()[-1])]
        assert earlier.melt < melt.melt
        assert earlier.settings == melt.settings


def test_plackett_burman_takes_the_melts_that_it_has():
    plan = make_plan(plain(7, per_firing=1, kiln=Kiln(3)), "plackett-burman")
    assert len(plan.melts) == 12
    assert groups_of(plan) == [(3, 1)] * 4
    assert np.allclose(coded(plan).T @ coded(plan), 12 * np.eye(7))
    assert make_plan(plain(7), melts=12).design == "plackett-burman"
    with pytest.raises(PlanImpossible, match=r"12, 20, 24, .* 48 melts, not 14"):
        make_plan(plain(7), "plackett-burman", 14)


@pytest.mark.parametrize(
    ("design", "melts"), [("definitive-screening", 9), ("box-behnken", 27), ("central-composite", 30)]
)
def test_three_level_designs_stay_within_the_range(design, melts):
    plan = make_plan(plain(4), design)
    assert len(plan.melts) == melts
    assert set(np.unique(coded(plan))) == {-1.0, 0.0, 1.0}
    if design == "definitive-screening":  # takes choices of two options, but too many firings here
        with pytest.raises(PlanImpossible, match="9 firings of at most 3 melts"):
            make_plan(series(), design)
        return
    with pytest.raises(PlanImpossible, match="has no middle between its options"):
        make_plan(series(), design)


def test_centre_points_get_firings_of_their_own_where_the_kiln_is_varied():
    plan = make_plan(series(limits=()), "fraction", 8, centre_points=3)
    centre = [m for m in plan.melts if m.purpose == "centre point"]
    assert len(centre) == 3
    assert len({m.firing for m in centre}) == 1
    assert {m.settings["peak"] for m in centre} == {1120.0} or {m.settings["peak"] for m in centre} == {1130.0}
    assert {m.settings["packing"] for m in centre} == {"loose", "pressed"}
    assert len(set(plan.firings)) == 5


def test_centre_points_are_spread_over_firings_where_nothing_is_set_per_firing():
    plan = make_plan(plain(3, kiln=Kiln(5)), "fraction", 8, centre_points=2)
    assert sorted(m.firing for m in plan.melts if m.purpose == "centre point") == [1, 2]


def test_melts_of_a_firing_balance_the_other_factors():
    """A 2^3 in two firings of four: each has every factor at each level twice, so firings cost no main effect."""
    plan = make_plan(plain(3, kiln=Kiln(4)), "full")
    first = coded(plan)[np.array(plan.firings) == 1]
    assert np.array_equal(first.sum(axis=0), np.zeros(3))
    assert abs(first.prod(axis=1).sum()) == 4  # what the firings carry is the three-factor interaction


def test_space_filling_spreads_every_factor_over_its_range():
    plan = make_plan(series(limits=()), "space-filling", 12)
    assert len({m.settings["flux"] for m in plan.melts}) == 12
    assert len({m.settings["peak"] for m in plan.melts}) == len(set(plan.firings)) == 5
    assert [sorted(m.settings["packing"] for m in plan.melts).count(p) for p in PACKING.options] == [6, 6]


def test_an_optimal_design_estimates_the_terms_asked_for():
    terms = tuple(map(parse_term, ("flux", "peak", "flux * peak", "flux ^ 2")))
    wanted = series(factors=(FLUX, PEAK), terms=terms, kiln=Kiln(2))
    plan = make_plan(wanted, melts=10)
    assert plan.design == "optimal"
    assert assess(plan).indistinguishable == ()
    assert len({m.settings["flux"] for m in plan.melts}) >= 3
    with pytest.raises(PlanImpossible, match="4 melts cannot estimate the 5 quantities of the terms"):
        make_plan(wanted, melts=4)


def test_an_optimal_design_completes_melts_already_made():
    """Four melts lie in one half of the region: the next four go to the other."""
    made = np.array([[0.0, 0.0], [0.0, 10.0], [0.0, 0.0], [0.0, 10.0]])
    plan = make_plan(plain(2), "optimal", 4, first_melt=5, existing=made)
    assert {m.settings["x1"] for m in plan.melts} == {10.0}
    assert plan.melts[0].melt == 5


def test_the_budget_counts_what_was_made_before():
    with pytest.raises(PlanImpossible, match="takes 8 melts and the budget leaves 6"):
        make_plan(series(), "fraction", 8, first_melt=9)
    with pytest.raises(PlanImpossible, match="firings"):
        make_plan(series(), "fraction", 8, first_firing=4)
    with pytest.raises(PlanImpossible, match="cost 134 EUR and the budget leaves 100"):
        make_plan(series(budget=Budget(money=100.0, currency="EUR")), "fraction", 8)


def test_numbers_that_were_passed_over_are_not_taken_off_the_budget():
    plan = make_plan(series(), "fraction", 8, first_melt=9, first_firing=9, used=(2, 1))
    assert [melt.melt for melt in plan.melts] == list(range(9, 17))
    assert min(melt.firing for melt in plan.melts) == 9
    with pytest.raises(PlanImpossible, match="takes 8 melts and the budget leaves 6"):
        make_plan(series(), "fraction", 8, used=(8, 1))


def test_money_bounds_the_number_of_melts():
    plan = make_plan(series(budget=Budget(money=150.0)), "optimal")
    firings = len(set(plan.firings))
    assert 12.0 * len(plan.melts) + 9.5 * firings <= 150.0


def test_too_few_firings_for_the_factors_of_the_kiln():
    with pytest.raises(PlanImpossible, match="2 effects of factors that are set per firing need at least 3 firings"):
        make_plan(series(budget=Budget(firings=2)), "optimal", 6)


def test_wrong_words_and_numbers_are_refused():
    with pytest.raises(WrongUsage, match='"fractal" is no design; take one of auto, fraction'):
        make_plan(series(), "fractal")
    with pytest.raises(WrongUsage, match="at least one melt"):
        make_plan(series(), melts=0)
    with pytest.raises(WrongUsage, match="cannot be negative"):
        make_plan(series(), centre_points=-1)
    with pytest.raises(PlanImpossible, match="ask for 8 or 16 or 32 melts"):
        make_plan(series(), "fraction", 14)
    assert issubclass(PlanImpossible, MeltdoeError)


def test_names_of_designs_forgive_spaces_and_capitals():
    assert make_plan(plain(5), "Plackett Burman").design == "plackett-burman"


@pytest.mark.parametrize("design", [d for d in DESIGNS if d not in ("box-behnken", "central-composite", "mixture")])
def test_the_same_seed_gives_the_same_plan(design):
    four = series(factors=(FLUX, PEAK, HOLD, COOLING), budget=Budget(), limits=(BOILS_OVER,), costs=Costs())
    made = make_plan(four, "fraction", 8).raw if "foldover" in design else None
    first, again, other = (make_plan(four, design, seed=seed, existing=made) for seed in (3, 3, 4))
    assert first == again
    if design != "centre":
        assert [m.settings for m in first.melts] != [m.settings for m in other.melts]


def test_many_melts_for_three_amounts_map_the_curves_more_than_once():
    plan = make_plan(plain(3), melts=40)
    assert plan.design == "central-composite"
    assert "in 20 melts, 2 times" in plan.reason
    _, counts = np.unique(plan.raw, axis=0, return_counts=True)
    assert sorted(counts.tolist()) == [2] * 14 + [12]
    assert make_plan(plain(3), melts=15).design == "box-behnken"
    options = series(factors=(PACKING, Choice("kind", ("a", "b", "c"))), limits=(), beliefs=(), budget=Budget())
    assert make_plan(options, melts=12).design == "full"


def test_where_melts_abound_an_optimal_design_keeps_curves_in_view():
    many = make_plan(plain(3), "optimal", 18)
    assert "two-factor interactions and curves" in many.reason
    assert any(5.0 in melt.settings.values() for melt in many.melts)
    few = make_plan(plain(3), "optimal", 11)
    assert "curves" not in few.reason


def test_two_factors_are_made_often_enough_to_see_something():
    assert len(make_plan(plain(2)).melts) == 8
    assert len(make_plan(plain(2, budget=Budget(melts=6))).melts) == 4


def test_fewer_melts_than_effects_find_a_few_strong_ones():
    plan = make_plan(plain(9), "optimal", 6, criterion="bayesian-D")
    assert "only a few strong ones can be found" in plan.reason
    assert all(len(set(column)) == 2 for column in plan.raw.T)
    with pytest.raises(PlanImpossible, match="6 melts cannot estimate"):
        make_plan(plain(9), "optimal", 6)


def test_an_amount_without_a_step_stays_within_its_range():
    free = series(factors=(Amount("a", 0.1, 0.7), Amount("b", 3.0, 47.0, scale="log"), PACKING), limits=())
    for design in ("fraction", "optimal", "space-filling", "centre"):
        raw = make_plan(free, design, 8).raw
        assert (raw[:, 0] >= 0.1).all()
        assert (raw[:, 0] <= 0.7).all()
        assert (raw[:, 1] >= 3.0).all()
        assert (raw[:, 1] <= 47.0).all()


def test_a_fraction_of_everything_is_called_what_it_is():
    assert make_plan(plain(4), "fraction", 8).design == "fraction"
    whole = make_plan(plain(3), "fraction", 8)
    assert whole.design == "full"
    assert whole.reason == "every combination of two levels of 3 factors"


def test_a_pattern_moved_by_a_limit_does_not_keep_its_promise():
    plan = make_plan(plain(5, limits=(limit("x1 + x2 <= 16", "it leaks"),)), "fraction", 16, keep_clear=("x1 * x3",))
    assert "so that what is said of the pattern holds no longer as it stands" in plan.reason
    assert plan.reason.endswith("also of what was to be kept clear")
    assert "holds no longer" not in make_plan(plain(5), "fraction", 16).reason
