"""Penalised logistic regression: values to check by hand, limits by definition, errors that name terms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import expit

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.firth_logistic import firth, maximum_likelihood


def penalised(X, y, beta):
    eta = X @ beta
    w = expit(eta) * expit(-eta)
    return float(y @ eta - np.logaddexp(0, eta).sum() + 0.5 * np.linalg.slogdet(X.T @ (w[:, None] * X))[1])


def separated(seed, n=10, p=4):
    rng = np.random.default_rng(seed)
    X = np.column_stack([np.ones(n), rng.choice([-1.0, 1.0], (n, p - 1))])
    return X, (X[:, 1] > 0).astype(float)


def test_a_separated_table_adds_half_to_each_cell():
    """0 of 4 against 4 of 4: the slope is 2 ln 9."""
    fit = firth([[1, 0]] * 4 + [[1, 1]] * 4, [0] * 4 + [1] * 4)
    assert fit.coef == pytest.approx([-np.log(9), 2 * np.log(9)], abs=1e-8)
    assert fit.level == 0.90


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_limits_are_where_the_profile_has_fallen_by_half_the_chi_squared(seed):
    """The profile is found by a general optimiser that shares no code with the fit."""
    X, y = separated(seed)
    fit = firth(X, y, 0.90)
    j = 1
    for end in (fit.low[j], fit.high[j]):
        others = [0, 2, 3]

        def profile(b, end=end, others=others):
            return -penalised(X, y, np.insert(b, j, end))

        best = max(-minimize(profile, fit.coef[others], method="BFGS").fun, -minimize(profile, np.zeros(3)).fun)
        assert 2 * (fit.loglik - best) == pytest.approx(2.705543, abs=1e-4)


def test_estimate_is_the_maximum():
    X, y = separated(3)
    fit = firth(X, y)
    assert fit.loglik == pytest.approx(penalised(X, y, fit.coef), abs=1e-9)
    for j in range(4):
        for step in (-1e-3, 1e-3):
            assert penalised(X, y, fit.coef + step * np.eye(4)[j]) < fit.loglik


def test_every_limit_is_finite_on_saturated_and_separated_tables():
    rng = np.random.default_rng(5)
    seen = 0
    for _ in range(20):
        n = int(rng.integers(5, 13))
        p = int(rng.integers(2, min(n, 7) + 1))
        X = np.column_stack([np.ones(n), rng.choice([-1.0, 1.0], (n, p - 1))])
        if np.linalg.matrix_rank(X) < p:
            continue
        fit = firth(X, (rng.random(n) < 0.4).astype(float))
        assert np.isfinite(fit.low).all()
        assert np.isfinite(fit.high).all()
        assert (fit.low < fit.coef).all()
        assert (fit.coef < fit.high).all()
        assert ((fit.p_values < 0.10) == ((fit.low > 0) | (fit.high < 0))).all()
        seen += 1
    assert seen > 8


def test_units_of_a_column_do_not_matter():
    X, y = separated(4)
    scale = np.array([1.0, 1e-4, 100.0, 3.0])
    plain, scaled = firth(X, y), firth(X * scale, y)
    assert scaled.coef * scale == pytest.approx(plain.coef, rel=1e-6, abs=1e-7)
    assert scaled.high * scale == pytest.approx(plain.high, rel=1e-5)
    assert scaled.p_values == pytest.approx(plain.p_values, abs=1e-7)
    assert scaled.loglik == pytest.approx(plain.loglik + np.log(scale).sum(), abs=1e-8)


def test_counts_are_the_same_as_rows():
    X = np.array([[1.0, -1], [1, 0], [1, 1]])
    rows = firth(np.repeat(X, [4, 3, 5], axis=0), [0, 0, 0, 1, 0, 1, 1, 1, 1, 1, 1, 1])
    counts = firth(X, [1, 2, 5], trials=[4, 3, 5])
    assert counts.coef == pytest.approx(rows.coef, abs=1e-7)
    assert counts.low == pytest.approx(rows.low, abs=1e-6)
    assert counts.loglik == pytest.approx(rows.loglik, abs=1e-9)


def test_dependent_columns_are_named():
    flux = np.array([-1.0, -1, 1, 1, 0, 1])
    X = np.column_stack([np.ones(6), flux, [1, -1, 1, -1, 1, 1], 2 * flux])
    with pytest.raises(Inestimable, match="cannot be told apart") as caught:
        firth(X, [0, 1, 1, 0, 1, 1], names=["constant", "flux", "soak", "peak"])
    assert caught.value.terms == ("flux", "peak")


def test_more_terms_than_rows_are_refused():
    with pytest.raises(Inestimable, match="2 rows cannot settle 3 terms"):
        firth([[1, 1, 0], [1, 0, 1]], [0, 1])


def test_plain_fit_refuses_separated_data_and_names_the_column():
    with pytest.raises(Inestimable, match="complete") as caught:
        maximum_likelihood([[1, -1], [1, -1], [1, 1], [1, 1]], [0, 0, 1, 1], names=["constant", "peak"])
    assert "peak" in caught.value.terms


@pytest.mark.parametrize(
    "call",
    [
        lambda: firth([[1], [1]], [0, 1, 1]),
        lambda: firth([[1], [1]], [0, 2]),
        lambda: firth([[1], [1]], [0, 1], 1.0),
        lambda: firth([[1], [1]], [0, 1], names=["a", "b"]),
    ],
)
def test_what_does_not_fit_together_is_refused(call):
    with pytest.raises(ValueError):
        call()
