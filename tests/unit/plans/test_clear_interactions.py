"""Fractions that keep named interactions clear: they do, or it is proven that none does."""

from itertools import combinations, permutations

import numpy as np
import pytest

from meltdoe.plans.fractions.clear_interactions import column_sets, keeping_clear, row_moments
from meltdoe.plans.fractions.fractional import fraction
from meltdoe.plans.fractions.minimum_aberration import clear_pairs, word_length_pattern
from meltdoe.plans.fractions.split_plot_fraction import split_plot_columns, usable_ranks


@pytest.mark.parametrize("wanted", [["AB"], ["AB", "AC"], ["AB", "CD"], ["EF"], ["AB", "BC", "CA"]])
def test_every_fraction_of_six_factors_in_sixteen_runs_was_tried(wanted):
    pairs = [tuple(sorted("ABCDEF".index(letter) for letter in pair)) for pair in wanted]
    sets = column_sets(0, 6, 16, 0)
    possible = set()
    for columns in sets.tolist():
        clear = {frozenset(pair) for pair in clear_pairs(columns)}
        for order in permutations(range(6)):
            if all(frozenset(order[i] for i in pair) in clear for pair in pairs):
                possible.add(word_length_pattern(columns, 16))
                break
    if possible:
        found = fraction(6, 16, clear=wanted)
        assert set(map(frozenset, wanted)) <= set(map(frozenset, found.clear_two_factor_interactions))
        assert found.word_lengths == min(possible)
    else:
        with pytest.raises(ValueError, match="there is no fraction"):
            fraction(6, 16, clear=wanted)


def test_per_firing_factors_stay_on_the_first_columns():
    found = split_plot_columns(2, 4, 16, 2, ((0, 2),))
    assert found is not None
    assert set(found[:2]) <= {1, 2, 3}
    assert (0, 2) in clear_pairs(found)
    assert all(column > 3 for column in found[2:])


def test_none_is_said_where_none_exists():
    # in 8 runs with 6 factors every two-factor interaction is mixed up with a main effect or another one
    for rank in usable_ranks(2, 4, 8):
        for pair in combinations(range(6), 2):
            assert split_plot_columns(2, 4, 8, rank, (pair,)) is None


def test_moments_rank_as_word_lengths_do():
    sets = column_sets(0, 7, 16, 0)
    moments = [tuple(row) for row in row_moments(sets, 16).tolist()]
    patterns = [word_length_pattern(columns, 16)[:3] for columns in sets.tolist()]
    by_moments = [patterns[i] for i in sorted(range(len(sets)), key=moments.__getitem__)]
    assert by_moments == sorted(patterns)


def test_too_many_fractions_are_not_tried():
    assert column_sets(0, 12, 64, 0) is None
    assert keeping_clear(np.array([[1, 2, 4, 7]]), 8, 0, [(0, 1)]) is None


@pytest.mark.parametrize(("runs", "wanted"), [(64, ["AB", "AC", "AD", "AE"]), (32, ["AB", "CD"])])
def test_where_not_all_are_tried_those_searched_for_keep_them_clear_too(runs, wanted):
    assert column_sets(0, 12, runs, 0) is None
    found = fraction(12, runs, clear=wanted)
    assert set(map(frozenset, wanted)) <= set(map(frozenset, found.clear_two_factor_interactions))
    free = fraction(12, runs)
    assert found.word_lengths >= free.word_lengths
    if runs == 64:  # asking for four that one of least aberration keeps costs nothing: A4 = 6, A5 = 24
        assert found.word_lengths[:3] == free.word_lengths[:3] == (0, 6, 24)


def test_a_search_that_finds_none_does_not_say_that_there_is_none():
    among_six = ["".join(pair) for pair in combinations("ABCDEF", 2)]
    with pytest.raises(ValueError, match="no fraction of 12 factors in 32 runs was found that keeps"):
        fraction(12, 32, clear=among_six)
