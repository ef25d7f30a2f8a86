"""What holds for every design of a family."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from meltdoe.plans.families.mixtures import simplex_lattice
from meltdoe.plans.fractions.blocking import blocks
from meltdoe.plans.fractions.foldover import foldover
from meltdoe.plans.fractions.fractional import Fraction, fraction
from meltdoe.plans.fractions.minimum_aberration import in_first_independent, word_length_pattern
from meltdoe.plans.merits.aliasing import alias_groups, indistinguishable
from meltdoe.plans.merits.power import t_power
from meltdoe.plans.optimal.coordinate_exchange import exchange
from meltdoe.plans.optimal.model_matrix import Categorical, Continuous, Model, full_quadratic, main_effects

few = settings(max_examples=25, deadline=None)


@st.composite
def fractions(draw: st.DrawFn) -> Fraction:
    runs = draw(st.sampled_from([8, 16, 32]))
    k = draw(st.integers(3, min(10, runs - 1)))
    return fraction(k, min(runs, 2**k))


@given(fractions(), st.randoms(use_true_random=False))
@few
def test_word_lengths_do_not_depend_on_the_order_of_factors(design: Fraction, random: object) -> None:
    columns = list(design.columns)
    random.shuffle(columns)  # type: ignore[attr-defined]
    assert word_length_pattern(columns, design.runs) == design.word_lengths
    assert word_length_pattern(in_first_independent(columns), design.runs) == design.word_lengths


@given(fractions())
@few
def test_words_and_aliases_tell_the_same(design: Fraction) -> None:
    pairs = {frozenset([word]) | set(others) for word, others in design.aliases(2).items() if others}
    seen = {frozenset(group.effects) for group in alias_groups(design.table, design.factors, 2)}
    assert pairs == seen
    assert len(design.words) == 2 ** (len(design.factors) - design.runs.bit_length() + 1) - 1


@given(fractions())
@few
def test_a_foldover_removes_every_odd_word(design: Fraction) -> None:
    both = np.vstack([design.table, foldover(design.table)])
    for word in design.words:
        column = np.prod([both[:, design.factors.index(letter)] for letter in word], axis=0)
        assert (column.sum() == 0) == (len(word) % 2 == 1)


@given(fractions())
@few
def test_blocks_never_touch_a_main_effect(design: Fraction) -> None:
    try:
        division = blocks(design, 2)
    except ValueError:
        assert len(design.factors) == design.runs - 1
        return
    signs = np.where(division.block == 1, -1.0, 1.0)
    assert not (design.table.T @ signs).any()


@given(st.integers(2, 6), st.integers(1, 6), st.integers(0, 2**32 - 1))
@few
def test_indistinguishable_counts_what_is_missing(p: int, rank: int, seed: int) -> None:
    rank = min(p, rank)
    rng = np.random.default_rng(seed)
    X = rng.integers(-2, 3, size=(8, rank)) @ rng.integers(-2, 3, size=(rank, p)).astype(float)
    names = [f"t{j}" for j in range(p)]
    groups = indistinguishable(X, names)
    assert bool(groups) == (np.linalg.matrix_rank(X) < p)
    tied = {name for group in groups for name in group}
    for j, name in enumerate(names):
        without = np.delete(X, j, axis=1)
        # a column is told apart exactly where leaving it out lowers the rank
        lowers = np.linalg.matrix_rank(without) < np.linalg.matrix_rank(X)
        assert (name not in tied) == lowers


@given(st.integers(2, 5), st.integers(1, 5))
@few
def test_lattice_blends_are_distinct_and_whole(components: int, degree: int) -> None:
    blends = simplex_lattice(components, degree)
    assert np.allclose(blends.sum(axis=1), 1.0)
    assert len(np.unique(blends, axis=0)) == len(blends)
    assert np.allclose(blends * degree, np.rint(blends * degree))


@given(st.integers(0, 1000), st.sampled_from(["D", "A", "I"]), st.floats(-0.5, 1.5))
@settings(max_examples=8, deadline=None)
def test_exchange_keeps_its_promises(seed: int, criterion: str, bound: float) -> None:
    factors = [Continuous(per_firing=True), Continuous(), Categorical(2)]
    terms = main_effects(3)

    def within(raw: np.ndarray) -> np.ndarray:
        return raw[:, 0] + raw[:, 1] <= bound

    found = exchange(
        factors, terms, 8, criterion, firings=[2, 3, 3], limits=[within], seed=seed, effort=0.1  # type: ignore[arg-type]
    )  # fmt: skip
    assert within(found.table).all()
    assert np.abs(found.table[:, :2]).max() <= 1.0
    assert set(found.table[:, 2]) <= {0.0, 1.0}
    for members in (slice(0, 2), slice(2, 5), slice(5, 8)):
        assert np.ptp(found.table[members, 0]) == 0.0
    assert indistinguishable(Model(factors, terms).rows(found.table), ["1", "a", "b", "c"]) == ()


@given(st.integers(0, 1000), st.integers(6, 12))
@settings(max_examples=8, deadline=None)
def test_more_runs_never_hurt(seed: int, runs: int) -> None:
    factors = [Continuous(), Continuous()]
    terms = full_quadratic(factors)
    fewer = exchange(factors, terms, runs, seed=seed, effort=0.2)
    more = exchange(factors, terms, runs + 1, seed=seed, effort=0.2)
    assert more.log_det >= fewer.log_det - 1e-9


@given(st.floats(0.1, 5.0), st.floats(1.0, 40.0))
@few
def test_power_rises_with_the_difference_and_with_degrees(delta: float, df: float) -> None:
    assert t_power(delta * 1.2, df) >= t_power(delta, df) - 1e-12
    assert t_power(delta, df + 1) >= t_power(delta, df) - 1e-9
