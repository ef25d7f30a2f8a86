"""The closed form behind measured outcomes: against quadrature, a dense Gaussian, and the chance of an orthant."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import multivariate_normal, norm

from meltdoe.fit.draws.gaussian_above import draw_above, log_chance_above
from meltdoe.fit.draws.inclusion_mixture import mixture_posterior
from meltdoe.fit.draws.measured_patterns import _data, _Rows, _Scales, _scales, measured_proposal
from meltdoe.fit.draws.pattern_draws import every_pattern
from meltdoe.fit.model.inclusion_prior import SERIES_CLASSES, InclusionPrior, TermRoles
from meltdoe.fit.model.likelihood import make_likelihood

ROLES = TermRoles(((), (0,)), (0, 1))


def with_ones(rng, n, p):
    return np.column_stack([np.ones(n), rng.standard_normal((n, p - 1))])


def test_coefficients_and_evidence_are_those_of_the_dense_gaussian():
    rng = np.random.default_rng(0)
    X, y, groups = with_ones(rng, 7, 3), rng.standard_normal(7), np.array([0, 0, 1, -1, 1, 1, 2])
    data = _data(make_likelihood(X, y, "measured", groups=groups, centre=0.0, scale=1.0), np.array([], dtype=int))
    log_sigma, log_tau, precision = rng.standard_normal(4), rng.standard_normal(4), rng.uniform(0.1, 4, (3, 4))
    found = data.whole.given(_scales(np.array([log_sigma, log_tau])), y[:, None], precision)
    Z = (groups[:, None] == np.arange(3)).astype(float)
    for i in range(4):
        V = np.exp(2 * log_sigma[i]) * np.eye(7) + np.exp(2 * log_tau[i]) * Z @ Z.T
        D = np.diag(1 / precision[:, i])
        assert found.log_evidence[i] == pytest.approx(multivariate_normal.logpdf(y, np.zeros(7), V + X @ D @ X.T))
        K = X.T @ np.linalg.solve(V, X) + np.diag(precision[:, i])
        assert found.mean[:, i] == pytest.approx(np.linalg.solve(K, X.T @ np.linalg.solve(V, y)))
        assert found.root[..., i] @ found.root[..., i].T == pytest.approx(K)


def test_censored_values_given_those_seen_are_those_of_the_dense_gaussian():
    """Two values at or above 1, one at or below -1, in firings that hold seen values too."""
    rng = np.random.default_rng(1)
    X, groups = with_ones(rng, 7, 2), np.array([0, 0, 1, 1, 0, 1, 2])
    y, censored = np.array([0.3, 1.0, -0.2, -1.0, 0.8, 1.0, 0.1]), np.array([0, 1, 0, -1, 0, 1, 0])
    likelihood = make_likelihood(X, y, "measured", groups=groups, censored=censored, centre=0.0, scale=1.0)
    data = _data(likelihood, np.flatnonzero(censored))
    at, precision = _scales(np.log([[0.6], [0.9]])), np.array([[0.5], [1.5]])
    Z = (groups[:, None] == np.arange(3)).astype(float)
    full = X @ np.diag(1 / precision[:, 0]) @ X.T + 0.81 * Z @ Z.T + 0.36 * np.eye(7)
    o, c, side = np.flatnonzero(censored == 0), data.at, censored[data.at].astype(float)
    gain = full[np.ix_(c, o)] @ np.linalg.inv(full[np.ix_(o, o)])
    mean, cover = gain @ y[o], full[np.ix_(c, c)] - gain @ full[np.ix_(o, c)]
    found = data.seen.given(at, y[o, None], precision)
    ours_mean, ours_cover = data.unseen(found, at)
    assert ours_mean[:, 0] == pytest.approx(side * mean)
    assert ours_cover[..., 0] == pytest.approx(side[:, None] * cover * side)


def test_the_chance_of_lying_above_limits_and_draws_that_do():
    """Three entries tied together, one limit hard to pass; by 400,000 draws of the Gaussian."""
    rng = np.random.default_rng(1)
    A = rng.standard_normal((3, 3))
    mean, cover, limits = np.array([0.2, -0.4, 0.5]), A @ A.T + 0.1 * np.eye(3), np.array([0.0, 1.0, -0.5])
    many = np.repeat(mean[:, None], 4000, axis=1), np.repeat(cover[:, :, None], 4000, axis=2)
    drawn, log_weight = draw_above(*many, limits, rng)
    assert (drawn > limits[:, None]).all()
    plain = rng.multivariate_normal(mean, cover, 400_000)
    inside = (plain > limits).all(axis=1)
    weight = np.exp(log_weight)
    assert weight.mean() == pytest.approx(inside.mean(), rel=0.03)
    assert (drawn @ weight) / weight.sum() == pytest.approx(plain[inside].mean(axis=0), abs=0.04)
    assert np.exp(log_chance_above(*many, limits))[0] == pytest.approx(inside.mean(), rel=0.3)


def test_limits_that_leave_hardly_anything_still_give_even_weights():
    """Twenty entries of two hidden numbers and a little noise press from both sides, the tightest drawn first."""
    rng = np.random.default_rng(3)
    x = np.sort(np.abs(rng.uniform(-1, 1, 20)))
    X, m = np.column_stack([rng.choice([-1.0, 1.0], 20), x]), 2000
    cover = 4.0 * X @ X.T + 0.01 * np.eye(20)
    _, log_weight = draw_above(np.zeros((20, m)), np.repeat(cover[:, :, None], m, axis=2), np.full(20, 0.3), rng)
    weight = np.exp(log_weight - log_weight.max())
    assert weight.sum() ** 2 / np.sum(weight**2) > 1500


@pytest.mark.parametrize("firings", [False, True])
def test_moments_and_inclusion_agree_with_quadrature(firings):
    """One factor, six values, one at the upper bound: both patterns on a grid of all parameters.

    The effects of three firings are integrated out node by node.
    """
    x = np.array([-1.0, -1, 1, 1, -1, 1])
    X, y = np.column_stack([np.ones(6), x]), [40.0, 35.0, 85.0, 100.0, 55.0, 90.0]
    groups = np.array([0, 1, 0, 1, 2, 2]) if firings else None
    likelihood = make_likelihood(X, y, "measured", bounds=(0, 100), groups=groups)
    axes = [np.linspace(-3, 3.5, 25), np.linspace(-2.5, 4.5, 30), np.linspace(-3.2, 1.8, 23)]
    axes += [np.linspace(-3.2, 1.6, 15)] if firings else []
    mesh = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, len(axes))
    if firings:
        nodes, weights = np.polynomial.hermite_e.hermegauss(15)
        log_weights = np.log(weights / weights.sum())
        logs = np.zeros(len(mesh))
        for part in np.array_split(np.arange(len(mesh)), 200):
            eta = (mesh[part, :2] @ X.T)[:, None] + np.exp(mesh[part, 3])[:, None, None] * nodes[:, None]
            rows = likelihood.rows(eta, mesh[part, 2, None, None] * np.ones((1, 15, 1)))
            logs[part] = logsumexp(rows @ np.eye(3)[groups] + log_weights[:, None], axis=1).sum(axis=1)
        logs += norm.logpdf(mesh[:, 3], np.log(0.5), 0.8)
    else:
        logs = likelihood.log_likelihood(mesh)
    logs += norm.logpdf(mesh[:, 0], 0, 2) + norm.logpdf(mesh[:, 2], np.log(0.5), 1)
    sigma = np.exp(mesh[:, 2])
    on, off = (
        logsumexp(
            [
                np.log(c.chance * share(c)) + norm.logpdf(mesh[:, 1], 0, c.steepness * sd * sigma)
                for c in SERIES_CLASSES
            ],
            axis=0,
        )
        for sd, share in ((2.0, lambda c: c.active), (0.15, lambda c: 1 - c.active))
    )
    both = logs + np.logaddexp(on, off)
    weight = np.exp(both - logsumexp(both))
    mean = weight @ mesh
    sd = np.sqrt(weight @ (mesh - mean) ** 2)
    found = mixture_posterior(X, y, "measured", bounds=(0, 100), groups=groups, draws=12_000)
    assert found.inclusion[0] == pytest.approx(np.exp(logsumexp(logs + on) - logsumexp(both)), abs=0.012)
    q = len(axes)
    ours = (found.posterior.draws[:, :q] - [50, 0, *[np.log(25)] * (q - 2)]) / [25, 25, *[1] * (q - 2)]
    assert (ours.mean(axis=0) - mean) / sd == pytest.approx(np.zeros(q), abs=0.04)
    assert ours.std(axis=0) / sd == pytest.approx(np.ones(q), abs=0.04)


def test_weights_stay_even_where_half_of_the_values_are_censored():
    rng = np.random.default_rng(0)
    X = np.column_stack([np.ones(36), rng.choice([-1.0, 1.0], (36, 6))])
    y = np.clip(98 + 18 * X[:, 1] + 8 * X[:, 2] + 8 * rng.standard_normal(36), 0, 100)
    likelihood = make_likelihood(X, y, "measured", bounds=(0, 100), groups=np.arange(36) // 3)
    assert (likelihood.censored == 1).sum() >= 15
    roles = TermRoles(((), *((j,) for j in range(6))), (0, *[1] * 6))
    drawn = measured_proposal(likelihood, every_pattern(likelihood, roles, InclusionPrior()), (9, 8)).draw(4000, rng)
    weights = np.exp(drawn.log_ratio - logsumexp(drawn.log_ratio))
    assert 1 / np.sum(weights**2) > 1500
    assert weights.max() < 0.01


def test_without_melts_the_draws_are_the_prior():
    likelihood = make_likelihood(np.empty((0, 2)), [], "measured", centre=0.0, scale=1.0)
    prior = every_pattern(likelihood, ROLES, InclusionPrior())
    drawn = measured_proposal(likelihood, prior, (9, 8)).draw(8000, np.random.default_rng(0))
    weights = np.exp(drawn.log_ratio - logsumexp(drawn.log_ratio))
    assert weights @ drawn.theta == pytest.approx([0, 0, np.log(0.5)], abs=0.08)
    active = prior.patterns[drawn.pattern, 0]
    assert weights @ active == pytest.approx(InclusionPrior().active(1), abs=0.02)
    assert np.sqrt(weights @ (drawn.theta[:, 2] - np.log(0.5)) ** 2) == pytest.approx(1.0, abs=0.04)


@pytest.mark.parametrize(("n", "firings"), [(4, 0), (7, 3), (1, 0), (0, 0), (12, 4)])
def test_coefficients_given_few_rows_or_many_are_those_of_the_normal_equations(n: int, firings: int):
    """Rows fewer than the nine columns go by S, others by K; both against dense algebra, draws by their moments."""
    rng = np.random.default_rng(n)
    p, m, sigma, tau = 9, 20_000, 0.6, 0.8
    X, y = rng.standard_normal((n, p)), rng.standard_normal((n, 1))
    member = np.zeros((n, firings))
    if firings:
        member[np.arange(n), np.arange(n) % firings] = 1.0
    precision = rng.uniform(0.5, 3.0, (p, 1))
    at = _Scales(np.full(m, sigma), np.full(m, tau))
    found = _Rows(X, member).given(at, y, np.repeat(precision, m, axis=1))

    V = sigma**2 * np.eye(n) + tau**2 * member @ member.T
    cover = np.linalg.inv(X.T @ np.linalg.solve(V, X) + np.diag(precision[:, 0]))
    mean = cover @ X.T @ np.linalg.solve(V, y[:, 0])
    evidence = multivariate_normal(np.zeros(n), V + X @ (X / precision[:, 0]).T).logpdf(y[:, 0]) if n else 0.0
    np.testing.assert_allclose(found.mean[:, 7], mean, atol=1e-10)
    assert found.log_evidence[7] == pytest.approx(evidence, abs=1e-10)
    slope = rng.standard_normal((p, 3))
    each = np.repeat(slope[:, :, None], m, axis=2)
    np.testing.assert_allclose(found.covariance(each)[:, :, 7], slope.T @ cover @ slope, atol=1e-10)
    drawn = found.draw(rng)
    np.testing.assert_allclose(drawn.mean(axis=1), mean, atol=0.05)
    np.testing.assert_allclose(np.cov(drawn), cover, atol=0.08)
