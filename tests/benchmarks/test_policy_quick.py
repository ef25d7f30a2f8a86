"""The study of policies in small: its yardsticks, its rivals, and that the program does not lose to chance."""

import numpy as np
import pytest
from scipy.special import expit

from .policy_rivals import RIVALS
from .policy_study import HALVES, Watched, median_needed, play, pooled_median, recalibration
from .policy_truths import HELD_OUT, TUNING


def watched(*true):
    return Watched(tuple(true), np.nan, False, "", 0.0)


def test_melts_needed_are_counted_to_the_first_success_and_to_the_lasting_one():
    one = watched(0.1, 0.9, 0.3, 0.85, 0.9)
    assert (one.needed(0.8), one.kept(0.8)) == (2.0, 4.0)
    assert watched(0.1, 0.2).needed(0.8) == np.inf
    assert watched(0.9, 0.2).kept(0.8) == np.inf
    assert median_needed([one, watched(0.9), watched(0.1)], 0.8)[0] == 2.0
    middle, error = pooled_median([[2.0, np.inf, 4.0], [4.0, 4.0, 4.0]])
    assert middle == 4.0
    assert error > 0.0


def test_recalibration_sees_overconfidence():
    rng = np.random.default_rng(4)
    x = rng.normal(0.5, 1.5, 4000)
    assert recalibration(expit(x), expit(x)) == pytest.approx((0.0, 1.0), abs=0.01)
    assert recalibration(expit(2 * x), expit(x))[1] == pytest.approx(0.5, abs=0.02)


@pytest.mark.parametrize("half", HALVES)
def test_truths_can_be_reached_narrowly_or_not_at_all(half):
    reachable = [truth for truth in HALVES[half] if truth.reachable]
    assert len(reachable) >= 4
    assert len(HALVES[half]) - len(reachable) == 1
    for truth in reachable:
        assert 0.02 < truth.share < 0.25, truth.name
        assert (truth.chance(truth.candidates) <= 1.0).all()
    assert not {truth.name for truth in TUNING} & {truth.name for truth in HELD_OUT}


@pytest.mark.parametrize("rival", RIVALS)
def test_rivals_are_strong_on_an_easy_truth_and_repeat_themselves(rival):
    """Two of six factors matter: whoever fits main effects finds them; one factor at a time at least tries all six."""
    truth = TUNING[1]
    one, again = (play(truth, rival, (3, 1)) for _ in range(2))
    assert one.true == again.true
    assert len(one.true) == 30
    assert max(one.true) > 3 * float(truth.chance(truth.candidates).mean()) or rival == "one factor at a time"


def test_the_program_finds_two_factors_of_six_and_says_what_it_found():
    truth = TUNING[1]
    ours = [play(truth, "step-by-step", (11, number)) for number in (4, 5)]
    assert all(len(one.true) <= 30 for one in ours)
    assert sum(one.needed(truth.series.target_chance) <= 15 for one in ours) >= 1
    assert sum(one.true[-1] >= 0.6 for one in ours) >= 1
    assert np.median([abs(one.stated - one.true[-1]) for one in ours]) < 0.25
