"""Each policy makes the melts that it says it makes, within the budget and the kiln."""

from collections import Counter

import numpy as np
import pytest

from meltdoe.errors import WrongUsage
from meltdoe.log.melt_log import Log
from meltdoe.plans.draw_up import make_plan
from meltdoe.rehearsal.policies import POLICIES, Bench, chosen_policies, numbered_on
from meltdoe.rehearsal.stated_truth import StatedOutcome, StatedTruth
from meltdoe.series import Amount, Budget, Choice, Costs, Kiln, MeltSeries, Outcome

FACTORS = (
    Amount("flux", 15, 40, unit="wt%", step=5),
    Amount("peak", 1100, 1200, unit="°C", step=50, set_per="firing"),
    Choice("sand", ("wet", "dry")),
)


def series_of(**changes):
    given = {
        "title": "invented",
        "factors": FACTORS,
        "outcomes": (Outcome("whole", "pass"),),
        "budget": Budget(melts=9),
        "kiln": Kiln(melts_per_firing=2),
        "target_chance": 0.7,
        "seed": 3,
    }
    return MeltSeries(**{**given, **changes})


def bench_of(series, log_odds=0.0, effects=None, number=5):
    middle = tuple(float(value) for value in series.coding.centre())
    truth = StatedTruth(series, (StatedOutcome("whole", log_odds, middle, effects or {}),))
    return Bench(truth, make_plan(series, "centre", 3), np.random.default_rng(number), number)


def played(policy, series, **truth):
    bench = bench_of(series, **truth)
    POLICIES[policy][0](bench)
    return bench


@pytest.mark.parametrize("policy", POLICIES)
def test_budget_firings_and_limits_are_kept(policy):
    bench = played(policy, series_of(), log_odds=0.3)
    assert 3 <= len(bench.made) <= 9
    assert [entry.melt for entry in bench.made] == list(range(1, len(bench.made) + 1))
    by_firing = Counter(entry.firing for entry in bench.made)
    assert max(by_firing.values()) <= 2
    for firing in by_firing:
        assert len({e.settings["peak"] for e in bench.made if e.firing == firing}) == 1, "one heat a firing"


def test_the_plan_makes_its_melts_and_no_other():
    bench = played("plan", series_of())
    assert [entry.settings for entry in bench.made] == [melt.settings for melt in bench.plan.melts]
    assert bench.needed is None, "nobody has looked yet"


def test_a_follow_up_begins_with_the_plan_and_goes_on():
    bench = played("follow-up", series_of(), log_odds=-0.2)
    assert [entry.settings for entry in bench.made[:3]] == [melt.settings for melt in bench.plan.melts]
    assert len(bench.made) > 3


def test_step_by_step_begins_with_few_melts_spread_out():
    bench = played("step-by-step", series_of(), log_odds=-0.2)
    start = bench.made[:4]
    assert len({tuple(entry.settings.items()) for entry in start}) == 4
    assert bench.made[0].settings != bench.plan.melts[0].settings


def test_one_at_a_time_changes_one_factor_at_a_time():
    bench = played("one-at-a-time", series_of(budget=Budget(melts=7)), log_odds=-40.0)
    middle, *others = [entry.settings for entry in bench.made]
    assert middle["peak"] == 1150.0
    changed = [{name for name in middle if one[name] != middle[name]} for one in others]
    # nothing works, so the middle is kept all the time: two other fluxes, two other heats, the other sand, itself
    assert changed == [{"flux"}, {"flux"}, {"peak"}, {"peak"}, {"sand"}, set()]


def test_one_at_a_time_keeps_what_got_furthest():
    steep = {"sand": ((0.0, -80.0), (1.0, 80.0))}
    bench = played(
        "one-at-a-time", series_of(budget=Budget(melts=7), target_chance=0.99), log_odds=-40.0, effects=steep
    )
    assert [entry.settings["sand"] for entry in bench.made] == ["wet"] * 5 + ["dry"] * 2
    assert [entry.seen["whole"] for entry in bench.made] == [False] * 5 + [True] * 2


def test_random_melts_differ_from_series_to_series():
    first, again, other = (
        [e.settings for e in (lambda b: (POLICIES["random"][0](b), b)[1])(bench_of(series_of(), -40.0, number=n)).made]
        for n in (1, 1, 2)
    )
    assert first == again
    assert first != other
    assert len({tuple(one.items()) for one in first}) > 4


@pytest.mark.parametrize("policy", ["follow-up", "step-by-step", "one-at-a-time", "random"])
def test_policies_without_an_end_stop_where_the_money_ends(policy):
    series = series_of(budget=Budget(melts=30, money=100.0), costs=Costs(melt=10.0, firing=5.0))
    bench = played(policy, series, log_odds=-0.5)
    assert 3 <= len(bench.made) <= 9


def test_success_stops_a_policy_once_it_is_sure():
    for policy in ("follow-up", "step-by-step", "one-at-a-time", "random"):
        bench = played(policy, series_of(budget=Budget(melts=40)), log_odds=6.0)
        assert bench.claimed
        assert len(bench.made) < 20, policy
        assert bench.needed is not None
        assert bench.needed <= len(bench.made)


def test_needed_is_the_first_look_at_which_the_recommendation_works():
    bench = bench_of(series_of(), log_odds=-6.0)
    bench.make([{"flux": 20.0, "peak": 1100.0, "sand": "wet"}] * 2)
    assert bench.true_chance < 0.1
    assert bench.needed is None
    good = bench_of(series_of(), log_odds=6.0)
    good.make([{"flux": 20.0, "peak": 1100.0, "sand": "wet"}] * 2)
    good.make([{"flux": 20.0, "peak": 1100.0, "sand": "wet"}])
    assert good.true_chance > 0.9
    assert good.needed == 3, "nobody looked after the first two"


def test_melts_of_a_plan_are_counted_on_from_those_on_record():
    series = series_of()
    bench = played("plan", series)
    later = numbered_on(bench.plan, Log(series, bench.entries))
    assert [melt.melt for melt in later.melts] == [4, 5, 6]
    assert min(melt.firing for melt in later.melts) == 1 + max(entry.firing for entry in bench.entries)


def test_names_of_policies():
    assert chosen_policies(["random", "all", "plan"]) == (
        "random",
        "plan",
        "follow-up",
        "step-by-step",
        "one-at-a-time",
    )
    with pytest.raises(WrongUsage, match='"luck" is no policy; take one of plan, follow-up'):
        chosen_policies(["plan", "luck"])
