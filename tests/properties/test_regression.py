"""What must hold for any series: relabelling, reordering and rescaling change nothing that they should not."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.canonical_surface import canonical_surface
from meltdoe.fit.classical.least_squares import least_squares
from meltdoe.fit.classical.ordered_logit import ordered_logit
from meltdoe.fit.classical.split_plot_reml import split_plot

SEEDS = st.integers(0, 2**32 - 1)
FEW = settings(max_examples=25, deadline=None)


@FEW
@given(seed=SEEDS, n=st.integers(6, 20), p=st.integers(1, 4), scale=st.floats(0.01, 100), shift=st.floats(-50, 50))
def test_least_squares_follows_the_unit_of_the_outcome(seed: int, n: int, p: int, scale: float, shift: float) -> None:
    rng = np.random.default_rng(seed)
    X = np.column_stack([np.ones(n), rng.uniform(-1, 1, size=(n, p))])
    y = rng.normal(size=n)
    order = rng.permutation(n)
    fit, moved = least_squares(X, y), least_squares(X[order], scale * y[order] + shift)
    assert moved.coef[1:] == pytest.approx(scale * fit.coef[1:], rel=1e-6, abs=1e-8 * scale)
    assert moved.p_values[1:] == pytest.approx(fit.p_values[1:], rel=1e-5, abs=1e-9)
    assert moved.r_squared == pytest.approx(fit.r_squared, abs=1e-6)
    assert fit.leverage.sum() == pytest.approx(p + 1)
    assert X.T @ fit.residuals == pytest.approx(np.zeros(p + 1), abs=1e-9)


@FEW
@given(seed=SEEDS, n=st.integers(5, 14), p=st.integers(1, 3), n_grades=st.integers(2, 5))
def test_grades_any_series_has_finite_limits_that_bracket_the_estimate(
    seed: int, n: int, p: int, n_grades: int
) -> None:
    rng = np.random.default_rng(seed)
    X = rng.choice([-1.0, 0.0, 1.0], size=(n, p))
    y = rng.integers(0, n_grades, n) if seed % 3 else (X[:, 0] > 0) * (n_grades - 1)
    if np.linalg.matrix_rank(np.column_stack([np.ones(n), X])) <= p:
        with pytest.raises(Inestimable) as caught:
            ordered_logit(X, y, n_grades)
        assert caught.value.terms  # columns that do not vary, or vary together, are named
        return
    fit = ordered_logit(X, y, n_grades)
    assert (fit.low < fit.coef).all()
    assert (fit.coef < fit.high).all()
    assert np.isfinite([fit.low, fit.high, fit.se]).all()
    assert fit.probabilities(X).sum(axis=1) == pytest.approx(np.ones(n))
    # The p value is below 1 - level exactly where the limits leave zero out.
    outside = (fit.low > 0) | (fit.high < 0)
    assert ((fit.p_values < 0.10) == outside)[np.abs(fit.p_values - 0.10) > 1e-3].all()


@settings(max_examples=15, deadline=None)
@given(seed=SEEDS, n=st.integers(6, 14), shift=st.floats(-3, 3))
def test_grades_turned_round_reordered_and_shifted(seed: int, n: int, shift: float) -> None:
    rng = np.random.default_rng(seed)
    X, y = rng.uniform(-1, 1, size=(n, 2)), rng.integers(0, 4, n)
    order = rng.permutation(n)
    fit = ordered_logit(X, y, 4)
    turned = ordered_logit(X[order], 3 - y[order], 4)
    assert turned.coef == pytest.approx(-fit.coef, abs=1e-5)
    assert turned.thresholds == pytest.approx(-fit.thresholds[::-1], abs=1e-5)
    assert turned.low == pytest.approx(-fit.high, abs=1e-3)
    moved = ordered_logit(X + shift, y, 4)
    assert moved.coef == pytest.approx(fit.coef, abs=1e-5)
    assert moved.probabilities(X + shift) == pytest.approx(fit.probabilities(X), abs=1e-5)


@FEW
@given(seed=SEEDS, firings=st.integers(4, 7), melts=st.integers(2, 4), scale=st.floats(0.05, 20))
def test_split_plot_relabelled_reordered_rescaled(seed: int, firings: int, melts: int, scale: float) -> None:
    rng = np.random.default_rng(seed)
    firing = np.repeat(np.arange(firings), melts)
    peak = np.where(firing % 2, 1.0, -1.0)
    X = np.column_stack([np.ones(firing.size), peak, rng.uniform(-1, 1, firing.size)])
    y = rng.normal(size=firings)[firing] + rng.normal(size=firing.size)
    order = rng.permutation(firing.size)
    names = rng.permutation(firings) + 100
    fit = split_plot(X, y, firing)
    # Components next to zero may fall on either side of it by rounding.
    assume(fit.singular or fit.components["firing"] > 1e-3 * fit.components["residual"])
    moved = split_plot(X[order], scale * y[order] + 7, names[firing[order]])
    for name, value in fit.components.items():
        assert moved.components[name] == pytest.approx(scale**2 * value, rel=1e-4, abs=1e-9 * scale**2)
    assert moved.se == pytest.approx(scale * fit.se, rel=1e-4)
    assert moved.df == pytest.approx(fit.df, rel=1e-3)
    assert (fit.df > 0).all()
    assert all(value >= 0 for value in fit.components.values())


@FEW
@given(seed=SEEDS, turn=st.floats(0, 6.28))
def test_canonical_form_does_not_depend_on_the_axes_of_the_plan(seed: int, turn: float) -> None:
    """Rotating the settings rotates the stationary point and leaves the eigenvalues and the value."""
    rng = np.random.default_rng(seed)
    powers = np.array([[0, 0], [1, 0], [0, 1], [2, 0], [0, 2], [1, 1]])
    x = rng.uniform(-1, 1, size=(14, 2))
    curve = np.array([1.0, 0.5, -0.5, -3.0, -1.5, 0.5])
    y = np.prod(x[:, None] ** powers, axis=2) @ curve + 0.05 * rng.normal(size=14)
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    forms = []
    for settings_tried in (x, x @ rotation.T):
        fit = least_squares(np.prod(settings_tried[:, None] ** powers, axis=2), y)
        forms.append(canonical_surface(fit.coef, fit.covariance, powers, fit.df, settings=settings_tried, draws=20))
    first, second = forms
    assume(not first.ridge.any())
    assert second.stationary == pytest.approx(rotation @ first.stationary, rel=1e-5, abs=1e-6)
    assert second.eigenvalues == pytest.approx(first.eigenvalues, rel=1e-6)
    assert second.eigenvalue_se == pytest.approx(first.eigenvalue_se, rel=1e-5)
    assert second.value == pytest.approx(first.value, rel=1e-6)
    assert second.inside == first.inside
