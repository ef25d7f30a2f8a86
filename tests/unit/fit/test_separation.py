"""Separation: kinds, directions, boundary rows, single columns, grades."""

from __future__ import annotations

import numpy as np
import pytest

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.separation import grade_separation, require_independent_columns, separation

SQUARE = np.array([[1, -1, -1], [1, 1, -1], [1, -1, 1], [1, 1, 1]], dtype=float)
NAMES = ("constant", "flux", "peak")


def test_one_factor_alone_separates():
    found = separation(SQUARE, [0, 1, 0, 1], names=NAMES)
    assert (found.kind, found.alone, found.terms) == ("complete", ("flux",), ("flux",))
    assert found.direction == pytest.approx([0, 1, 0])
    assert not found.boundary.any()


def test_two_factors_together_separate_but_neither_alone():
    X = np.array([[1, -1, 2], [1, 2, -1], [1, 1, -2], [1, -2, 1]], dtype=float)
    found = separation(X, [1, 1, 0, 0], names=NAMES)
    assert found.kind == "complete"
    assert found.alone == ()
    assert found.terms == ("flux", "peak")
    assert found.direction == pytest.approx([0, 1, 1])


def test_a_factor_whose_high_level_always_passed_separates_on_its_own():
    found = separation(SQUARE, [0, 0, 0, 1], names=NAMES)
    assert found.kind == "complete"
    assert found.alone == ("flux", "peak")


def test_quasi_complete_leaves_rows_on_the_boundary():
    X = np.column_stack([np.ones(5), [-1, -1, -1, 1, 1]])
    found = separation(X, [0, 1, 0, 1, 1])
    assert found.kind == "quasi-complete"
    assert found.boundary.tolist() == [True, True, True, False, False]
    assert found.infinite_terms == ("column 1", "column 2")


def test_overlap_is_no_separation():
    found = separation(np.repeat(SQUARE, 2, axis=0), [0, 1] * 4)
    assert (found.kind, found.terms, found.infinite_terms, found.alone) == ("none", (), (), ())
    assert found.boundary.all()


def test_a_row_with_both_outcomes_stays_on_the_boundary():
    X = np.array([[1.0, -1], [1, 1]])
    assert separation(X, [1, 3], trials=[3, 3]).kind == "quasi-complete"
    assert separation(X, [1, 2], trials=[3, 3]).kind == "none"


def test_all_passes_are_one_sided():
    found = separation(SQUARE, [1, 1, 1, 1])
    assert found.one_sided
    assert found.kind == "complete"
    assert found.alone == ()


def test_scale_of_columns_does_not_matter():
    X = SQUARE * [1.0, 1e-6, 1e6]
    assert separation(X, [0, 1, 0, 1]).kind == "complete"
    assert separation(np.repeat(X, 2, axis=0), [0, 1] * 4).kind == "none"


def test_every_answer_agrees_with_what_separation_means():
    """Random tables: a direction must not point any row the wrong way; without one, plain fits stay finite."""
    rng = np.random.default_rng(2)
    kinds = set()
    for _ in range(30):
        X = np.column_stack([np.ones(10), rng.choice([-1.0, 0, 1], (10, 2))])
        y = (rng.random(10) < 0.5).astype(float)
        found = separation(X, y)
        kinds.add(found.kind)
        margins = (2 * y - 1) * (X @ found.direction)
        assert (margins > -1e-7).all()
        if found.kind == "complete":
            assert (margins > 0).all()
        if found.kind == "quasi-complete":
            assert np.abs(margins[found.boundary]).max() < 1e-7
            assert (margins[~found.boundary] > 0).all()
    assert kinds == {"none", "quasi-complete", "complete"}


def test_grades_in_the_order_of_a_factor_separate():
    X = np.column_stack([np.ones(6), [-1, -1, 0, 0, 1, 1], [1, -1, 1, -1, 1, -1]])
    found = grade_separation(X, [0, 0, 1, 1, 3, 3], names=NAMES)
    assert (found.kind, found.alone) == ("complete", ("flux",))
    assert found.direction[1] > 0


def test_mixed_grades_do_not_separate():
    X = np.column_stack([np.ones(6), [-1, -1, 0, 0, 1, 1]])
    assert grade_separation(X, [0, 2, 1, 0, 2, 0]).kind == "none"


def test_two_grades_are_pass_and_fail():
    rng = np.random.default_rng(4)
    for _ in range(10):
        X = np.column_stack([np.ones(8), rng.choice([-1.0, 1], (8, 2))])
        y = (rng.random(8) < 0.5).astype(int)
        assert grade_separation(X, y).kind == separation(X, y).kind or len(set(y)) == 1


def test_independent_columns_pass_and_a_zero_column_is_named():
    require_independent_columns(SQUARE, NAMES)
    with pytest.raises(Inestimable) as caught:
        require_independent_columns(SQUARE * [1, 0, 1], NAMES)
    assert caught.value.terms == ("flux",)
