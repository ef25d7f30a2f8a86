"""What is left, what each result would lead to believe, what is thin, what stands in the way: against brute force."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import beta
from small_chain import DRAWS, KEEP, LOGS, SOUND, SPILLED, chain_of, everything, small_series

from meltdoe.next_melt.advice import next_melts
from meltdoe.next_melt.left import Left, left_of_budget, unmade_melts
from meltdoe.next_melt.moves import all_moves, moves_that_help
from meltdoe.next_melt.stopping import chance_reachable, confirmation, confirmation_melts, stake
from meltdoe.next_melt.views import chain_views
from meltdoe.plans.melt_plan import PlannedMelt
from meltdoe.series import Budget, Costs, Kiln, Outcome


def advice_for(rows, most_risk=None, count=None, planned=(), **changes):
    return next_melts(chain_of(small_series(**changes), rows), most_risk=most_risk, count=count, planned=planned)


def plan_of(count, flux=30.0):
    """Two melts a firing."""
    return tuple(
        PlannedMelt(i + 1, i // 2 + 1, i + 1, {"flux": flux, "peak": 1150.0}, "fraction") for i in range(count)
    )


@pytest.mark.parametrize(
    ("budget", "made"),
    [
        (Budget(melts=6), 1),  # five of six melts are made
        (Budget(melts=7), 2),
        (Budget(firings=4), 2),  # the three firings made leave one
        (Budget(money=132.0 + 9.0 + 40.0), 1),  # 132 are spent; one firing and one melt with its likely losses
        (Budget(money=1000.0), 2),
    ],
)
def test_no_more_melts_are_proposed_than_the_budget_has_left(budget, made):
    advice = advice_for(LOGS["mixed"], budget=budget)
    assert len(advice.melts) == made
    if budget.money is not None:
        assert sum(melt.cost for melt in advice.melts) <= advice.left.money


@pytest.mark.parametrize(
    ("budget", "ending"),
    [
        (Budget(melts=5), "melts spent"),
        (Budget(firings=3), "firings spent"),
        (Budget(money=140.0), "money spent"),
    ],
)
def test_where_nothing_is_left_it_stops_and_shows_one_melt(budget, ending):
    advice = advice_for(LOGS["mixed"], budget=budget)
    assert (advice.verdict.word, advice.verdict.ending) == ("stop", ending)
    assert len(advice.melts) == 1


def test_what_is_left_is_counted_from_the_log():
    log = chain_of(small_series(budget=Budget(melts=9, firings=4, money=200.0)), LOGS["mixed"]).log
    assert left_of_budget(log) == Left(melts=4, firings=1, money=200.0 - 132.0)
    assert left_of_budget(log).melts_payable(20.0, 9.0) == 2
    assert Left(None, None, None).melts_payable(20.0, 9.0) is None
    assert Left(None, None, 5.0).melts_payable(20.0, 9.0) == 0


def test_melts_of_the_plan_are_not_forgotten():
    """Five of eight are made; melt 6 belongs to firing 3, which holds melt 5 already."""
    advice = advice_for(LOGS["mixed"], planned=plan_of(8))
    assert advice.unmade.melts == (6, 7, 8)
    assert (advice.unmade.in_begun_firing, advice.unmade.firing) == ((6,), 3)
    assert [melt.planned for melt in advice.planned.melts] == [6]
    assert advice.planned.melts[0].firing == 3
    assert advice_for(LOGS["mixed"], planned=plan_of(5)).unmade is None
    assert advice_for(LOGS["mixed"]).unmade is None


def test_a_firing_that_the_plan_fills_no_further_has_no_room():
    log = chain_of(small_series(), LOGS["all good"]).log
    assert unmade_melts(log, plan_of(6)).in_begun_firing == ()
    assert unmade_melts(log, plan_of(6)).melts == (5, 6)


def test_a_repeat_names_the_melts_that_it_repeats():
    series = small_series()
    rows = [(flux, peak, SPILLED) for flux, peak in everything(series)[:, :2]]  # every setting once
    advice = next_melts(chain_of(series, rows, draws=200))
    for melt in advice.melts:
        assert len(melt.repeats) == 1
        entry = next(e for e in chain_of(series, rows, draws=200).log.entries if e.melt == melt.repeats[0])
        assert entry.settings == melt.settings


@pytest.mark.parametrize("rows", LOGS.values(), ids=LOGS.keys())
def test_results_are_all_ways_the_melt_can_go_with_what_is_then_best(rows):
    """Each way weighs the draws of the stages that it passed; every setting looked at, written out."""
    series = small_series()
    chain, raw = chain_of(series, rows), everything(series)
    advice = next_melts(chain)
    names = [stage.outcome.name for stage in chain.stages]
    good = [stage.chance_draws(raw) for stage in chain.stages]
    melt = [stage.chance_draws(advice.melts[0].raw[None])[:, 0] for stage in chain.stages]
    assert sum(way.chance for way in advice.results) > 0.98
    for way in advice.results:
        failed = names.index(way.failed[0]) if way.failed else len(names)
        assert len(way.failed) <= 1
        weights = [m if k < failed else 1.0 - m if k == failed else np.ones(DRAWS) for k, m in enumerate(melt)]
        assert way.chance == pytest.approx(np.prod([weight.mean() for weight in weights]))
        then = np.prod([w @ g / w.sum() for w, g in zip(weights, good, strict=True)], axis=0)
        assert then.max() - 0.005 <= way.best_chance + 1e-9
        assert way.best_chance <= then.max() + 1e-9
        assert way.moves == (way.best != advice.best.settings)
        assert not series.broken_limits(way.best)
        assert 0.0 <= way.reaches <= 1.0


def test_good_news_raises_the_chance_and_bad_news_moves_away():
    results = advice_for(LOGS["mixed"]).results
    assert results[-1].failed == ()
    assert results[-1].best_chance > max(way.best_chance for way in results[:-1])
    order = ["contained", "poured", "sound"]
    assert [way.failed[0] for way in results[:-1]] == order[: len(results) - 1]


def test_least_is_known_where_no_melt_has_been():
    """Twelve melts on the cold side leave the hot side unknown."""
    rows = [(flux, 1100, SOUND) for flux in (15, 20, 25, 30, 35, 40)] * 2
    spots = {spot.factor: spot for spot in advice_for(rows).thin}
    assert spots["peak"].at >= 1200.0
    assert (spots["peak"].melts_near, spots["peak"].known_best_at) == (0, 1100.0)
    assert spots["peak"].width > spots["peak"].least_width
    widths = [spot.width for spot in advice_for(rows).thin]
    assert widths == sorted(widths, reverse=True)


def test_knowledge_is_even_before_the_first_melt():
    assert all(spot.melts_near == 0 for spot in advice_for(()).thin)


def test_out_of_reach_is_said_with_moves_that_help_and_no_others():
    tried = [(flux, peak, SPILLED) for flux in (15, 25, 35) for peak in (1100, 1175, 1250) if flux + peak / 10 <= 150]
    advice = next_melts(chain_of(small_series(), tried * 3, draws=2000))
    assert advice.verdict.ending == "out of reach"
    for move in advice.moves:
        assert move.reachable > advice.verdict.reachable
    assert [move.reachable for move in advice.moves] == sorted((m.reachable for m in advice.moves), reverse=True)


def test_the_bound_in_the_way_of_the_better_settings_is_named_first():
    """Cold melts fail and the hottest sometimes pour: the hot end stands in the way, once it is no limit that does."""
    series = small_series(outcomes=(Outcome("contained", "pass"),), limits=(), target_chance=0.9)
    rows = [(flux, peak, (peak == 1250 and flux > 20,)) for peak in (1100, 1175, 1250) for flux in (15, 25, 35)]
    chain = chain_of(series, rows, draws=2000)
    raw = np.array([[flux, peak] for flux in series.factors[0].grid() for peak in series.factors[1].grid()])
    reachable = float((chain.success_draws(raw).max(axis=1) >= 0.9).mean())
    first = moves_that_help(all_moves(chain, raw), reachable)[0]
    assert (first.what, first.name, first.to) == ("high end", "peak", 1290.0)
    beyond = np.vstack([raw, [[flux, 1290.0] for flux in series.factors[0].grid()]])
    assert first.reachable == pytest.approx(float((chain.success_draws(beyond).max(axis=1) >= 0.9).mean()))
    assert first.chance == pytest.approx(float(chain.success_draws(beyond).mean(axis=0).max()))


def test_a_limit_in_the_way_is_named():
    series = small_series(outcomes=(Outcome("contained", "pass"),), target_chance=0.9)
    rows = [(flux, peak, (peak > 1200,)) for peak in (1100, 1175, 1225) for flux in (15, 20, 25)]
    chain, raw = chain_of(series, rows, draws=2000), everything(small_series())
    reachable = float((chain.success_draws(raw).max(axis=1) >= 0.9).mean())
    moves = moves_that_help(all_moves(chain, raw), reachable)
    assert KEEP in [move.name for move in moves if move.what == "limit"]
    fixed = replace(
        chain, series=replace(series, limits=tuple(replace(limit, movable=False) for limit in series.limits))
    )
    assert not [move for move in all_moves(fixed, raw) if move.what == "limit"], (
        "what cannot be had is no bound to loosen"
    )


def test_bounds_are_not_blamed_while_the_target_is_within_reach():
    assert advice_for(LOGS["mixed"]).moves == ()


def test_confirmation_is_the_exact_binomial_bound_and_the_power_of_the_chance():
    success = np.array([0.7, 0.8, 0.9])
    found = confirmation(success, 0.8)
    assert found.melts == confirmation_melts(0.8) == 11
    assert beta.ppf(0.1, 11, 1) >= 0.8 > beta.ppf(0.1, 10, 1)  # Clopper-Pearson, all good
    assert found.all_good == pytest.approx((success**11).mean())
    assert found.few_prove == pytest.approx(beta.ppf(0.1, 3, 1))
    assert found.few_reach == pytest.approx((0.8**3 + 0.9**3) / (0.7**3 + 0.8**3 + 0.9**3))


@pytest.mark.parametrize("rows", [LOGS["no melts"], LOGS["mixed"], LOGS["all good"]])
def test_few_settings_are_enough_to_see_whether_any_reaches_the_target(rows):
    """All draws at the settings that are best for some of 200 draws, against all draws everywhere."""
    series = small_series()
    chain, raw = chain_of(series, rows, draws=2000), everything(series)
    everywhere = float((chain.success_draws(raw).max(axis=1) >= series.target_chance).mean())
    found = chance_reachable(chain, chain_views(chain, raw, 200, in_full=False))
    assert found == pytest.approx(everywhere, abs=0.01)


def test_a_sure_success_is_worth_what_was_set_aside_for_it():
    costs = Costs(melt=12.0, firing=9.0)
    assert stake(small_series(costs=costs, budget=Budget(money=300.0))) == 300.0
    assert stake(small_series(costs=costs, budget=Budget(melts=10))) == 10 * (12.0 + 9.0 / 2)
    assert stake(small_series(costs=costs)) is None
    assert stake(small_series(costs=Costs(), budget=Budget(money=300.0))) is None


def test_a_melt_that_costs_more_than_it_could_bring_is_not_worth_it():
    rows = LOGS["all good"] * 5
    costs = Costs(melt=20.0, loss={"contained": 300.0})
    dear = advice_for(rows, target_chance=0.97, costs=costs, budget=Budget(money=600.0))
    assert dear.verdict.most_gain * 600.0 < dear.verdict.cost
    assert dear.verdict.ending == "not worth it"
    cheap = advice_for(rows, target_chance=0.97, costs=Costs(melt=1.0), budget=Budget(money=600.0))
    assert cheap.verdict.ending == "go on"


def test_the_ceiling_says_what_it_leaves_and_whether_the_best_setting_keeps_it():
    rows, series = LOGS["hot ones spill"], small_series()
    chain, raw = chain_of(series, rows), everything(series)
    risk = 1.0 - chain.stages[0].chance_draws(raw).mean(axis=0)
    ceiling = next_melts(chain, most_risk=0.3).ceiling
    assert ceiling.kept == pytest.approx((risk <= 0.3).mean(), abs=0.03)
    best = next_melts(chain).best.raw
    assert ceiling.best_risk == pytest.approx(1.0 - chain.stages[0].chance_draws(best[None]).mean())
    assert next_melts(chain).ceiling is None


def test_the_safest_still_tells_half_as_much():
    advice = advice_for(LOGS["hot ones spill"], kiln=Kiln())
    if advice.safest is not None:
        assert advice.safest.risk < advice.melts[0].risk
        assert advice.safest.information >= 0.5 * advice.melts[0].information - 1e-9
    risky = advice_for(LOGS["mixed"], kiln=Kiln(), costs=Costs(melt=0.1, loss={"contained": 0.01}))
    assert risky.safest is None or risky.safest.risk < risky.melts[0].risk - 0.01
