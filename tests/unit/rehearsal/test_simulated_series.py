"""Whole series on the computer: the same numbers whoever works them out, and truths whose end is known beforehand."""

import json
import multiprocessing
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor

import numpy as np
import pytest

from meltdoe.errors import WrongUsage
from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.plans.draw_up import make_plan
from meltdoe.rehearsal.simulated_series import rehearse
from meltdoe.rehearsal.truth import DrawnTruth
from meltdoe.series import Amount, Belief, Budget, Costs, GoodRange, Kiln, MeltSeries, Outcome
from meltdoe.series.outcome import Unseen

FACTORS = (
    Amount("flux", 15, 40, unit="wt%", step=5),
    Amount("peak", 1100, 1250, unit="°C", step=50, set_per="firing"),
)
CHAIN = (Outcome("contained", "pass"), Outcome("sound", "pass", after="contained"))


def small_series(**changes):
    given = {
        "title": "invented",
        "factors": FACTORS,
        "outcomes": CHAIN,
        "budget": Budget(melts=6),
        "kiln": Kiln(melts_per_firing=2),
        "costs": Costs(melt=12.0, firing=9.0, loss={"contained": 45.0}),
        "target_chance": 0.7,
        "seed": 3,
    }
    return MeltSeries(**{**given, **changes})


def sure_of(chance):
    """Beliefs that settle the truth over the whole region."""
    return tuple(
        Belief({"flux": flux, "peak": peak}, outcome.name, chance, 60)
        for outcome in CHAIN
        for flux in (15.0, 40.0)
        for peak in (1100.0, 1250.0)
    )


def test_the_numbers_do_not_depend_on_who_works_them_out():
    series = small_series()
    plan = make_plan(series, "centre", 2)
    alone = rehearse(series, plan=plan, policy="follow-up", count=5, seed=11)
    with ProcessPoolExecutor(2, multiprocessing.get_context("spawn")) as processes:
        apart = rehearse(series, plan=plan, policy="follow-up", count=5, seed=11, executor=processes)
    with ThreadPoolExecutor(2) as threads:
        beside = rehearse(series, plan=plan, policy="follow-up", count=5, seed=11, executor=threads)
    assert alone.played == apart.played == beside.played
    assert alone.document() == apart.document()


def test_more_series_leave_the_first_ones_as_they_were():
    series = small_series()
    few, many = (rehearse(series, count=count, seed=4).played for count in (2, 5))
    assert many[:2] == few
    assert rehearse(series, count=2, seed=5).played != few


@pytest.mark.parametrize("policy", ["plan", "follow-up"])
def test_a_truth_that_always_passes_ends_reached(policy):
    played = rehearse(small_series(beliefs=sure_of(0.995)), policy=policy, count=6, seed=5)
    assert (played.reachable, played.reached, played.claimed, played.false_claims) == (1.0, 1.0, 1.0, 0.0)
    assert played.true_chance > 0.9
    assert played.losses < 0.5


@pytest.mark.parametrize("policy", ["plan", "follow-up"])
def test_a_truth_that_never_passes_is_never_claimed(policy):
    played = rehearse(small_series(beliefs=sure_of(0.005)), policy=policy, count=6, seed=5)
    assert (played.reachable, played.reached, played.claimed) == (0.0, 0.0, 0.0)
    assert played.true_chance < 0.1
    assert played.losses > 0.7 * played.melts[0], "nearly every melt breaks its crucible"


def test_melt_by_melt_stops_at_once_where_nothing_is_left_to_learn():
    series = small_series(beliefs=sure_of(0.995))
    played = rehearse(series, plan=make_plan(series, "centre", 2), policy="follow-up", count=3, seed=1)
    assert [one.melts for one in played.played] == [2, 2, 2]


def test_no_series_makes_more_melts_than_the_budget_has():
    series = small_series(budget=Budget(melts=5))
    played = rehearse(series, plan=make_plan(series, "centre", 2), policy="follow-up", count=4, seed=8)
    assert all(2 <= one.melts <= 5 for one in played.played)


def test_melts_on_record_shape_the_truths_and_are_not_paid_again():
    series = small_series()
    entries = tuple(
        Entry(i + 1, i // 2 + 1, {"flux": 15.0 + 5 * (i % 6), "peak": 1100.0 + 50 * (i // 6)},
              {"contained": False, "sound": Unseen.NOT_REACHED})
        for i in range(24)
    )  # fmt: skip
    gloomy = rehearse(series, log=Log(series, entries), count=4, seed=2)
    assert gloomy.source == "melts"
    assert gloomy.true_chance < rehearse(series, count=4, seed=2).true_chance
    assert all(one.melts < 24 for one in gloomy.played)


def test_money_is_melts_firings_and_losses():
    """Four melts in two firings that all leak: 4 * 12 + 2 * 9 + 4 * 45 = 246."""
    series = small_series(beliefs=sure_of(0.0005))
    played = rehearse(series, plan=make_plan(series, "centre", 4), count=3, seed=2)
    assert [one.losses for one in played.played] == [4, 4, 4]
    assert [one.money for one in played.played] == [246.0, 246.0, 246.0]


def test_what_is_told_counts_the_series_and_the_document_is_plain():
    told = []
    played = rehearse(small_series(), count=3, seed=1, tell=told.append)
    assert told == [1, 2, 3]
    document = json.loads(json.dumps(played.document(), allow_nan=False))
    assert document["series"] == 3
    assert {"reached", "melts_needed", "losses", "policy", "money"} <= document.keys()
    assert document["melts_needed"].keys() == {"median", "low", "high"}


def test_an_unknown_policy_is_wrong_usage():
    with pytest.raises(WrongUsage, match="plan, follow-up"):
        rehearse(small_series(), policy="luck", count=1)


def test_a_simulated_melt_stops_where_a_real_one_would():
    series = MeltSeries(
        "invented",
        FACTORS,
        (
            Outcome("contained", "pass"),
            Outcome("fill", "measured", unit="%", bounds=(0, 100), after="contained", good=GoodRange(low=90)),
            Outcome("cracks", "grade", grades=("none", "few", "many"), after="fill", good=("none",)),
        ),
        seed=4,
    )
    chain = fit_chain(series, Log(series))
    plan = make_plan(series, "space-filling", 12)
    rng = np.random.default_rng(6)
    entries = [entry for draw in range(40) for entry in DrawnTruth(chain, draw).melted(plan.melts, rng)]
    assert {entry.seen["contained"] for entry in entries} == {True, False}
    for entry in entries:
        filled, cracks = entry.seen["fill"], entry.seen["cracks"]
        assert (filled is Unseen.NOT_REACHED) == (entry.seen["contained"] is False)
        if filled is not Unseen.NOT_REACHED:
            assert 0.0 <= filled <= 100.0
            assert (cracks is Unseen.NOT_REACHED) == (filled < 90.0)
    assert {entry.seen["cracks"] for entry in entries} == {Unseen.NOT_REACHED, "none", "few", "many"}


def test_simulated_passes_come_as_often_as_the_truth_says():
    """600 melts of one draw against its own chance, within four standard errors; a wrong draw lies outside."""
    series = small_series(outcomes=CHAIN[:1])
    chain = fit_chain(series, Log(series))
    plan = make_plan(series, "centre", 2)
    chances = chain.success_draws(plan.raw[:1])[:, 0]
    usual, rare = int(np.argmin(abs(chances - 0.7))), int(np.argmin(abs(chances - 0.3)))
    rng = np.random.default_rng(9)
    seen = [e.seen["contained"] for _ in range(300) for e in DrawnTruth(chain, usual).melted(plan.melts, rng)]
    error = 4 * np.sqrt(0.7 * 0.3 / len(seen))
    assert np.mean(seen) == pytest.approx(chances[usual], abs=error)
    assert np.mean(seen) != pytest.approx(chances[rare], abs=error)
