"""Prices and expected losses along the chain of outcomes, by hand."""

import pytest

from meltdoe.costs import assumed_chances, cost_of, expected_failures, price
from meltdoe.costs.price import ASSUMED_CHANCE
from meltdoe.series import Amount, Belief, Budget, Costs, GoodRange, MeltSeries, Outcome


def series(**changes):
    parts = {
        "title": "Invented",
        "factors": (Amount("flux", 15, 40),),
        "outcomes": (
            Outcome("contained", "pass"),
            Outcome("colour", "measured", after="contained"),
            Outcome("fill", "measured", after="contained", good=GoodRange(95)),
        ),
        "budget": Budget(currency="EUR"),
        "costs": Costs(melt=10.0, firing=5.0, loss={"contained": 40.0, "fill": 20.0}),
    }
    return MeltSeries(**{**parts, **changes})


def test_melts_and_firings_are_paid_and_failures_come_on_top():
    cost = cost_of(series(), 8, 3, {"contained": 2.0, "fill": 1.5})
    assert (cost.melts, cost.firings, cost.losses) == (80.0, 15.0, 110.0)
    assert (cost.sure, cost.total) == (95.0, 205.0)
    assert str(cost) == "205 EUR"


def test_an_outcome_fails_only_where_it_is_reached():
    failures = expected_failures(series(), 10, {"contained": 0.6, "fill": 0.5})
    assert failures == pytest.approx({"contained": 4.0, "fill": 3.0})
    assert price(series(), 10, 5, {"contained": 0.6, "fill": 0.5}).losses == pytest.approx(4 * 40 + 3 * 20)


def test_beliefs_count_by_their_worth_and_silence_takes_the_stated_default():
    held = (Belief({}, "contained", 0.9, 3.0), Belief({}, "contained", 0.5, 1.0))
    assert assumed_chances(series(beliefs=held)) == pytest.approx({"contained": 0.8, "fill": ASSUMED_CHANCE})


def test_without_prices_everything_is_free():
    assert price(series(costs=Costs()), 12, 6).total == 0.0
