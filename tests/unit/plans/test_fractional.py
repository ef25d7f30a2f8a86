"""Fractions: table and generators agree, clear interactions, plain refusals."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from meltdoe.plans import fraction as fraction_by_package
from meltdoe.plans.fractions.fractional import Fraction, fraction, fraction_from_generators
from meltdoe.plans.fractions.minimum_aberration import in_first_independent, word_length_pattern

ALL = [(k, runs) for runs in (4, 8, 16, 32, 64, 128) for k in range(2, 16) if runs <= 2**k and k < runs]


def product_of(design: Fraction, word: str) -> np.ndarray:
    return np.prod([design.table[:, design.factors.index(letter)] for letter in word], axis=0)


@pytest.mark.parametrize(("k", "runs"), ALL)
def test_every_table_is_orthogonal_and_obeys_its_generators_and_words(k: int, runs: int) -> None:
    design = fraction(k, runs)
    assert design.table.shape == (runs, k)
    assert np.array_equal(design.table.T @ design.table, runs * np.eye(k))
    assert len(design.generators) == k - (runs.bit_length() - 1)
    for generator in design.generators:
        left, right = generator.split("=")
        assert np.array_equal(product_of(design, left), product_of(design, right))
    if len(design.words) < 200:
        assert all((product_of(design, word) == 1).all() for word in design.words)
        lengths = [sum(len(word) == length for word in design.words) for length in range(3, k + 1)]
        assert design.word_lengths == tuple(lengths)
    assert len(np.unique(design.table, axis=0)) == runs


def test_a_full_factorial_is_in_standard_order() -> None:
    design = fraction(3, 8)
    assert design.table[:, 0].tolist() == [-1, 1, -1, 1, -1, 1, -1, 1]
    assert design.table[:, 2].tolist() == [-1, -1, -1, -1, 1, 1, 1, 1]
    assert design.resolution is None
    assert design.generators == design.words == ()
    assert design.word_lengths == (0,)


def test_long_names_are_written_as_products() -> None:
    design = fraction(["flux", "peak", "soak", "sand"], 8)
    assert design.generators == ("sand = flux * peak * soak",)
    assert design.words == ("flux * peak * soak * sand",)
    assert design.aliases(2)["flux * peak"] == ("soak * sand",)
    again = fraction_from_generators(design.factors, design.generators)
    assert np.array_equal(again.table, design.table)


def test_aliases_agree_with_the_columns_of_the_table() -> None:
    design = fraction(6, 16)
    for effect, others in design.aliases(3).items():
        same = {
            word for word in design.aliases(3) if np.array_equal(product_of(design, word), product_of(design, effect))
        }
        assert same == {effect, *others}


def test_clear_interactions_have_no_alias_of_order_two() -> None:
    design = fraction(7, 32)
    aliases = design.aliases(2)
    expected = tuple("".join(pair) for pair in combinations(design.factors, 2) if not aliases["".join(pair)])
    assert design.clear_two_factor_interactions == expected
    assert len(expected) == 15


@pytest.mark.parametrize(
    ("k", "runs", "clear"),
    [(6, 16, ["AB", "AC"]), (7, 16, ["AB", "CD"]), (8, 32, ["AB", "CD", "EF", "GH"]), (9, 32, ["AB", "AC"])],
)
def test_asked_interactions_stay_clear(k: int, runs: int, clear: list[str]) -> None:
    design = fraction(k, runs, clear=clear)
    assert set(clear) <= set(design.clear_two_factor_interactions)
    assert np.array_equal(design.table.T @ design.table, runs * np.eye(k))
    assert design.word_lengths >= fraction(k, runs).word_lengths


def test_what_the_best_fraction_keeps_clear_costs_nothing_to_ask_for() -> None:
    plain = fraction(7, 32)
    asked = fraction(7, 32, clear=[plain.clear_two_factor_interactions[0]])
    assert asked.word_lengths == plain.word_lengths


def test_interactions_that_cannot_be_kept_clear_are_refused() -> None:
    with pytest.raises(ValueError, match=r"no fraction of 7 factors in 8 runs .* A \* B"):
        fraction(7, 8, clear=["AB"])
    with pytest.raises(ValueError, match="5 factors in 8 runs"):  # true of every such fraction, by hand
        fraction(5, 8, clear=["AB"])
    with pytest.raises(ValueError, match="take 32 runs"):
        fraction(8, 16, clear=["AB", "CD", "EF", "GH", "AC", "BD"])
    with pytest.raises(ValueError, match="'AZ' is no pair"):
        fraction(5, 16, clear=["AZ"])


@pytest.mark.parametrize(
    ("factors", "runs", "said"),
    [
        (3, 16, "only 8 combinations"),
        (9, 8, "hold at most 7"),
        (5, 12, "not 12"),
        (5, 256, "not 256"),
        (16, 32, "2 to 15"),
        (1, 4, "2 to 15"),
        (["a", "b", "a"], 4, "must differ"),
    ],
)
def test_impossible_fractions_are_refused_plainly(factors: int | list[str], runs: int, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        fraction(factors, runs)


@pytest.mark.parametrize(
    ("generators", "said"),
    [
        (["D=AX"], "no generator"),
        (["D"], "no generator"),
        (["D=AB", "D=AC"], "two generators"),
        (["D=AB", "C=AD"], "basic factors only"),
        (["D=AB", "C=AB"], "same column"),
        (["D=A"], "same column"),
    ],
)
def test_faulty_generators_are_refused_plainly(generators: list[str], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        fraction_from_generators("ABCD", generators)


def test_the_same_question_has_the_same_answer() -> None:
    assert fraction(11, 32).columns == fraction(11, 32).columns
    assert fraction_by_package is fraction


def test_a_rewritten_fraction_has_the_same_pattern() -> None:
    columns = [3, 5, 9, 17, 6, 10, 24, 31]
    rewritten = in_first_independent(columns)
    assert rewritten[:4] == [1, 2, 4, 8]
    assert word_length_pattern(rewritten, 32) == word_length_pattern(columns, 32)
