"""Advice on small invented chains: what it must keep, what it is compared with, and when it says stop."""

import numpy as np
import pytest
from scipy.special import entr
from small_chain import DRAWS, LOGS, SPILLED, chain_of, everything, small_series

from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.next_melt.advice import next_melts
from meltdoe.next_melt.firing_set import added_information
from meltdoe.next_melt.gain import expected_gain
from meltdoe.next_melt.stopping import hope_left
from meltdoe.next_melt.views import chain_views
from meltdoe.series import Amount, Budget, Choice, Costs, GoodRange, Kiln, MeltSeries, Outcome
from meltdoe.series.budget import USUAL_SERIES
from meltdoe.series.outcome import Unseen


@pytest.mark.parametrize("aim", ["auto", "learn", "reach"])
@pytest.mark.parametrize("rows", LOGS.values(), ids=LOGS.keys())
def test_proposed_melts_can_be_made_as_they_stand(rows, aim):
    series = small_series()
    chain = chain_of(series, rows)
    advice = next_melts(chain, aim=aim)
    assert len(advice.melts) == 2
    assert len({melt.settings["peak"] for melt in advice.melts}) == 1, "one firing has one peak"
    for melt in (*advice.melts, *([advice.runner_up] if advice.runner_up else [])):
        assert not series.broken_limits(melt.settings)
        assert melt.settings["flux"] in range(15, 41, 5)
        assert melt.settings["peak"] in range(1100, 1251, 25)
        assert melt.firing == 1 + max((entry.firing for entry in chain.log.entries), default=0)
        assert 0.0 <= melt.low <= melt.chance <= melt.high <= 1.0
        assert 0.0 <= melt.risk <= 1.0
        assert melt.information >= 0.0
        assert melt.cost >= 12.0 + 9.0 / 2
        assert sum(melt.share_by_stage.values()) == pytest.approx(1.0)
    assert not series.broken_limits(advice.best.settings)


@pytest.mark.parametrize(("asked", "given"), [(None, 2), (1, 1), (2, 2), (7, 2)])
def test_as_many_melts_as_asked_for_and_as_one_firing_holds(asked, given):
    assert len(next_melts(chain_of(small_series(), LOGS["mixed"]), count=asked).melts) == given


def test_the_same_seed_gives_the_same_advice():
    series = small_series(
        factors=(Amount("flux", 15, 40, unit="wt%"), Amount("peak", 1100, 1250, unit="°C", set_per="firing"))
    )
    chain = chain_of(series, LOGS["mixed"], draws=100)
    first, again = (next_melts(chain, seed=5) for _ in range(2))
    assert [melt.settings for melt in first.melts] == [melt.settings for melt in again.melts]
    assert [melt.information for melt in first.melts] == [melt.information for melt in again.melts]
    assert first.verdict == again.verdict


def nats(good):
    """Mutual information of a yes or no and its parameters; good is (draws, settings)."""

    def entropy(p):
        return entr(p) + entr(1.0 - p)

    return entropy(good.mean(axis=0)) - entropy(good).mean(axis=0)


@pytest.mark.parametrize("rows", LOGS.values(), ids=LOGS.keys())
def test_a_single_melt_to_learn_from_is_the_best_of_all_settings(rows):
    """I1 + p1 I2 + p1 p2 I3 over the price with expected losses, written out for every setting."""
    series = small_series()
    chain, raw = chain_of(series, rows), everything(series)
    good = [stage.chance_draws(raw) for stage in chain.stages]
    mean = [stage.mean(axis=0) for stage in good]
    told = nats(good[0]) + mean[0] * nats(good[1]) + mean[0] * mean[1] * nats(good[2])
    price = 12.0 + 9.0 / 2 + 45.0 * (1.0 - mean[0])
    advice = next_melts(chain, count=1, aim="learn")
    chosen = int(np.flatnonzero((raw == advice.melts[0].raw).all(axis=1))[0])
    assert (told / price)[chosen] == pytest.approx((told / price).max(), rel=1e-9)
    assert advice.melts[0].information == pytest.approx(told[chosen])
    assert advice.melts[0].risk == pytest.approx(1.0 - mean[0][chosen])
    assert advice.melts[0].cost == pytest.approx(price[chosen] + 9.0 / 2)  # alone it pays the whole firing


@pytest.mark.parametrize("rows", [LOGS["no melts"], LOGS["mixed"], LOGS["hot ones spill"]])
def test_a_single_melt_to_reach_with_is_the_best_of_all_settings(rows):
    """Every way that a melt can go, weighed by its chance: the best chance that would then be known, less today's."""
    series = small_series()
    chain, raw = chain_of(series, rows), everything(series)
    good = [stage.chance_draws(raw) for stage in chain.stages]
    today = np.prod([stage.mean(axis=0) for stage in good], axis=0).max()

    def then(setting):
        total = 0.0
        for path in ((False,), (True, False), (True, True, False), (True, True, True)):
            weights = [np.ones(DRAWS) for _ in good]
            for k, seen in enumerate(path):
                weights[k] = good[k][:, setting] if seen else 1.0 - good[k][:, setting]
            known = np.prod([w @ stage / w.sum() for w, stage in zip(weights, good, strict=True)], axis=0)
            total += np.prod([w.mean() for w in weights]) * known.max()
        return total - today

    gain = np.array([then(i) for i in range(len(raw))])
    advice = next_melts(chain, count=1, aim="reach")
    chosen = int(np.flatnonzero((raw == advice.melts[0].raw).all(axis=1))[0])
    assert gain[chosen] == pytest.approx(gain.max(), abs=1e-9)
    assert advice.melts[0].gain == pytest.approx(gain[chosen], abs=1e-9)
    assert advice.verdict.gain == pytest.approx(gain.max(), abs=1e-9)


@pytest.mark.parametrize("rows", [LOGS["no melts"], LOGS["mixed"], LOGS["hot ones spill"]])
def test_two_melts_of_one_firing_come_near_the_best_pair_of_all(rows):
    series = small_series()
    chain, raw = chain_of(series, rows), everything(series)
    stages = chain_views(chain, raw).stages
    price = 12.0 + 9.0 / 2 + 45.0 * (1.0 - chain.stages[0].chance_draws(raw).mean(axis=0))
    alone = added_information(stages, []) / price
    worth = np.array([alone[i] + added_information(stages, [i]) / price for i in range(len(raw))])
    worth[raw[:, None, 1] != raw[None, :, 1]] = -np.inf  # a pair shares its peak
    first, second = (
        int(np.flatnonzero((raw == melt.raw).all(axis=1))[0]) for melt in next_melts(chain, aim="learn").melts
    )
    assert worth[first, second] >= 0.95 * worth.max()


@pytest.mark.parametrize("rows", [LOGS["no melts"], LOGS["mixed"], LOGS["hot ones spill"]])
def test_two_melts_to_reach_with_come_near_the_best_pair_of_all(rows):
    """The joint gain of every pair that shares its peak, all joint ways to go enumerated."""
    series = small_series()
    chain, raw = chain_of(series, rows), everything(series)
    views = chain_views(chain, raw, in_full=False)
    good = views.good_draws(views)
    gain = np.array([expected_gain(good, [i]) for i in range(len(raw))])
    gain[raw[:, None, 1] != raw[None, :, 1]] = -np.inf
    first, second = (
        int(np.flatnonzero((raw == melt.raw).all(axis=1))[0]) for melt in next_melts(chain, aim="reach").melts
    )
    assert gain[first, second] >= 0.9 * gain.max() - 0.002  # a fifth of a point of chance is no difference


@pytest.mark.parametrize("aim", ["learn", "reach"])
@pytest.mark.parametrize("rows", [LOGS["no melts"], LOGS["only failures"], LOGS["hot ones spill"]])
def test_a_ceiling_on_the_risk_is_kept_wherever_any_setting_can_keep_it(rows, aim):
    series = small_series()
    chain, raw = chain_of(series, rows), everything(series)
    risk = 1.0 - chain.stages[0].chance_draws(raw).mean(axis=0)
    for share in (0.0, 0.05, 0.3, 0.7):
        ceiling = float(np.quantile(risk, share)) + 1e-9
        assert max(melt.risk for melt in next_melts(chain, aim=aim, most_risk=ceiling).melts) <= ceiling


def test_a_ceiling_that_no_setting_keeps_still_gives_advice():
    advice = next_melts(chain_of(small_series(), LOGS["only failures"]), most_risk=0.0)
    assert len(advice.melts) == 2
    assert all(melt.risk > 0.0 for melt in advice.melts)


def test_without_losses_nothing_is_at_risk_and_without_prices_nothing_costs():
    advice = next_melts(chain_of(small_series(costs=Costs()), LOGS["mixed"]))
    assert all(melt.risk == 0.0 and melt.cost == 0.0 for melt in advice.melts)
    assert advice.safest is None


def test_learning_gives_way_to_reaching_as_the_budget_is_used_up():
    series = small_series(budget=Budget(melts=5))
    weights = [next_melts(chain_of(series, LOGS["mixed"][:n])).learn_weight for n in range(6)]
    assert weights == sorted(weights, reverse=True)
    assert weights[0] > 0.5
    assert weights[-1] == 0.0


def test_a_long_budget_is_no_reason_to_learn_for_longer_than_a_usual_series():
    usual, long = (small_series(budget=Budget(melts=melts)) for melts in (USUAL_SERIES, 40))
    entries = LOGS["mixed"]
    for n in (0, 3, len(entries)):
        weights = [next_melts(chain_of(series, entries[:n])).learn_weight for series in (usual, long)]
        assert weights[0] == weights[1] == pytest.approx(0.7 * (1.0 - n / 14))


def test_every_kind_of_outcome_and_factor_can_be_advised_on():
    series = MeltSeries(
        "invented",
        (Choice("sand", ("damp", "dry", "oven dry")), Choice("lid", ("on", "off"))),
        (
            Outcome("fill", "measured", unit="%", bounds=(0, 100), good=GoodRange(low=90)),
            Outcome("cracks", "grade", grades=("none", "few", "many"), after="fill", good=("none",)),
            Outcome("hue", "grade", grades=("green", "brown"), after="fill"),
        ),
        seed=2,
    )
    entries = (
        Entry(1, 1, {"sand": "damp", "lid": "on"}, {"fill": 96.0, "cracks": "none", "hue": Unseen.LOST}),
        Entry(2, 2, {"sand": "dry", "lid": "off"}, {"fill": 60.0, "cracks": Unseen.NOT_REACHED}),
        Entry(3, 3, {"sand": "dry", "lid": "on"}, {"fill": Unseen.LATER}),
    )
    advice = next_melts(fit_chain(series, Log(series, entries), n_draws=DRAWS))
    assert advice.melts[0].settings.keys() == {"sand", "lid"}
    assert advice.melts[0].share_by_stage["hue"] == 0.0, "what does not count earns no melts"


def verdict_of(rows, **changes):
    return next_melts(chain_of(small_series(**changes), rows)).verdict


def test_before_the_first_melt_it_says_go_on():
    verdict = verdict_of(LOGS["no melts"])
    assert (verdict.word, verdict.ending, verdict.spent) == ("go on", "go on", 0.0)


def test_it_stops_when_the_target_is_as_good_as_reached():
    verdict = verdict_of(LOGS["all good"] * 6, target_chance=0.5)
    assert (verdict.word, verdict.ending) == ("stop", "reached")
    assert verdict.reaches >= 0.9


def test_a_few_good_melts_are_not_yet_a_reason_to_stop():
    verdict = verdict_of(LOGS["all good"])
    assert verdict.word == "go on"
    assert verdict.reaches < 0.9


def test_it_stops_when_the_melts_are_spent():
    assert verdict_of(LOGS["mixed"], budget=Budget(melts=5)).ending == "melts spent"
    assert verdict_of(LOGS["mixed"][:3], budget=Budget(melts=5)).ending != "melts spent"


def test_it_stops_when_the_money_is_spent_losses_included():
    """Five melts in three firings and one lost crucible: 5 * 12 + 3 * 9 + 45 = 132."""
    verdict = verdict_of(LOGS["mixed"], budget=Budget(money=140.0))
    assert verdict.spent == 132.0
    assert verdict.ending == "money spent"
    assert verdict_of(LOGS["mixed"], budget=Budget(money=1000.0)).ending != "money spent"


def test_it_stops_when_nothing_within_the_ranges_can_work():
    """Melts that all leak, all over the region; as many leaks on its cold side alone leave the hot side open."""
    tried = [(flux, peak, SPILLED) for flux in (15, 25, 35) for peak in (1100, 1175, 1250) if flux + peak / 10 <= 150]
    verdict = next_melts(chain_of(small_series(), tried * 3, draws=2000)).verdict
    assert (verdict.word, verdict.ending) == ("stop", "out of reach")
    assert verdict.reachable < 0.05
    cold = [(flux, peak, SPILLED) for flux in (15, 25, 35) for peak in (1100, 1125, 1150)]
    assert next_melts(chain_of(small_series(), cold, draws=2000)).verdict.word == "go on"


ENDS = tuple((flux, peak, SPILLED) for flux, peak in ((15, 1100), (40, 1100), (15, 1250), (40, 1250)) * 2)


def failed_at_the_ends(**changes):
    """All melts failed, each at an end of both ranges; nothing is known of the middle."""
    given = {"limits": (), "costs": Costs(), "target_chance": 0.9}
    return chain_of(small_series(**{**given, **changes}), ENDS, draws=2000)


@pytest.mark.parametrize("melts_per_firing", [1, 2])
def test_the_best_guess_is_tried_before_the_target_is_called_out_of_reach(melts_per_firing):
    advice = next_melts(failed_at_the_ends(kiln=Kiln(melts_per_firing)))
    assert advice.verdict.reachable < 0.05
    assert (advice.verdict.ending, advice.verdict.last_try) == ("go on", True)
    assert len(advice.melts) == melts_per_firing
    assert np.array_equal(advice.melts[0].raw, advice.best.raw)
    assert len({melt.settings["peak"] for melt in advice.melts}) == 1


def test_once_the_best_guess_has_failed_too_the_target_is_out_of_reach():
    series = failed_at_the_ends().series
    best = next_melts(failed_at_the_ends()).best.settings
    near = tuple((best["flux"], best["peak"], SPILLED) for _ in range(4))
    verdict = next_melts(chain_of(series, (*ENDS, *near), draws=2000)).verdict
    assert (verdict.ending, verdict.last_try) == ("out of reach", False)


def test_a_best_guess_that_must_not_be_risked_is_no_last_try():
    chain = failed_at_the_ends()
    best = chain.best().raw
    assert hope_left(chain, 0.04, best) == "last try"
    assert hope_left(chain, 0.04, best, can_be_tried=False) == "none"
    assert hope_left(chain, 0.04, chain.log.raw[0]) == "none", "it was tried"
    assert hope_left(chain, 0.2, best, can_be_tried=False) == "open"


def test_a_repeat_within_one_firing_is_a_melt_of_its_own():
    """Where the same setting is proposed twice, either melt can still be found in the advice."""
    advice = next_melts(chain_of(small_series(), LOGS["only failures"]), aim="reach", most_risk=0.0)
    assert [advice.melts.index(melt) for melt in advice.melts] == [0, 1]
