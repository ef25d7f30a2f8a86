"""Posterior draws against quadrature, closed forms and long independent runs."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit, logsumexp
from scipy.stats import norm

from meltdoe.fit.draws.posterior_draws import laplace, posterior
from meltdoe.fit.model.likelihood import make_likelihood
from meltdoe.fit.model.prior import Belief, ShapePrior, default_prior, independent_prior

# Two vectors: prior b0 ~ N(0, 2^2), slopes N(0, 1.5^2). Expected values from 300,000 draws of a Polya-Gamma Gibbs
# sampler (Polson, Scott & Windle 2013), error of a mean at most 0.0035: computed for this project, not from print.
V1_X = np.array(
    [[1, -1, 0], [1, 1, 1], [1, -1, -1], [1, 1, 0], [-1, -1, 1], [-1, 1, -1], [-1, -1, -1], [-1, 1, 0]], dtype=float
)
V1_Y = [1, 1, 1, 1, 0, 0, 0, 0]
V2_X = np.array(
    [
        [-1, -1, 1, -1],
        [1, 1, 1, 0],
        [-1, 1, -1, 1],
        [1, 1, -1, 1],
        [-1, 1, 1, -1],
        [1, 1, 1, 0],
        [1, -1, 1, -1],
        [-1, -1, 1, 1],
        [1, -1, -1, 0],
        [-1, 1, -1, 1],
        [1, -1, -1, 0],
        [-1, -1, -1, -1],
    ],
    dtype=float,
)
V2_Y = [1, 1, 0, 0, 1, 1, 1, 1, 0, 0, 1, 0]


def with_ones(X):
    return np.column_stack([np.ones(len(X)), X])


class TestSeparatedVector:
    fit = posterior(with_ones(V1_X), V1_Y, draws=8000, seed=1)

    def test_moments(self):
        assert self.fit.mean == pytest.approx([-0.014, 2.668, 0.014, 0.159], abs=0.06)
        assert self.fit.sd == pytest.approx([1.070, 0.989, 0.965, 1.087], rel=0.04)

    def test_limits(self):
        low, high = self.fit.interval(self.fit.draws)
        assert low == pytest.approx([-1.769, 1.127, -1.577, -1.627], abs=0.12)
        assert high == pytest.approx([1.745, 4.376, 1.597, 1.943], abs=0.12)

    def test_chances(self):
        chance = self.fit.chance([[1, 1, 1, 1], [1, 0, 0, 0]])
        assert self.fit.average(chance) == pytest.approx([0.8565, 0.4971], abs=0.015)
        assert self.fit.average(chance[:, 0] >= 0.8) == pytest.approx(0.750, abs=0.025)
        low, high = self.fit.interval(chance[:, 0])
        assert (float(low), float(high)) == pytest.approx((0.439, 0.998), abs=0.03)

    def test_trust(self):
        found = self.fit.diagnostics
        assert found.trusted
        assert found.r_hat < 1.1
        assert found.effective > 1000

    def test_mode_and_curvature(self):
        found = laplace(with_ones(V1_X), V1_Y)
        assert found.mode == pytest.approx([0.011, 2.043, -0.009, 0.123], abs=6e-4)
        assert np.sqrt(np.diag(found.covariance)) == pytest.approx([0.978, 0.896, 0.898, 1.037], abs=1e-3)

    def test_the_gaussian_at_the_mode_would_be_wrong(self):
        rough = posterior(with_ones(V1_X), V1_Y, method="normal", draws=8000)
        assert not rough.diagnostics.trusted
        assert abs(rough.mean[1] - 2.668) > 0.4

    def test_importance_weights(self):
        fit = posterior(with_ones(V1_X), V1_Y, method="importance", draws=8000)
        assert fit.diagnostics.trusted
        assert fit.mean == pytest.approx([-0.014, 2.668, 0.014, 0.159], abs=0.08)
        equal = fit.equally_weighted(4000)
        assert np.ptp(equal.weights) == 0
        assert equal.mean == pytest.approx(fit.mean, abs=0.05)


def test_second_vector():
    fit = posterior(with_ones(V2_X), V2_Y, draws=8000, seed=2)
    assert fit.mean == pytest.approx([0.734, 0.645, -0.539, 2.510, -0.463], abs=0.06)
    assert fit.sd == pytest.approx([0.925, 0.844, 0.875, 0.909, 1.032], rel=0.04)
    low, high = fit.interval(fit.draws)
    assert low == pytest.approx([-0.735, -0.707, -1.994, 1.092, -2.157], abs=0.12)
    assert high == pytest.approx([2.298, 2.066, 0.880, 4.072, 1.244], abs=0.12)
    chance = fit.chance([[1, 1, 1, 1, 1], [1, 0, 0, 0, 0]])
    assert fit.average(chance) == pytest.approx([0.8578, 0.6500], abs=0.015)
    found = laplace(with_ones(V2_X), V2_Y)
    assert found.mode == pytest.approx([0.547, 0.541, -0.414, 1.896, -0.355], abs=6e-4)


def grid_mean_and_sd(likelihood, log_prior, axes):
    """Moments over a dense grid of all parameters."""
    mesh = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, len(axes))
    logs = np.concatenate([likelihood.log_likelihood(part) for part in np.array_split(mesh, 50)]) + log_prior(mesh)
    weight = np.exp(logs - logs.max())
    weight /= weight.sum()
    mean = weight @ mesh
    return mean, np.sqrt(weight @ (mesh - mean) ** 2)


def test_grades_agree_with_quadrature():
    """Three grades, one factor: intercept, slope and one log gap on a grid."""
    X = with_ones(np.array([[-1.0], [-1], [0], [1], [1], [1]]))
    y = [0, 1, 0, 2, 2, 1]
    likelihood = make_likelihood(X, y, "grade", n_grades=3)

    def log_prior(t):
        return -0.5 * ((t[:, 0] / 2.5) ** 2 + (t[:, 1] / 1.5) ** 2 + (t[:, 2] - 0.3) ** 2)

    axes = (np.linspace(-6, 8, 71), np.linspace(-4, 6, 61), np.linspace(-4, 4, 61))
    mean, sd = grid_mean_and_sd(likelihood, log_prior, axes)
    fit = posterior(X, y, "grade", n_grades=3, draws=8000, seed=3)
    assert (fit.mean - mean) / sd == pytest.approx(np.zeros(3), abs=0.06)
    assert fit.sd == pytest.approx(sd, rel=0.05)
    chances = fit.outcome_probabilities([[1.0, 1.0]])
    assert chances.shape == (len(fit.draws), 1, 3)
    assert chances.sum(axis=-1) == pytest.approx(np.ones((len(fit.draws), 1)))
    assert fit.chance([[1.0, 1.0]], good=(0, 1)) == pytest.approx(1 - chances[..., 2])
    assert (np.diff(fit.thresholds(), axis=1) > 0).all()


def test_measured_values_agree_with_quadrature():
    """Mean and log sigma of five values on a grid, in their own units, one of them at the upper bound."""
    y = [60.0, 72.0, 81.0, 66.0, 100.0]
    X = np.ones((5, 1))
    likelihood = make_likelihood(X, y, "measured", bounds=(0, 100))

    def log_prior(t):
        return -0.5 * ((t[:, 0] / 2.0) ** 2 + (t[:, 1] - np.log(0.5)) ** 2)

    mean, sd = grid_mean_and_sd(likelihood, log_prior, (np.linspace(-4, 6, 301), np.linspace(-2.5, 3, 201)))
    fit = posterior(X, y, "measured", bounds=(0, 100), draws=8000, seed=4)
    assert fit.mean == pytest.approx([50 + 25 * mean[0], mean[1] + np.log(25)], abs=0.6)
    assert fit.sd == pytest.approx([25 * sd[0], sd[1]], rel=0.06)
    # A good range that reaches the bound takes in what piles up there.
    everything = fit.chance([[1.0]], good=(0, 100))
    assert everything == pytest.approx(np.ones_like(everything))
    above = fit.chance([[1.0]], good=(80, 100))
    assert above[:, 0] == pytest.approx(norm.sf((80 - fit.coef[:, 0]) / np.exp(fit.shape[:, 0])))


def test_saturated_measured_data_keep_sigma_near_its_prior():
    """Four values, four terms: the data say nothing of sigma beyond what the coefficients' prior lets through."""
    X = np.array([[1, -1, -1, 1], [1, 1, -1, -1], [1, -1, 1, -1], [1, 1, 1, 1]], dtype=float)
    fit = posterior(X, [1.0, 3.0, 2.0, 5.0], "measured", centre=2.5, scale=1.5, seed=0)
    assert fit.diagnostics.trusted
    low, high = fit.interval(np.exp(fit.shape[:, 0]))
    assert 0.05 < low < 0.75 < high


def firing_data(seed=0):
    rng = np.random.default_rng(seed)
    X = with_ones(rng.choice([-1.0, 1.0], (12, 1)))
    return X, np.repeat(np.arange(4), 3), rng


def test_firings_of_passes_agree_with_quadrature():
    """Intercept, slope and log sd of firings on a grid, the firings' effects integrated out node by node."""
    X, groups, rng = firing_data()
    y = (rng.random(12) < expit(np.array([-1.5, -1, 1, 2])[groups] + X[:, 1])).astype(float)
    nodes, weights = np.polynomial.hermite_e.hermegauss(15)
    log_weights = np.log(weights / weights.sum())
    member = np.eye(4)[groups]
    mesh = np.stack(
        np.meshgrid(np.linspace(-5, 6, 34), np.linspace(-3, 4.5, 31), np.linspace(-4, 2, 31), indexing="ij"), axis=-1
    ).reshape(-1, 3)
    eta = (mesh[:, :2] @ X.T)[:, None] + np.exp(mesh[:, 2])[:, None, None] * nodes[:, None]
    value = logsumexp((y * eta - np.logaddexp(0, eta)) @ member + log_weights[:, None], axis=1).sum(axis=1)
    value -= 0.5 * ((mesh - [0, 0, np.log(0.5)]) ** 2 / [4.0, 2.25, 0.64]).sum(axis=1)
    weight = np.exp(value - logsumexp(value))
    mean = weight @ mesh
    sd = np.sqrt(weight @ (mesh - mean) ** 2)
    fit = posterior(X, y, groups=groups, draws=8000, seed=5)
    ours = np.column_stack([fit.coef, np.log(fit.group_sd)])
    assert (ours.mean(axis=0) - mean) / sd == pytest.approx(np.zeros(3), abs=0.07)
    assert ours.std(axis=0) / sd == pytest.approx(np.ones(3), abs=0.06)


def test_firings_of_measurements_agree_with_the_closed_form():
    """Given sigma and the sd of firings the coefficients are Gaussian; the two scales are summed over a grid."""
    X, groups, rng = firing_data()
    y = 10 + 2 * X[:, 1] + np.array([-3.0, 0, 1, 2])[groups] + rng.standard_normal(12)
    standard = (y - 10.0) / 3.0
    Z = np.eye(4)[groups]
    P = np.diag([1 / 4, 1 / 2.25])
    rows = []
    for s in np.linspace(-2.6, 0.8, 50):
        for tau in np.linspace(-4, 2.5, 50):
            V = np.exp(2 * s) * np.eye(12) + np.exp(2 * tau) * Z @ Z.T
            K = X.T @ np.linalg.solve(V, X) + P
            h = X.T @ np.linalg.solve(V, standard)
            b = np.linalg.solve(K, h)
            log_weight = -0.5 * np.linalg.slogdet(V)[1] - 0.5 * np.linalg.slogdet(K)[1]
            log_weight += 0.5 * h @ b - 0.5 * standard @ np.linalg.solve(V, standard)
            log_weight -= 0.5 * (s - np.log(0.5)) ** 2 + 0.5 * ((tau - np.log(0.5)) / 0.8) ** 2
            rows.append([log_weight, *b, s, tau, *np.diag(np.linalg.inv(K)), 0, 0])
    grid = np.array(rows)
    weight = np.exp(grid[:, 0] - logsumexp(grid[:, 0]))
    mean = weight @ grid[:, 1:5]
    sd = np.sqrt(weight @ ((grid[:, 1:5] - mean) ** 2 + grid[:, 5:]))
    fit = posterior(X, y, "measured", groups=groups, centre=10.0, scale=3.0, draws=8000, seed=5)
    ours = np.column_stack([fit.draws[:, :3], np.log(fit.group_sd)])
    ours = (ours - [10, 0, np.log(3), np.log(3)]) / [3, 3, 1, 1]
    assert (ours.mean(axis=0) - mean) / sd == pytest.approx(np.zeros(4), abs=0.07)
    assert ours.std(axis=0) / sd == pytest.approx(np.ones(4), abs=0.06)


def test_a_reading_in_a_new_firing_is_as_often_good_as_simulated_firings_and_readings_are():
    X, groups, _ = firing_data()
    fit = posterior(X, 60 + 8 * X[:, 1] + 3.0 * (groups % 2), "measured", groups=groups, seed=2, draws=400)
    rng = np.random.default_rng(0)
    size = (20_000, len(fit.draws))
    read = fit.linear([[1.0, 0.5]])[:, 0] + fit.group_sd * rng.standard_normal(size)
    read += np.exp(fit.shape[:, 0]) * rng.standard_normal(size)
    simulated = ((read >= 60) & (read <= 68)).mean(axis=0)
    # Six standard errors of a share of 20,000 at most.
    assert fit.chance([[1.0, 0.5]], (60, 68), new_group=True)[:, 0] == pytest.approx(simulated, abs=0.022)


def test_a_new_firing_widens_and_a_known_one_is_remembered():
    X, groups, _ = firing_data()
    y = np.array([0, 0, 0, 1, 0, 1, 1, 1, 1, 1, 1, 1])
    fit = posterior(X, y, groups=groups, seed=0)
    at = [[1.0, 0.0]]
    average = fit.chance(at)
    assert np.std(fit.linear(at, new_group=True)) > np.std(fit.linear(at))
    assert fit.average(fit.chance(at, group=0))[0] < fit.average(fit.chance(at, group=3))[0]
    # Averaging over a new firing's effect pulls every draw's chance towards one half.
    pulled = fit.chance(at, new_group=True)
    assert (np.abs(pulled - 0.5) <= np.abs(average - 0.5) + 1e-9).all()
    with pytest.raises(ValueError, match="not among"):
        fit.linear(at, group=4)


def test_without_melts_the_posterior_is_the_prior():
    fit = posterior(np.empty((0, 3)), [], orders=[0, 1, 2], draws=8000)
    assert fit.mean == pytest.approx(np.zeros(3), abs=0.1)
    assert fit.sd == pytest.approx([2.0, 1.5, 0.75], rel=0.05)


def test_a_belief_stands_in_for_melts():
    told = posterior(np.empty((0, 1)), [], beliefs=[Belief([1.0], 0.8, 10.0)], draws=8000)
    seen = posterior(np.ones((10, 1)), [1] * 8 + [0] * 2, draws=8000)
    assert told.mean == pytest.approx(seen.mean, abs=0.05)
    assert told.average(told.chance([[1.0]])) == pytest.approx([0.79], abs=0.03)


def test_the_prior_can_be_correlated():
    prior = independent_prior([0.0, 0.0], [1.0, 1.0])
    tied = type(prior)(prior.mean, np.linalg.inv(np.array([[1.0, 0.9], [0.9, 1.0]])), ShapePrior())
    fit = posterior(np.empty((0, 2)), [], prior=tied, draws=8000)
    assert np.corrcoef(fit.draws.T)[0, 1] == pytest.approx(0.9, abs=0.03)


def test_same_seed_same_draws():
    X, y = with_ones(V1_X), V1_Y
    one, two, other = (posterior(X, y, seed=s).draws for s in (3, 3, 4))
    assert one.tobytes() == two.tobytes()
    assert not np.array_equal(one, other)


def test_a_prior_for_other_columns_is_refused():
    with pytest.raises(ValueError, match="3 columns, X has 4"):
        posterior(with_ones(V1_X), V1_Y, prior=default_prior([0, 1, 1]))


def test_what_is_good_must_be_said():
    fit = posterior(np.ones((3, 1)), [0, 1, 2], "grade", method="normal")
    with pytest.raises(ValueError, match="good"):
        fit.chance([[1.0]])
    with pytest.raises(ValueError, match="no grades"):
        posterior(np.ones((3, 1)), [0, 1, 1], method="normal").outcome_probabilities([[1.0]])


def test_a_chance_averaged_over_firings_never_passes_one():
    # weights that sum to 1 only up to rounding once made a sure pass 1 + 2e-16, and what it teaches infinite
    rng = np.random.default_rng(4)
    X = np.column_stack([np.ones(8), rng.standard_normal(8)])
    fit = posterior(X, [1, 1, 1, 1, 0, 0, 0, 0], groups=[0, 0, 1, 1, 2, 2, 3, 3], draws=200, seed=1)
    chance = fit.chance(np.array([[500.0, 0.0], [0.0, 500.0], [-500.0, 0.0]]), new_group=True)
    assert chance.min() >= 0.0
    assert chance.max() == 1.0
