"""Melts made to confirm a setting: counted as they were meant, and proved without a model."""

from dataclasses import replace

import pytest
from scipy.stats import beta
from small_chain import SOUND, SPILLED, STIFF, chain_of, melted, small_series

from meltdoe.next_melt.advice import next_melts
from meltdoe.next_melt.confirming import confirmed
from meltdoe.next_melt.left import unmade_melts
from meltdoe.plans.melt_plan import CONFIRMATION, PlannedMelt
from meltdoe.report.advice_sentences import confirmed_sentence, why_verdict
from meltdoe.series.outcome import Unseen

BEST = {"flux": 30.0, "peak": 1150.0}


def planned(*purposes):
    return tuple(PlannedMelt(i + 1, i // 2 + 1, i + 1, BEST, purpose) for i, purpose in enumerate(purposes))


def test_only_melts_planned_for_it_and_made_at_that_setting_count():
    series = small_series(target_chance=0.6)
    log = melted(series, (30, 1150, SOUND), (30, 1150, SOUND), (30, 1175, SOUND), (30, 1150, STIFF))
    found = confirmed(log, planned("fraction", CONFIRMATION, CONFIRMATION, CONFIRMATION, CONFIRMATION))
    assert (found.melts, found.good, found.bad) == ((2, 4), 1, 1)
    assert found.proves == pytest.approx(beta.ppf(0.1, 1, 2))  # Clopper-Pearson, one-sided
    assert beta.ppf(0.1, 1 + found.needed, 2) >= 0.6 > beta.ppf(0.1, found.needed, 2)
    assert unmade_melts(log, planned(*[CONFIRMATION] * 5)).to_confirm == (5,)
    assert confirmed(log, planned("fraction", "fraction")) is None
    assert confirmed(melted(series), planned(CONFIRMATION)) is None


def test_five_of_five_confirm_a_target_of_60_percent():
    """0.1 to the power 1/5 is 0.631."""
    series = small_series(target_chance=0.6)
    rows = [(30, 1150, SOUND)] * 5
    found = confirmed(melted(series, *rows), planned(*[CONFIRMATION] * 5))
    assert (found.good, found.bad, found.needed) == (5, 0, 0)
    assert found.proves == pytest.approx(0.1**0.2)
    fewer = confirmed(melted(series, *rows[:3]), planned(*[CONFIRMATION] * 5))
    assert fewer.needed == 2
    later = melted(series, *rows[:2])
    open_ended = replace(later, entries=(later.entries[0], replace(later.entries[1], seen={
        "contained": True, "poured": True, "sound": Unseen.LATER})))  # fmt: skip
    waiting = confirmed(open_ended, planned(*[CONFIRMATION] * 5))
    assert (waiting.melts, waiting.good, waiting.bad) == ((1, 2), 1, 0)


def test_the_setting_planned_last_is_the_one_that_is_confirmed():
    other = {"flux": 25.0, "peak": 1200.0}
    plan = (PlannedMelt(1, 1, 1, other, CONFIRMATION), PlannedMelt(2, 1, 2, BEST, CONFIRMATION))
    found = confirmed(melted(small_series(target_chance=0.6), (25, 1200, SOUND), (30, 1150, SPILLED)), plan)
    assert found.settings == BEST
    assert (found.melts, found.good, found.bad, found.proves) == ((2,), 0, 1, 0.0)


def test_a_target_that_no_number_of_melts_can_prove_is_counted_to_the_cap():
    series = small_series(target_chance=1.0)
    found = confirmed(melted(series, (30, 1150, SOUND)), planned(CONFIRMATION))
    assert found.needed == 1000


def test_what_they_prove_is_said_with_what_is_still_needed():
    series = small_series(target_chance=0.6)
    chain = chain_of(series, [(30, 1150, SOUND)] * 3)
    advice = next_melts(chain, planned=planned(*[CONFIRMATION] * 3))
    said = confirmed_sentence(series, advice)
    assert said == (
        "Made to confirm flux 30 wt%, peak 1150 °C: melts 1 to 3, 3 of 3 good, which proves a chance of at least 46 % "
        "without any model (90 % lower bound); 2 more, all good, would prove 60 %."
    )
    assert why_verdict(series, advice).endswith(said)
    none_good = next_melts(chain_of(series, [(30, 1150, SPILLED)]), planned=planned(CONFIRMATION))
    assert "0 of 1 good; " in confirmed_sentence(series, none_good)
    assert confirmed_sentence(series, next_melts(chain)) == ""


def test_a_proposal_outside_the_plan_gets_a_firing_that_the_plan_has_not_given_away():
    series = small_series()
    rows = [(15, 1250, SPILLED), (15, 1250, SPILLED)]
    dull = tuple(PlannedMelt(i, (i + 1) // 2, i, {"flux": 15.0, "peak": 1250.0}, "x") for i in range(1, 9))
    advice = next_melts(chain_of(series, rows), planned=dull)
    assert not advice.follows_plan
    assert [melt.firing for melt in advice.melts] == [5, 5]
    assert [melt.firing for melt in next_melts(chain_of(series, rows)).melts] == [2, 2]
