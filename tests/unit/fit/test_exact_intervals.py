"""Exact limits of counts: by hand, by a second library, and by their promise to cover."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import beta, binom, fisher_exact
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


@pytest.mark.parametrize("melts", [1, 2, 7])
def test_limits_are_beta_quantiles_at_every_count(melts):
    for passes in range(melts + 1):
        low, high = clopper_pearson(passes, melts, 0.90)
        assert low == pytest.approx(beta.ppf(0.05, passes, melts - passes + 1) if passes else 0.0)
        assert high == pytest.approx(beta.ppf(0.95, passes + 1, melts - passes) if passes < melts else 1.0)
        lower = beta.ppf(0.05, passes, melts - passes + 1) if passes else 0.0
        assert chance_at_least(passes, melts) == pytest.approx(lower)


def test_fishers_test_agrees_with_a_second_library_on_every_small_table():
    """Every table of 5 and 4 melts; with equal numbers as well, where tables as likely as the one seen abound."""
    for n, m in ((5, 4), (4, 4)):
        for a in range(n + 1):
            for b in range(m + 1):
                if a + b in (0, n + m):
                    continue
                found = two_by_two(a, n, b, m)
                table = [[a, n - a], [b, m - b]]
                assert found.p_value == pytest.approx(fisher_exact(table).pvalue)
                assert found.p_greater == pytest.approx(fisher_exact(table, alternative="greater").pvalue)
                assert found.p_less == pytest.approx(fisher_exact(table, alternative="less").pvalue)
                assert max(found.p_value, found.p_greater, found.p_less) <= 1.0


@pytest.mark.parametrize("chance", [-0.5, 0.0, 1.0, 1.5])
def test_a_chance_that_no_number_of_melts_can_show_is_refused(chance):
    with pytest.raises(ValueError, match="strictly between 0 and 1"):
        melts_to_show(chance)


def test_a_chance_that_one_melt_shows_takes_one():
    assert melts_to_show(0.04, 0.95) == 1
    assert melts_to_show(0.06, 0.95) == 2


@pytest.mark.parametrize(("passes", "melts"), [(0, 0), (-1, 3), (4, 3), (0, -1)])
def test_counts_that_cannot_be_are_refused_each(passes, melts):
    with pytest.raises(ValueError, match="is not a count"):
        clopper_pearson(passes, melts)
