"""Exact tests and limits against the reference output of fisher.test and binom.test (R Core Team, package stats).

Tables: tea, Agresti (1990), after Fisher; convictions, Fisher (1962); both seen in that output. Rows marked
"recomputed" come from R 4.2.2. Odds ratios and their limits are found there by a root search good to about four digits,
so they are compared loosely here; tests of the unit compare ours with a second library to nine digits.

The same output holds an exact test of a table of 4 by 4 (job satisfaction by income, p = 0.7827) and a test of one
chance against a stated value (682 of 925 against 75 %, p = 0.3825). The program offers neither: grades are compared by
proportional odds, and of one chance it gives limits.
"""

from __future__ import annotations

import pytest

from meltdoe.fit.classical.exact_intervals import chance_at_least, clopper_pearson, melts_to_show, two_by_two


def test_tea():
    found = two_by_two(3, 4, 1, 4, level=0.90)
    assert found.p_greater == pytest.approx(0.2429, abs=5e-5)
    assert found.odds_ratio == pytest.approx(6.408309, abs=1e-3)
    assert found.low == pytest.approx(0.3135693, abs=1e-5)  # one-sided 95 %
    assert found.p_value == pytest.approx(0.4857142857)  # recomputed


def test_convictions():
    found = two_by_two(2, 17, 10, 13, level=0.95)
    assert found.p_less == pytest.approx(0.0004652, abs=5e-8)
    assert found.p_value == pytest.approx(0.0005367, abs=5e-8)
    assert found.odds_ratio == pytest.approx(0.04693661, abs=1e-5)
    assert (found.low, found.high) == pytest.approx((0.003325764, 0.363182271), abs=1e-5)
    found = two_by_two(2, 17, 10, 13, level=0.99)
    assert (found.low, found.high) == pytest.approx((0.001386333, 0.578851645), abs=2e-5)
    assert two_by_two(2, 17, 10, 13, level=0.90).high == pytest.approx(0.2849601, abs=1e-5)  # one-sided 95 %


@pytest.mark.parametrize(
    ("passes", "melts", "low", "high"),
    [
        (682, 925, 0.7076683, 0.7654066),  # print; the others recomputed
        (0, 6, 0.0, 0.4592581264),
        (0, 10, 0.0, 0.3084971078),
        (1, 6, 0.004210744514, 0.641234579),
        (5, 5, 0.4781762499, 1.0),
    ],
)
def test_limits_of_a_chance(passes, melts, low, high):
    assert clopper_pearson(passes, melts, 0.95) == pytest.approx((low, high), abs=1e-6)


def test_no_pass_in_ten_leaves_at_most_26_per_cent():
    assert 1 - chance_at_least(10, 10) == pytest.approx(0.2588655509)  # recomputed: 1 - 0.05^(1/10)


def test_29_melts_without_failure_show_90_per_cent():
    assert melts_to_show(0.90) == 29  # recomputed: smallest n with 0.9^n <= 0.05


@pytest.mark.parametrize(
    ("counts", "p", "p_mid"),
    [
        ((4, 4, 0, 4), 0.02857142857, 0.01428571429),
        ((5, 6, 1, 6), 0.08008658009, 0.04112554113),
        ((7, 10, 2, 10), 0.06977851869, 0.03762800667),
        ((3, 3, 0, 3), 0.1, 0.05),
    ],
)
def test_small_tables(counts, p, p_mid):
    found = two_by_two(*counts)
    assert (found.p_value, found.p_mid) == pytest.approx((p, p_mid), abs=1e-8)  # recomputed
