"""What is said early where going on will hardly end in certainty."""

from dataclasses import replace

import numpy as np
import pytest
from small_chain import LOGS, SOUND, SPILLED, STIFF, chain_of, small_series

from meltdoe.next_melt.advice import next_melts
from meltdoe.next_melt.forecast import Forecast
from meltdoe.next_melt.moves import Move
from meltdoe.next_melt.prospect import poor, prospect_of
from meltdoe.report.advice_sentences import heading, why_verdict
from meltdoe.report.outlook_sentences import forecast_sentence, moving_sentences
from meltdoe.series import Budget

NEVER = Forecast(8, True, None, None, None, 1.0, 0.0, 0.02, 100.0, 90.0, 110.0, 200)


def test_a_forecast_is_poor_where_nearly_none_of_the_series_played_become_sure():
    assert poor(NEVER)
    assert poor(replace(NEVER, never=0.96))
    assert not poor(replace(NEVER, never=0.95))


def test_whether_hardly_any_truly_reach_it_tells_a_far_target_from_a_short_budget():
    assert prospect_of(NEVER, None, 0.1, 0.3, ()).sight == "out of sight"
    assert prospect_of(replace(NEVER, works=0.10), None, 0.1, 0.3, ()).sight == "too short"
    assert prospect_of(NEVER, None, 0.25, 0.3, ()).sight == "too short", "only the caution it began with"


def test_only_bounds_that_raise_the_best_chance_are_named_the_most_helpful_first():
    moves = (
        Move("low end", "flux", 9.0, 0.0, 0.31),
        Move("high end", "peak", 1290.0, 0.0, 0.40),
        Move("limit", "flux <= 9", None, 0.0, 0.55),
    )
    assert [move.chance for move in prospect_of(NEVER, None, 0.1, 0.3, moves).moves] == [0.55, 0.40]


@pytest.fixture(scope="module")
def hopeless():
    """Seven melts that never pour, and a target of 95 %."""
    series = small_series(target_chance=0.95, budget=Budget(melts=21, money=1e6))
    rows = [(flux, peak, STIFF) for flux in (15, 25, 40) for peak in (1100, 1150, 1200) * 2 if flux + peak / 10 <= 150]
    return next_melts(chain_of(series, rows)), series


def test_a_target_out_of_sight_is_said_first_with_what_would_have_to_move(hopeless):
    advice, series = hopeless
    assert advice.verdict.word == "go on"
    assert advice.prospect.sight == "out of sight"
    assert heading(advice) == "DECIDE FIRST"
    assert why_verdict(series, advice).startswith("The target of 95 % is not in sight: the chance that")
    assert "hardly any become 90 % sure" in forecast_sentence(series, advice)
    said = moving_sentences(series, advice)
    assert said[0].startswith(
        "The target: as likely as not, by the melts and by what was assumed before them, no setting"
    )
    assert said[1].startswith("More melts alone would not do: with 30 melts instead of 7, ")
    assert said[2].startswith(("A bound: the best setting, now at ", "What is varied: no single limit"))
    reach = advice.outlook.targets.success_draws.max(axis=1)
    assert np.mean(reach <= advice.likely_best + 1e-12) >= 0.5 >= np.mean(reach < advice.likely_best - 1e-12)
    bounds = {move.name for move in advice.prospect.moves}
    assert all(name in said[2] for name in list(bounds)[:1])


def test_a_target_within_reach_of_a_longer_series_is_no_reason_to_decide_first():
    series = small_series(target_chance=0.5, budget=Budget(melts=7, money=1e6))
    advice = next_melts(chain_of(series, LOGS["mixed"]))
    assert (advice.verdict.word, advice.prospect.sight) == ("go on", "too short")
    assert heading(advice) == "GO ON, THOUGH TOO FEW MELTS ARE LEFT TO BE SURE"
    assert advice.prospect.longer.horizon > advice.forecast.horizon == 2
    assert not why_verdict(series, advice).startswith("The target of 50 % is not in sight")


def test_before_the_first_melt_nothing_speaks_against_the_target():
    series = small_series(target_chance=0.95, budget=Budget(melts=8, money=1e6))
    advice = next_melts(chain_of(series, ()))
    assert poor(advice.forecast)
    assert advice.prospect is None
    assert heading(advice) == "GO ON"


def test_where_going_on_may_end_in_certainty_nothing_has_to_move():
    easy = small_series(target_chance=0.3, budget=Budget(melts=30))
    advice = next_melts(chain_of(easy, [*LOGS["all good"], (40, 1100, STIFF)]))
    if advice.verdict.word == "go on":
        assert not poor(advice.forecast)
    assert advice.prospect is None
    assert moving_sentences(easy, advice) == []
    assert heading(advice) in ("GO ON", "STOP")


def test_the_forecast_keeps_the_ceiling_on_risk():
    """Hot melts spill and cost: played on under a ceiling, the series is cheaper."""
    series = small_series(budget=Budget(melts=30, money=1e6), target_chance=0.9)
    rows = [*LOGS["hot ones spill"], *((flux, 1225, SOUND) for flux in (20, 25)), (20, 1250, SPILLED)]
    chain = chain_of(series, rows)
    free, held = (next_melts(chain, aim="learn", most_risk=risk) for risk in (None, 0.2))
    played = [advice.outlook.played_settings(advice.best, advice.melts) for advice in (free, held)]
    risks = [1.0 - chain.stages[0].chance_draws(raw).mean(axis=0) for raw in played]
    assert risks[0].max() > 0.2
    assert risks[1].max() <= 0.2
    assert held.forecast.money < free.forecast.money
