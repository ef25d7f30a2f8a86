"""The plan's own melts held against the search: when they are followed, and when they may not be."""

import pytest
from small_chain import LOGS, chain_of, small_series

from meltdoe.next_melt.advice import next_melts
from meltdoe.next_melt.left import Left, Room
from meltdoe.plans.melt_plan import PlannedMelt
from meltdoe.series import Budget, Costs, Kiln


def plan(*settings, first=1):
    """Two melts a firing, numbered from `first` on; (flux, peak) each."""
    return tuple(
        PlannedMelt(first + i, (first + i + 1) // 2, i + 1, {"flux": float(flux), "peak": float(peak)}, "fraction")
        for i, (flux, peak) in enumerate(settings)
    )


WHOLE = plan((15, 1100), (40, 1100), (15, 1250), (25, 1250))


def test_a_plan_that_is_not_begun_is_followed_where_it_is_nearly_as_good():
    advice = next_melts(chain_of(small_series(), ()), planned=WHOLE)
    assert advice.follows_plan
    assert [(melt.planned, melt.firing) for melt in advice.melts] == [(1, 1), (2, 1)]
    assert [melt.settings for melt in advice.melts] == [melt.settings for melt in WHOLE[:2]]
    assert advice.planned.share >= 0.75


def test_as_many_planned_melts_as_asked_for_share_the_price_of_the_firing():
    chain = chain_of(small_series(), ())
    both, one = (next_melts(chain, planned=WHOLE, count=count).melts for count in (2, 1))
    assert (len(both), len(one)) == (2, 1)
    assert one[0].cost == pytest.approx(both[0].cost + 9.0 / 2)


def test_a_proposal_tied_with_the_plan_gives_way_to_it():
    """The very melts that the search proposes, as a plan, are worth as much as themselves."""
    chain = chain_of(small_series(), LOGS["mixed"])
    found = next_melts(chain).melts
    same = plan(*((melt.settings["flux"], melt.settings["peak"]) for melt in found), first=7)
    advice = next_melts(chain, planned=same)
    assert advice.planned.share == pytest.approx(1.0)
    assert advice.planned.error == pytest.approx(0.0, abs=1e-12)
    assert advice.planned.tied
    assert [melt.planned for melt in advice.melts] == [7, 8]


def test_a_plan_that_teaches_nothing_any_more_is_left():
    rows = LOGS["hot ones spill"]
    dull = plan(*[(15, 1250)] * 2, first=len(rows) + 1)
    made = plan(*((flux, peak) for flux, peak, _ in rows))
    advice = next_melts(chain_of(small_series(), rows), planned=(*made, *dull))
    assert not advice.follows_plan
    assert advice.planned.share < 0.75
    assert advice.melts[0].planned is None


def test_a_planned_melt_that_breaks_a_limit_is_not_proposed():
    advice = next_melts(chain_of(small_series(), ()), planned=plan((40, 1250), (30, 1250)))
    assert advice.planned.broken == ("flux + 0.1 * peak <= 150",)
    assert not advice.follows_plan


def test_a_planned_melt_over_the_ceiling_on_risk_is_not_proposed():
    chain = chain_of(small_series(), LOGS["hot ones spill"])
    hot = plan((25, 1225), (20, 1225), first=13)
    ceiling = min(melt.risk for melt in next_melts(chain, aim="reach").melts) + 0.02
    advice = next_melts(chain, planned=hot, most_risk=ceiling)
    assert max(melt.risk for melt in advice.planned.melts) > ceiling
    assert advice.planned.too_risky
    assert not advice.follows_plan
    assert all(melt.risk <= ceiling for melt in advice.melts)


def test_a_melt_for_a_begun_firing_does_not_pay_it_again():
    rows = LOGS["mixed"]  # melt 5 stands alone in firing 3
    made = plan(*((flux, peak) for flux, peak, _ in rows))
    next_one = PlannedMelt(6, 3, 6, {"flux": 30.0, "peak": 1100.0}, "fraction")
    planned = next_melts(chain_of(small_series(), rows), planned=(*made, next_one)).planned
    assert planned.begun
    assert planned.first(1, 9.0)[0].cost == pytest.approx(planned.melts[0].cost - 9.0)


@pytest.mark.parametrize(
    ("left", "melts", "by"),
    [
        (Left(8, 1, None), 2, ("firings",)),
        (Left(8, 4, None), 8, ("melts", "firings")),
        (Left(1, 4, 500.0), 1, ("melts",)),
        (Left(8, 4, 65.0), 3, ("money",)),  # a full firing at 38, and one melt with a firing of its own at 24
        (Left(None, None, 20.0), 0, ("money",)),
        (Left(None, None, None), None, ()),
    ],
)
def test_the_narrowest_bound_of_the_budget_is_named(left, melts, by):
    assert left.room(2, 14.0, 10.0) == Room(melts, by)


def test_safer_is_said_only_of_what_is_clearly_safer():
    for rows in LOGS.values():
        advice = next_melts(chain_of(small_series(kiln=Kiln()), rows))
        if advice.safest is not None:
            assert advice.safest.risk <= advice.melts[0].risk - 0.05
            assert advice.safest.risk <= 0.75 * advice.melts[0].risk
    cheap = Costs(melt=12.0, firing=9.0, loss={"contained": 45.0})
    even = next_melts(chain_of(small_series(costs=cheap, budget=Budget(melts=20)), ()), most_risk=0.0)
    assert even.safest is None  # the safest are proposed already
