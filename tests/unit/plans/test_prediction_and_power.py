"""Prediction variance, leverages, approximate designs and power: identities and refusals."""

from __future__ import annotations

import numpy as np
import pytest

from meltdoe.errors import Inestimable
from meltdoe.plans.merits.power import (
    arcsine_power,
    arcsine_size,
    f_power,
    proportions_power,
    proportions_size,
    solve_size,
    t_power,
)
from meltdoe.plans.merits.prediction_variance import efficiencies, leverages, prediction_variance
from meltdoe.plans.optimal.approximate_design import approximate_optimum

X = np.column_stack([np.ones(6), [-1, -1, 0, 0, 1, 1.0], [1, -1, 1, -1, 1, 0.5]])


def test_variance_at_the_runs_is_the_leverage() -> None:
    assert prediction_variance(X, X) == pytest.approx(leverages(X))
    assert leverages(X).sum() == pytest.approx(3)


def test_leverages_of_a_deficient_matrix_sum_to_its_rank() -> None:
    tied = np.column_stack([X, X[:, 1] * 2])
    assert leverages(tied).sum() == pytest.approx(3)
    assert leverages(tied) == pytest.approx(leverages(X))


def test_variance_with_a_given_information() -> None:
    M = X.T @ X + np.eye(3)
    f = np.array([1.0, 0.3, -0.2])
    assert prediction_variance(X, f, information=M) == pytest.approx(f @ np.linalg.inv(M) @ f)


def test_efficiencies_weighted_average_and_leverage() -> None:
    F = np.array([[1.0, 0, 0], [1, 1, 1]])
    v = prediction_variance(X, F)
    measured = efficiencies(X, F, [3, 1])
    assert measured.average_variance == pytest.approx((3 * v[0] + v[1]) / 4)
    assert measured.largest_leverage == pytest.approx(leverages(X).max())
    assert measured.d == pytest.approx(100 * np.linalg.det(X.T @ X) ** (1 / 3) / 6)


def test_terms_that_cannot_be_told_apart_are_named() -> None:
    tied = np.column_stack([X, X[:, 1]])
    with pytest.raises(Inestimable, match="flux and peak") as caught:
        prediction_variance(tied, tied, names=["mean", "flux", "soak", "peak"])
    assert caught.value.terms == ("flux", "peak")


def test_columns_of_very_different_size_are_no_trouble() -> None:
    scaled = X * np.array([1.0, 1e6, 1e-6])
    assert prediction_variance(scaled, scaled) == pytest.approx(leverages(X))


def test_an_approximate_design_is_never_worse_than_an_exact_one() -> None:
    best = approximate_optimum(X)
    assert best.weights.sum() == pytest.approx(1)
    assert best.value >= np.linalg.det(X.T @ X / 6) ** (1 / 3)
    with pytest.raises(ValueError, match="cannot estimate all 3 terms"):
        approximate_optimum(X[:2])


def test_power_is_the_level_where_there_is_no_difference() -> None:
    assert t_power(0.0, 7) == pytest.approx(0.05)
    assert t_power(0.0, 7, sides="one", level=0.1) == pytest.approx(0.1)
    assert f_power(0.0, 3, 9, level=0.01) == pytest.approx(0.01)
    assert arcsine_power(0.0, 30, 30) == pytest.approx(0.05)


def test_an_f_test_with_one_degree_is_a_t_test() -> None:
    assert f_power(2.3**2, 1, 11) == pytest.approx(t_power(2.3, 11))


def test_power_against_simulation() -> None:
    rng = np.random.default_rng(11)
    t = (rng.normal(size=40_000) + 2.5) / np.sqrt(rng.chisquare(6, size=40_000) / 6)
    assert t_power(2.5, 6) == pytest.approx((np.abs(t) > 2.4469).mean(), abs=0.01)


def test_certain_outcomes() -> None:
    assert proportions_power(0.0, 1.0, 10) == 1.0
    assert proportions_power(0.0, 1.0, 1) == 0.0


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: t_power(1, 0), "degree of freedom"),
        (lambda: t_power(1, 5, level=2), "between 0 and 1"),
        (lambda: f_power(1, 0, 5), "degrees of freedom"),
        (lambda: proportions_size(0.5, 0.5, 0.8), "equal pass rates"),
        (lambda: arcsine_size(0.0, 0.8), "equal pass rates"),
        (lambda: solve_size(lambda n: 0.3, 0.8), "no number of runs"),
    ],
)
def test_impossible_questions_are_refused(call: object, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()  # type: ignore[operator]


def test_a_size_that_is_enough_already() -> None:
    assert solve_size(lambda n: 0.9, 0.8) == 2.0
