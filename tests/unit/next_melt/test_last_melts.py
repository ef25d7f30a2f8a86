"""Where a melt can hardly raise the best chance any more, and where a melt costs more than it can be worth."""

import numpy as np
import pytest
from small_chain import LOGS, chain_of, everything, small_series

from meltdoe.next_melt.advice import next_melts
from meltdoe.next_melt.firing_search import score
from meltdoe.next_melt.stopping import most_worth_knowing, stake
from meltdoe.next_melt.views import chain_views
from meltdoe.series import Budget, Costs, Kiln, Outcome

SIX = tuple(Outcome(name, "pass", after=after) for name, after in zip("abcdef", (None, *"abcde"), strict=True))


def test_with_nothing_more_to_gain_the_melt_most_likely_to_succeed_is_made():
    """With a single setting to recommend no melt can gain anything, so only its own chance is left to rank by."""
    chain = chain_of(small_series(), LOGS["mixed"])
    targets = chain_views(chain, chain.best().raw[None], in_full=False)
    found = score(chain, everything(small_series()), targets, 0.0)
    success = found.views.success_draws.mean(axis=0)
    assert found.gain.max() < 1e-9
    assert int(np.argmax(found.value)) == int(np.argmax(success))
    assert found.lift == pytest.approx(0.01 / success.max())


def test_the_chance_of_success_counts_only_where_gains_are_below_a_point():
    chain = chain_of(small_series(), LOGS["mixed"])
    raw = everything(small_series())
    targets = chain_views(chain, raw, in_full=False)
    found = score(chain, raw, targets, 0.0)
    assert found.gain.max() > 0.01
    assert found.lift == 0.0
    assert int(np.argmax(found.value)) == int(np.argmax(found.gain))
    lifted = score(chain, raw, targets, 0.0, lift=0.5)
    assert lifted.reach == pytest.approx(found.gain + 0.5 * lifted.views.success_draws.mean(axis=0))


def test_a_melt_that_costs_more_than_knowing_everything_is_passed_over_for_one_that_does_not():
    costs = Costs(melt=5.0, loss={"contained": 200.0})
    rich, poor = (
        next_melts(
            chain_of(
                small_series(kiln=Kiln(), costs=costs, budget=Budget(melts=melts), target_chance=0.95),
                LOGS["hot ones spill"],
            ),
            aim="learn",
        )
        for melts in (200, 60)
    )
    worth = poor.verdict.most_gain * (stake(small_series(costs=costs, kiln=Kiln(), budget=Budget(melts=60))) or 0.0)
    assert poor.verdict.word == "go on"
    assert poor.melts[0].cost <= worth < rich.melts[0].cost
    assert poor.melts[0].information < rich.melts[0].information


def test_a_long_chain_is_not_given_up_for_its_cost_before_its_best_guess_was_tried():
    """Six passes are all good about once in 64 before any melt; that is no finding, and must not end a series."""
    costs, budget = Costs(melt=20.0, firing=15.0), Budget(melts=12)
    series = small_series(outcomes=SIX, kiln=Kiln(), costs=costs, budget=budget)
    chain = chain_of(series, ())
    best = chain.best()
    assert best.chance < 0.1
    assert most_worth_knowing(chain, 0.05, best) == pytest.approx(0.5 * (0.8 - best.chance), abs=0.02)
    assert next_melts(chain).verdict.ending == "go on"
    rich = small_series(outcomes=SIX, kiln=Kiln(), costs=costs, budget=Budget(money=1e6))
    assert most_worth_knowing(chain_of(rich, ()), 0.05, best) == 0.05, "what pays anyhow is left as it is"
