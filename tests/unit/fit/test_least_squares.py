"""Least squares: against a general library, and what it refuses to print."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.regression.linear_model import OLS

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.least_squares import block_contrasts, curvature, lack_of_fit, least_squares, sequential_anova


def data(n: int = 14, p: int = 4, seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    X = np.column_stack([np.ones(n), rng.uniform(-1, 1, size=(n, p - 1))])
    return X, X @ np.arange(1.0, p + 1) + rng.normal(size=n)


def test_agrees_with_a_general_library() -> None:
    X, y = data()
    fit, reference = least_squares(X, y, level=0.95), OLS(y, X).fit()
    assert fit.coef == pytest.approx(reference.params)
    assert fit.se == pytest.approx(reference.bse)
    assert fit.t == pytest.approx(reference.tvalues)
    assert fit.p_values == pytest.approx(reference.pvalues)
    assert np.column_stack([fit.low, fit.high]) == pytest.approx(reference.conf_int())
    assert fit.covariance == pytest.approx(reference.cov_params())
    assert fit.r_squared == pytest.approx(reference.rsquared)
    assert fit.adjusted_r_squared == pytest.approx(reference.rsquared_adj)
    assert fit.overall.statistic == pytest.approx(reference.fvalue)
    assert fit.leverage == pytest.approx(reference.get_influence().hat_matrix_diag)
    assert fit.residuals == pytest.approx(reference.resid)
    L = np.array([[0, 1, -1, 0], [0, 0, 1, -1]])
    test, expected = fit.contrast_test(L), reference.f_test(L)
    assert test.statistic == pytest.approx(float(expected.fvalue))
    assert test.p_value == pytest.approx(float(expected.pvalue))
    mean, low, high = fit.predict(X[:3])
    frame = reference.get_prediction(X[:3])
    assert mean == pytest.approx(frame.predicted_mean)
    assert np.column_stack([low, high]) == pytest.approx(frame.conf_int(alpha=0.05))


def test_without_a_constant_r_squared_is_about_zero() -> None:
    X, y = data()
    fit = least_squares(X[:, 1:], y)
    assert not fit.has_constant
    assert fit.r_squared == pytest.approx(OLS(y, X[:, 1:]).fit().rsquared)


def test_sequential_sums_of_squares_depend_on_the_order_and_add_up() -> None:
    X, y = data()
    terms = {"a": [1], "b": [2, 3]}
    forward = sequential_anova(X, y, terms)
    back = sequential_anova(X, y, {"b": [2, 3], "a": [1]})
    assert sum(test.ss for test in forward) == pytest.approx(sum(test.ss for test in back))
    assert forward[0].ss != pytest.approx(back[1].ss, rel=1e-3)
    (last,) = least_squares(X, y).term_tests({"b": [2, 3]})
    assert forward[1].ss == pytest.approx(last.ss)
    assert forward[1].p_value == pytest.approx(last.p_value)


def test_columns_changed_together_are_named() -> None:
    X, y = data()
    X[:, 3] = 2 * X[:, 1] + X[:, 0]
    with pytest.raises(Inestimable) as caught:
        least_squares(X, y, names=["constant", "flux", "hold", "peak"])
    assert set(caught.value.terms) == {"constant", "flux", "peak"}


def test_more_terms_than_melts() -> None:
    X, y = data(n=3)
    with pytest.raises(Inestimable, match="3 rows"):
        least_squares(X, y)


def test_as_many_terms_as_melts_gives_estimates_without_certainty() -> None:
    X, y = data(n=4)
    fit = least_squares(X, y)
    assert X @ fit.coef == pytest.approx(y)
    assert fit.df == 0
    assert np.isnan(fit.se).all()
    assert (fit.high == np.inf).all()
    assert np.isnan(fit.contrast_test([0, 1, 0, 0]).p_value)
    _, low, high = fit.predict(X)
    assert (low == -np.inf).all()
    assert (high == np.inf).all()


def test_an_outcome_without_scatter_claims_no_certainty() -> None:
    X, _ = data()
    fit = least_squares(X, np.full(14, 100.0))
    assert fit.coef == pytest.approx([100, 0, 0, 0], abs=1e-9)
    assert fit.df == 10
    assert np.isnan(fit.p_values).all()
    assert (fit.low == -np.inf).all()
    assert np.isnan(fit.contrast_test(np.eye(4)[1:]).p_value)


def test_random_looking_blocks_keep_the_constant_at_the_mean_over_blocks() -> None:
    y = np.array([1.0, 2.0, 3.0, 11.0, 12.0, 13.0])
    fit = least_squares(np.ones((6, 1)), y, blocks=["a"] * 3 + ["b"] * 3)
    assert fit.names[1] == "block a"
    assert fit.coef == pytest.approx([7.0, -5.0])
    columns, names = block_contrasts([3, 1, 2, 3])
    assert columns.tolist() == [[-1, -1], [1, 0], [0, 1], [-1, -1]]
    assert names == ("block 1", "block 2")


def test_lack_of_fit_needs_repeats_and_a_model_smaller_than_the_settings() -> None:
    x = np.array([-1.0, -1.0, 0.0, 0.0, 1.0, 1.0])
    y = np.array([0.9, 1.1, 0.1, -0.1, 1.2, 0.8])
    line = least_squares(np.column_stack([np.ones(6), x]), y)
    # Lack of fit (4/3) / 1 against pure error 0.12 / 3, by hand.
    assert lack_of_fit(line, y, x).statistic == pytest.approx(100 / 3)
    bent = least_squares(np.column_stack([np.ones(6), x, x**2]), y)
    with pytest.raises(Inestimable, match="every setting"):
        lack_of_fit(bent, y, x)
    with pytest.raises(Inestimable, match="no setting was repeated"):
        lack_of_fit(line, y, np.arange(6))


def test_curvature_by_hand() -> None:
    """Factorial mean 2, centre mean 5, repeats 4 and 6: s^2 = 2 on 1 df, standard error sqrt(2 (1/4 + 1/2))."""
    x = np.array([[-1, -1], [1, -1], [-1, 1], [1, 1], [0, 0], [0, 0]])
    y = np.array([1.0, 2.0, 2.0, 3.0, 4.0, 6.0])
    found = curvature(y, (x == 0).all(axis=1), x)
    assert found.estimate == pytest.approx(-3.0)
    assert found.se == pytest.approx(np.sqrt(1.5))
    assert found.df == 1
    assert found.high - found.estimate == pytest.approx(6.313752 * np.sqrt(1.5), rel=1e-6)
    with pytest.raises(Inestimable, match="centre"):
        curvature(y, np.zeros(6), x)
    with pytest.raises(Inestimable, match="repeated"):
        curvature(y[:5], (x[:5] == 0).all(axis=1), x[:5])


@pytest.mark.parametrize(
    ("X", "y", "level", "names"),
    [
        (np.ones(3), np.ones(3), 0.9, None),
        (np.ones((3, 1)), np.ones(2), 0.9, None),
        (np.ones((3, 1)), [1, 2, np.nan], 0.9, None),
        (np.ones((3, 1)), np.ones(3), 90, None),
        (np.ones((3, 1)), np.ones(3), 0.9, ["a", "b"]),
    ],
)
def test_bad_input(X: np.ndarray, y: np.ndarray, level: float, names: list[str] | None) -> None:
    with pytest.raises(ValueError):
        least_squares(X, y, level=level, names=names)
