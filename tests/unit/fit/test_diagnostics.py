"""Diagnostics meet a known answer and a wrong one that must show."""

from __future__ import annotations

import numpy as np
import pytest

from meltdoe.fit.draws.diagnostics import (
    effective_draws,
    importance_effective_draws,
    pareto_smoothed,
    prior_sensitivity,
    split_r_hat,
    weighted_quantiles,
)


def test_independent_chains_agree():
    chains = np.random.default_rng(0).standard_normal((100, 50, 2))
    assert split_r_hat(chains) == pytest.approx([1, 1], abs=0.01)
    assert effective_draws(chains) == pytest.approx([5000, 5000], rel=0.5)


def test_chains_in_two_places_do_not():
    chains = np.random.default_rng(0).standard_normal((100, 50, 1))
    chains[:, ::2] += 3.0
    assert split_r_hat(chains)[0] > 1.5
    assert effective_draws(chains)[0] < 300


def test_a_drift_shows_in_the_split():
    chains = np.random.default_rng(0).standard_normal((100, 50, 1)) + np.linspace(-2, 2, 100)[:, None, None]
    assert split_r_hat(chains)[0] > 1.2


@pytest.mark.parametrize("k", [0.2, 0.5, 0.9])
def test_tail_shape_of_pareto_ratios(k):
    u = np.random.default_rng(3).random(20000)
    weights, k_hat = pareto_smoothed(-k * np.log(u))  # ratios u^-k have tail shape k
    assert k_hat == pytest.approx(k, abs=0.1)
    assert weights.sum() == pytest.approx(1)
    assert weights.min() > 0


def test_equal_ratios_give_equal_weights():
    weights, k_hat = pareto_smoothed(np.zeros(100))
    assert weights == pytest.approx(np.full(100, 0.01))
    assert k_hat == -np.inf
    assert importance_effective_draws(weights) == pytest.approx(100)


def test_importance_weights_move_a_mean():
    """N(0, 1.5) draws weighted to N(1, 1)."""
    x = 1.5 * np.random.default_rng(1).standard_normal(20000)
    weights, k_hat = pareto_smoothed(-0.5 * (x - 1) ** 2 + 0.5 * (x / 1.5) ** 2)
    assert k_hat < 0.5
    assert weights @ x == pytest.approx(1, abs=0.03)


def test_weighted_quantiles():
    x = np.random.default_rng(2).standard_normal((50000, 2))
    weights = np.full(50000, 1 / 50000)
    assert weighted_quantiles(x, weights, [0.05, 0.95])[:, 0] == pytest.approx([-1.645, 1.645], abs=0.03)
    # A point with nearly all the weight is every quantile.
    assert weighted_quantiles([1.0, 2.0, 3.0], [0.0, 1.0, 0.0], [0.2, 0.5, 0.8]) == pytest.approx([1.6, 2, 2.4], abs=1)
    assert weighted_quantiles([3.0, 1.0, 2.0], [1, 1, 1], [0.5])[0] == 2.0


def test_prior_sensitivity_of_a_conjugate_mean():
    """Prior N(0, 1), one y = 2 of sd 1: posterior mean 1; with prior sd 0.67 it is 0.62, with 1.5 it is 1.38."""
    rng = np.random.default_rng(4)
    coef = 1 + np.sqrt(0.5) * rng.standard_normal((20000, 1))
    weights = np.full(20000, 1 / 20000)
    found = prior_sensitivity(coef, weights, np.zeros(1), np.eye(1), coef[:, 0])
    expected = [2 * s**2 / (s**2 + 1) for s in (0.67, 1, 1.5)]
    assert found.values == pytest.approx(expected, abs=0.03)
    assert found.depends_on_prior
    steady = prior_sensitivity(coef, weights, np.zeros(1), np.eye(1), (coef[:, 0] > -9).astype(float))
    assert not steady.depends_on_prior
