"""Exact limits of counts: by hand, by a second library, and by their promise to cover."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom
from scipy.stats.contingency import odds_ratio

from meltdoe.fit.classical.exact_intervals import chance_at_least, clopper_pearson, melts_to_show, two_by_two


def test_three_of_three_shows_no_more_than_37_per_cent():
    assert chance_at_least(3, 3) == pytest.approx(0.05 ** (1 / 3))
    assert chance_at_least(0, 3) == 0.0


def test_limits_cover_whatever_the_truth():
    n = 9
    limits = [clopper_pearson(k, n, 0.90) for k in range(n + 1)]
    for p in np.linspace(0.01, 0.99, 99):
        covered = sum(binom.pmf(k, n, p) for k, (low, high) in enumerate(limits) if low <= p <= high)
        assert covered >= 0.90


def test_no_failure_allowed():
    assert melts_to_show(0.5, 0.95) == 5
    assert melts_to_show(0.8, 1 - 0.8**7) == 7
    with pytest.raises(ValueError):
        melts_to_show(1.0)


@pytest.mark.parametrize("counts", [(2, 17, 10, 13), (3, 4, 1, 4), (5, 9, 4, 6), (1, 30, 6, 8)])
def test_conditional_odds_ratio_agrees_with_a_second_library(counts):
    a, n, b, m = counts
    found, other = two_by_two(a, n, b, m, 0.95), odds_ratio([[a, n - a], [b, m - b]])
    assert found.odds_ratio == pytest.approx(other.statistic, rel=1e-9)
    assert (found.low, found.high) == pytest.approx(tuple(other.confidence_interval(0.95)), rel=1e-9)


def test_empty_cells_leave_an_end_open():
    found = two_by_two(3, 3, 0, 3)
    assert found.odds_ratio == np.inf
    assert found.high == np.inf
    assert found.low > 0
    turned = two_by_two(0, 3, 3, 3)
    assert (turned.odds_ratio, turned.low) == (0.0, 0.0)
    assert turned.high == pytest.approx(1 / found.low)
    assert two_by_two(2, 2, 3, 3).p_value == 1.0


def test_impossible_counts_are_refused():
    with pytest.raises(ValueError, match="4 passes of 3"):
        clopper_pearson(4, 3)
