"""Firings and order of the work: groups kept apart, firings alike, everything once."""

import numpy as np
import pytest
from planning_series import plain

from meltdoe.plans.fractions.fractional import fraction
from meltdoe.plans.layout import deal, even_sizes, firings_needed, group_numbers, lay_out


def test_firings_differ_by_at_most_one_melt():
    assert even_sizes(8, 3) == (3, 3, 2)
    assert even_sizes(6, 3) == (2, 2, 2)


def test_groups_are_numbered_as_they_appear():
    raw = np.array([[2.0, 0.0], [1.0, 0.0], [2.0, 5.0], [1.0, 1.0]])
    assert group_numbers(raw, (0,)).tolist() == [0, 1, 0, 1]
    assert group_numbers(raw, (0, 1)).tolist() == [0, 1, 2, 3]


def test_a_group_takes_its_own_firings():
    assert firings_needed(np.array([0, 0, 0, 0, 1, 1]), 3) == 3


def test_every_row_stands_once_and_groups_never_share_a_firing():
    series = plain(4, per_firing=1)
    raw = 5.0 + 5.0 * fraction(4, 16).table
    groups = group_numbers(raw, (0,))
    layout = lay_out(raw, series.coding, 3, groups, np.random.default_rng(1))
    assert sorted(layout.order) == list(range(16))
    for firing in np.unique(layout.firing):
        members = layout.order[layout.firing == firing]
        assert len(members) <= 3
        assert len(set(groups[members])) == 1
    assert np.array_equal(layout.firing, np.sort(layout.firing))


def test_a_full_factorial_in_four_firings_loses_no_main_effect_to_them():
    table = fraction(4, 16).table
    firing = deal(table, (4, 4, 4, 4), np.random.default_rng(2))
    for f in range(4):
        assert np.array_equal(table[firing == f].sum(axis=0), np.zeros(4))


def test_no_one_effect_is_lost_to_firings_where_groups_must_be_split_unevenly():
    """2^(4-1), x4 = x1 x2 x3, x1 per firing, in pairs: each group loses a per-melt factor, not both the same."""
    series = plain(4, per_firing=1)
    raw = 5.0 + 5.0 * fraction(4, 8).table
    for seed in range(10):
        layout = lay_out(raw, series.coding, 2, group_numbers(raw, (0,)), np.random.default_rng(seed))
        worked = raw[layout.order]
        for column in (1, 2, 3):
            changes = [np.ptp(worked[layout.firing == f, column]) for f in range(4)]
            assert max(changes) > 0


def test_the_order_is_random_and_repeatable():
    series, raw = plain(3), 5.0 + 5.0 * fraction(3, 8).table
    groups = np.zeros(8, dtype=np.int64)
    orders = [
        lay_out(raw, series.coding, 4, groups, np.random.default_rng(seed)).order.tolist() for seed in (1, 1, 2, 3)
    ]
    assert orders[0] == orders[1]
    assert orders[0] != orders[2] != orders[3]


@pytest.mark.parametrize("seed", range(5))
def test_dealing_is_as_good_as_trying_everything(seed):
    """Six melts in two firings of three: all 10 splits tried."""
    from itertools import combinations

    rng = np.random.default_rng(seed)
    z = rng.choice([-1.0, 1.0], size=(6, 3))
    z = z - z.mean(axis=0)

    def value(members):
        total = z[list(members)].sum(axis=0)
        return float(((2.0 * total**2 / 3.0) ** 2).sum())

    best = min(value(members) for members in combinations(range(6), 3))
    firing = deal(z, (3, 3), np.random.default_rng(seed))
    assert value(np.flatnonzero(firing == 0)) == pytest.approx(best, abs=1e-9)
