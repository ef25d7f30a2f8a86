"""Go on or stop: every reason and its edge, on chains whose chances are written down."""

from types import SimpleNamespace

import numpy as np
import pytest
from small_chain import LOGS, melted, small_series

from meltdoe.log.melt_log import Entry, Log
from meltdoe.next_melt import stopping
from meltdoe.next_melt.left import money_spent
from meltdoe.next_melt.stopping import (
    HOPELESS,
    SURE,
    Verdict,
    chance_reachable,
    confirmation,
    confirmation_melts,
    hope_left,
    reachable_at_even_odds,
    stake,
    verdict,
)
from meltdoe.next_melt.views import chain_views
from meltdoe.series import Amount, Budget, Choice, Costs, Kiln, Outcome

HALF_PRICED = Costs(melt=10.0, firing=4.0)


class WrittenDown:
    """One pass outcome, its chances of good listed: a row a draw, a column a setting, the first factor its number."""

    def __init__(self, chances, target=0.8):
        self.chances = np.asarray(chances, dtype=float)
        self.n_draws = len(self.chances)
        self.series = small_series(target_chance=target)
        outcome = SimpleNamespace(name="sound", kind="pass", after=None, counts=True)
        self.stages = (SimpleNamespace(outcome=outcome, chance_draws=self._chance_draws),)

    def _chance_draws(self, raw, thin=1):
        return self.chances[::thin, raw[:, 0].astype(int)]

    def settings(self):
        return np.column_stack([np.arange(self.chances.shape[1]), np.zeros(self.chances.shape[1])])


def judged(rows=LOGS["mixed"], hope="open", **changes):
    """A verdict where nothing speaks for stopping but what is changed; "mixed" is 5 melts in 3 firings for 132."""
    figures = {"reaches": 0.5, "reachable": 0.6, "gain": 0.05, "most_gain": 0.2, "cost": 20.0}
    figures |= {name: changes.pop(name) for name in list(changes) if name in figures}
    series = small_series(**changes)
    chain = SimpleNamespace(series=series, log=melted(series, *rows))
    return verdict(chain, hope=hope, **figures)


def test_nothing_speaks_for_stopping():
    found = judged()
    assert found == Verdict("go on", 0.5, 0.6, 0.05, 0.2, 20.0, 132.0, last_try=False)
    assert found.word == "go on"


@pytest.mark.parametrize(
    ("changes", "ending"),
    [
        ({"reaches": SURE}, "reached"),
        ({"reaches": SURE - 1e-9}, "go on"),
        ({"budget": Budget(melts=5)}, "melts spent"),
        ({"budget": Budget(melts=6), "most_gain": 0.3}, "go on"),
        ({"budget": Budget(firings=3)}, "firings spent"),
        ({"budget": Budget(firings=4)}, "go on"),
        ({"budget": Budget(money=151.0)}, "money spent"),
        ({"budget": Budget(money=152.0)}, "go on"),  # 20 are left, and the melt costs 20
        ({"hope": "none"}, "out of reach"),
        ({"hope": "last try"}, "go on"),
        ({"budget": Budget(money=200.0), "most_gain": 0.0999}, "not worth it"),
        ({"budget": Budget(money=200.0), "most_gain": 0.1}, "go on"),  # 0.1 of 200 pays for a melt of 20
        ({"most_gain": 0.0}, "go on"),  # nobody said what success is worth
    ],
)
def test_each_reason_begins_where_it_says(changes, ending):
    found = judged(**changes)
    assert found.ending == ending
    assert found.word == ("go on" if ending == "go on" else "stop")
    assert found.last_try == (changes.get("hope") == "last try")


def test_reasons_are_given_in_the_order_in_which_a_maker_would_want_to_hear_them():
    every = {"reaches": 0.95, "hope": "none", "most_gain": 0.0, "budget": Budget(5, 3, 140.0)}
    assert judged(**every).ending == "reached"
    every["reaches"] = 0.2
    assert judged(**every).ending == "melts spent"
    assert judged(**every | {"budget": Budget(6, 3, 140.0)}).ending == "firings spent"
    assert judged(**every | {"budget": Budget(6, 4, 140.0)}).ending == "money spent"
    assert judged(**every | {"budget": Budget(6, 4, 200.0)}).ending == "out of reach"
    assert judged(**every | {"budget": Budget(6, 4, 200.0), "hope": "open"}).ending == "not worth it"


def test_a_last_try_that_the_budget_forbids_is_none():
    assert not judged(hope="last try", budget=Budget(melts=5)).last_try


def test_a_loss_is_paid_once_a_melt_though_two_castings_tell_of_it():
    """One melt of two moulds did not stay in the crucible: 10 + 15 + 30. Of its castings each is a loss of its own."""
    outcomes = (Outcome("contained", "pass"), Outcome("whole", "pass", after="contained", seen_per="mould"))
    costs = Costs(melt=10.0, firing=15.0, loss={"contained": 30.0, "whole": 4.0})
    series = small_series(outcomes=outcomes, costs=costs, moulds_per_melt=2)
    set_to = {"flux": 30.0, "peak": 1150.0}
    spilt = [Entry(1, 1, set_to, {"contained": False}, mould=mould) for mould in (1, 2)]
    broken = [Entry(2, 2, set_to, {"contained": True, "whole": False}, mould=mould) for mould in (1, 2)]
    assert money_spent(Log(series, tuple(spilt))) == pytest.approx(55.0)
    assert money_spent(Log(series, tuple(broken))) == pytest.approx(10 + 15 + 2 * 4)
    assert money_spent(Log(series, (*spilt, *broken))) == pytest.approx(55 + 33)


def test_noise_below_zero_is_no_gain():
    assert judged(gain=-1e-4).gain == 0.0


@pytest.mark.parametrize(
    ("budget", "costs", "worth"),
    [
        (Budget(money=300.0), HALF_PRICED, 300.0),
        (Budget(melts=8, money=300.0), HALF_PRICED, 300.0),
        (Budget(melts=8), HALF_PRICED, 8 * (10.0 + 4.0 / 2)),
        (Budget(firings=8), HALF_PRICED, None),
        (Budget(money=300.0), Costs(), None),
    ],
)
def test_what_a_success_is_worth(budget, costs, worth):
    assert stake(small_series(budget=budget, costs=costs, kiln=Kiln(2))) == worth


def tried_series():
    return small_series(factors=(Amount("flux", 10, 20), Choice("grain", ("coarse", "fine"))), limits=())


@pytest.mark.parametrize(
    ("flux", "grain", "hope"),
    [
        (12.0, "fine", "none"),  # a fifth of the range away: tried
        (12.1, "fine", "last try"),
        (10.0, "coarse", "last try"),
        (8.0, "fine", "none"),
    ],
)
def test_the_best_guess_is_tried_where_a_melt_was_near_it(monkeypatch, flux, grain, hope):
    monkeypatch.setattr(stopping, "reachable_at_even_odds", lambda chain: 0.02)
    series = tried_series()
    chain = SimpleNamespace(series=series, log=SimpleNamespace(raw=series.raw({"flux": 10.0, "grain": "fine"})[None]))
    assert hope_left(chain, 0.03, series.raw({"flux": flux, "grain": grain})) == hope


@pytest.mark.parametrize(
    ("reachable", "even_odds", "can_be_tried", "hope"),
    [
        (HOPELESS, 0.0, True, "open"),
        (0.04, HOPELESS, True, "open"),
        (0.04, 0.02, True, "last try"),
        (0.004, 0.01, True, "last try"),
        (0.004, 0.009, True, "none"),
        (0.04, 0.001, True, "last try"),
        (0.04, 0.02, False, "none"),
    ],
)
def test_hope_ends_in_two_steps(monkeypatch, reachable, even_odds, can_be_tried, hope):
    monkeypatch.setattr(stopping, "reachable_at_even_odds", lambda chain: even_odds)
    series = tried_series()
    chain = SimpleNamespace(series=series, log=SimpleNamespace(raw=np.empty((0, 2))))
    assert hope_left(chain, reachable, np.array([15.0, 0.0]), can_be_tried=can_be_tried) == hope


def test_every_draw_counts_that_reaches_the_target_somewhere():
    """Ten draws: three reach it each at a setting of its own, one just does, six nowhere."""
    chances = np.full((10, 12), 0.1)
    for draw, place in ((0, 3), (1, 7), (2, 11)):
        chances[draw, place] = 0.95
    chances[3, 5] = 0.8
    chain = WrittenDown(chances)
    assert chance_reachable(chain, chain_views(chain, chain.settings(), in_full=False)) == pytest.approx(0.4)


def test_all_draws_are_asked_at_the_settings_that_few_draws_found_good():
    """The few draws that choose the settings never reach the target themselves; the others do, at the best one."""
    chances = np.tile(np.linspace(0.1, 0.5, 200), (100, 1))
    chances[1::2, 199] = 0.9
    chain = WrittenDown(chances)
    few = chain_views(chain, chain.settings(), 50, in_full=False)
    assert few.success_draws.max() < 0.8
    assert chance_reachable(chain, few) == pytest.approx(0.5)


def test_settings_that_are_often_best_are_looked_at_before_rare_ones():
    """150 settings are best of some draw, the last 20 of two each; only those 20 are good in the draws not seen."""
    chances = np.full((340, 150), 0.1)
    chances[0::2] = 0.2
    best = [*range(150), *range(130, 150)]
    chances[2 * np.arange(170), best] = 0.5
    chances[1::2, 130:] = 0.9
    chain = WrittenDown(chances)
    few = chain_views(chain, chain.settings(), 170, in_full=False)
    assert chance_reachable(chain, few) == pytest.approx(0.5)


def test_prior_doubt_alone_ends_no_series(monkeypatch):
    """Odds after over odds before: where melts add nothing, even odds remain, whatever the prior held."""
    settings = np.column_stack([np.zeros(4), np.zeros(4)])
    monkeypatch.setattr(stopping, "candidate_settings", lambda series, count, seed: settings)
    rare = np.full((400, 1), 0.1)
    rare[:40] = 0.9
    monkeypatch.setattr(stopping, "fit_chain", lambda series, log, **how: WrittenDown(rare))
    stopping._odds_before.cache_clear()
    assert reachable_at_even_odds(WrittenDown(rare)) == pytest.approx(0.5)
    fewer = np.full((400, 1), 0.1)
    fewer[:10] = 0.9
    before, now = 40.5 / 360.5, 10.5 / 390.5
    assert reachable_at_even_odds(WrittenDown(fewer)) == pytest.approx(now / (now + before))
    stopping._odds_before.cache_clear()


@pytest.mark.parametrize(("draws", "effort", "before"), [(400, "draft", 400), (2000, "full", 1000)])
def test_odds_before_the_first_melt_are_those_of_the_same_series_with_an_empty_log(monkeypatch, draws, effort, before):
    asked = {}

    def fitted(series, log, **how):
        asked.update(how, series=series, entries=log.entries)
        return WrittenDown(np.full((4, 1), 0.1))

    monkeypatch.setattr(stopping, "candidate_settings", lambda series, count, seed: np.zeros((1, 2)))
    monkeypatch.setattr(stopping, "fit_chain", fitted)
    stopping._odds_before.cache_clear()
    chain = WrittenDown(np.full((draws, 1), 0.1))
    reachable_at_even_odds(chain)
    assert asked == {
        "series": chain.series, "entries": (), "seed": chain.series.seed, "n_draws": before, "effort": effort,
    }  # fmt: skip
    asked.clear()
    reachable_at_even_odds(chain)
    assert asked == {}, "it is worked out once a series"
    stopping._odds_before.cache_clear()


@pytest.mark.parametrize(("target", "level", "melts"), [(0.8, 0.9, 11), (0.6, 0.9, 5), (0.9, 0.95, 29), (0.5, 0.75, 2)])
def test_good_melts_in_a_row_prove_the_target(target, level, melts):
    """(1 - level)^(1/n) >= target for the first time."""
    assert confirmation_melts(target, level) == melts
    assert (1 - level) ** (1 / melts) >= target - 1e-12 > (1 - level) ** (1 / (melts - 1))


def test_a_few_good_melts_weigh_each_draw_by_its_cube():
    success = np.array([0.5, 0.8, 1.0])
    found = confirmation(success, 0.8)
    assert (found.melts, found.level, found.few) == (11, 0.90, 3)
    assert found.all_good == pytest.approx((0.5**11 + 0.8**11 + 1.0) / 3)
    assert found.few_prove == pytest.approx(0.1 ** (1 / 3))
    assert found.few_reach == pytest.approx((0.512 + 1.0) / (0.125 + 0.512 + 1.0))
    assert confirmation(np.zeros(3), 0.8).few_reach == 0.0
    assert confirmation(success, 0.8, level=0.5).few_prove == pytest.approx(0.5 ** (1 / 3))
