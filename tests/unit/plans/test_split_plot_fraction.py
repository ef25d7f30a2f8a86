"""Fractions with per-firing factors: few settings of the kiln, per-melt factors changing within each."""

import numpy as np
import pytest

from meltdoe.plans.fractions.fractional import fraction
from meltdoe.plans.fractions.minimum_aberration import word_length_pattern
from meltdoe.plans.fractions.split_plot_fraction import least_firings, split_plot_columns, usable_ranks


def span(columns):
    products = {0}
    for column in columns:
        products |= {column ^ other for other in products}
    return products


@pytest.mark.parametrize("runs", [8, 16, 32])
@pytest.mark.parametrize(("whole", "sub"), [(1, 3), (2, 3), (3, 2), (2, 5), (4, 3)])
def test_per_melt_columns_lie_outside_what_the_firings_carry(whole, sub, runs):
    if runs <= whole + sub:
        return
    for rank in usable_ranks(whole, sub, runs):
        columns = split_plot_columns(whole, sub, runs, rank)
        carried = span(columns[:whole])
        assert len(carried) == 2**rank
        assert not carried & set(columns[whole:])
        assert len(span(columns)) == runs
        assert len(set(columns)) == whole + sub


@pytest.mark.parametrize(("k", "runs"), [(4, 8), (5, 8), (5, 16), (6, 16), (7, 16), (8, 16), (6, 32), (7, 32), (9, 32)])
def test_one_per_firing_factor_costs_no_aberration(k, runs):
    """With one per-firing factor every fraction qualifies, so the search meets minimum aberration without firings."""
    assert word_length_pattern(split_plot_columns(1, k - 1, runs, 1), runs) == fraction(k, runs).word_lengths


def test_two_settings_more_can_buy_resolution():
    assert word_length_pattern(split_plot_columns(3, 3, 16, 3), 16) == (0, 3, 0, 0)
    assert word_length_pattern(split_plot_columns(3, 3, 16, 2), 16)[0] == 1


def test_exhaustive_over_all_columns_finds_nothing_better():
    """2 per-firing and 3 per-melt factors in 16 runs, all ordered column choices tried."""
    from itertools import combinations

    best = min(
        word_length_pattern((*whole, *sub), 16)
        for whole in combinations(range(1, 16), 2)
        for sub in combinations([c for c in range(1, 16) if c not in span(whole)], 3)
        if len(span((*whole, *sub))) == 16
    )
    assert word_length_pattern(split_plot_columns(2, 3, 16, 2), 16) == best


def test_firings_hold_whole_groups():
    assert least_firings(1, 16, 3) == 6
    assert least_firings(2, 16, 4) == 4
    assert np.all([least_firings(q, 8, 1) == 8 for q in (1, 2, 3)])
