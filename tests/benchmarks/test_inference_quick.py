"""The simulation study in small: the same check passes the program's posterior and rejects wrong ones."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from scipy.special import expit

from .coverage_scores import Played, brier, brier_gain, chances_covered, reliability, slopes_covered
from .rival_classifiers import RIVALS
from .simulated_chain import play_measured, play_passes
from .simulated_stage import play_stage, program_fit

SERIES = tuple((n, (11, n, i)) for n, i in product((8, 16), range(40)))
ERRORS = 2.5  # Monte Carlo errors, each about 0.02 of coverage, that the targets 0.88 and 0.92 are widened by


def covers(figure):
    return figure.within(0.88, 0.92, ERRORS)


@pytest.fixture(scope="module")
def fitted():
    """The series as the program fits them, and the posterior of each."""
    made = []

    def fit(*given):
        made.append(program_fit(*given))
        return made[-1]

    return [play_stage("pass", "prior", n, seed, fit=fit) for n, seed in SERIES], made


@pytest.fixture(scope="module")
def stretched(fitted):
    """The same series, not fitted again, with every posterior stretched about its mean."""

    def played(factor):
        again = iter(fitted[1])

        def fit(*_):
            right = next(again)
            return replace(right, draws=right.mean + factor * (right.draws - right.mean))

        return [play_stage("pass", "prior", n, seed, fit=fit) for n, seed in SERIES]

    return played


def test_intervals_cover_and_chances_come_true(fitted):
    played, _ = fitted
    assert covers(slopes_covered(played))
    assert covers(chances_covered(played))
    assert reliability(played).within(0.9, 1.1, ERRORS)


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_a_posterior_of_half_or_twice_the_width_is_rejected(stretched, factor):
    played = stretched(factor)
    assert not covers(slopes_covered(played))
    assert not covers(chances_covered(played))


def test_the_score_is_better_than_that_of_rivals():
    """Eight melts a series: over ten of them every rival falls behind."""
    played = [play_stage("pass", "prior", 8, (12, i), rivals=True) for i in range(10)]
    for rival in RIVALS:
        assert brier_gain(played, rival).value > 0
        assert brier(played, rival).value == pytest.approx(brier(played).value + brier_gain(played, rival).value)


def test_whole_logs_can_be_played():
    passes = [play_passes(16, (13, i)) for i in range(8)]
    measured = [play_measured(12, (14, i)) for i in range(2)]
    assert covers(slopes_covered(passes))
    assert covers(chances_covered(passes))
    assert all(one.slopes.size == 5 and one.chances.size == 50 for one in measured)


@pytest.mark.parametrize("boldness", [0.5, 1.0, 2.0])
def test_reliability_slope_of_chances_stated_too_boldly_or_timidly(boldness):
    """Where the stated logit is the true one times a number, the slope is one over that number."""
    rng = np.random.default_rng(1)
    played = []
    for _ in range(60):
        eta = 2 * rng.standard_normal(50)
        inside = np.ones(50, dtype=bool)
        seen = (rng.random(50) < expit(eta)).astype(float)
        played.append(Played(inside, inside, expit(boldness * eta), expit(eta), seen, 0.0))
    slope = reliability(played)
    assert slope.value == pytest.approx(1 / boldness, abs=3 * slope.error)
    assert slope.error < 0.1
