"""Blocks, foldover and semifolding."""

from __future__ import annotations

import numpy as np
import pytest

from meltdoe.plans.fractions.blocking import blocks
from meltdoe.plans.fractions.foldover import foldover, semifold
from meltdoe.plans.fractions.fractional import fraction
from meltdoe.plans.merits.aliasing import alias_groups, alias_matrix


@pytest.mark.parametrize(
    ("k", "runs", "count"), [(4, 16, 2), (5, 16, 2), (5, 16, 4), (6, 16, 2), (5, 32, 8), (7, 64, 8)]
)
def test_blocks_are_equal_and_free_of_main_effects(k: int, runs: int, count: int) -> None:
    design = fraction(k, runs)
    division = blocks(design, count)
    assert np.bincount(division.block)[1:].tolist() == [runs // count] * count
    assert division.confounded_by_length[0] == 0
    for number in range(1, count + 1):
        assert not design.table[division.block == number].sum(axis=0).any()
    assert len(division.words) == count - 1


def test_lost_words_are_constant_within_blocks() -> None:
    design = fraction(5, 32)
    division = blocks(design, 4)
    for word in division.words:
        column = np.prod([design.table[:, design.factors.index(letter)] for letter in word], axis=0)
        assert all(len(set(column[division.block == number])) == 1 for number in range(1, 5))


def test_impossible_blocks_are_refused() -> None:
    with pytest.raises(ValueError, match="no column free"):
        blocks(fraction(7, 8), 2)
    with pytest.raises(ValueError, match="not 3"):
        blocks(fraction(4, 16), 3)
    with pytest.raises(ValueError, match="not 8"):
        blocks(fraction(3, 8), 8)


def test_a_full_foldover_frees_main_effects() -> None:
    table = fraction(7, 8).table
    both = np.vstack([table, foldover(table)])
    pairs = np.stack([both[:, i] * both[:, j] for i in range(7) for j in range(i)], axis=1)
    assert not (both.T @ pairs).any()
    assert np.array_equal(both.T @ both, 16 * np.eye(7))
    assert table[0, 0] == -both[8, 0]


def test_folding_one_factor_frees_it_and_its_interactions() -> None:
    design = fraction(7, 8)
    both = np.vstack([design.table, foldover(design.table, [3])])
    mixed = {name for group in alias_groups(both, design.factors, 2) for name in group.effects}
    assert "D" not in mixed
    assert not any("D" in name for name in mixed)
    assert "A" in mixed


def test_semifolding_takes_half_and_still_frees_a_factor() -> None:
    table = fraction(6, 16).table
    half = semifold(table, [0], keep=1)
    assert len(half) == 8
    assert (half[:, 1] == 1).all()
    both = np.vstack([table, half])
    terms = np.column_stack([np.ones(24), both, *(both[:, [0]] * both[:, [j]] for j in range(1, 6))])
    assert np.linalg.matrix_rank(terms) == 12


def test_folding_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="flip must name"):
        foldover(np.ones((4, 2)), [])
    with pytest.raises(ValueError, match="flip must name"):
        foldover(np.ones((4, 2)), [5])
    with pytest.raises(ValueError, match="no run has factor 1"):
        semifold(np.ones((4, 2)), [0], keep=1, level=-1)


def test_alias_matrix_of_a_half_fraction() -> None:
    table = fraction(3, 4).table
    pairs = np.stack([table[:, 0] * table[:, 1], table[:, 0] * table[:, 2], table[:, 1] * table[:, 2]], axis=1)
    A = alias_matrix(np.column_stack([np.ones(4), table]), pairs)
    bias = np.array([[0, 0, 0], [0, 0, 1], [0, 1, 0], [1, 0, 0]])
    assert pytest.approx(bias, abs=1e-12) == A
