"""Modes with the sd of firings held, the lattice of scales, and the small factors: against their slower equals."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from scipy.special import expit, logsumexp

from meltdoe.fit.draws.firing_modes import climb_held, mean_held
from meltdoe.fit.draws.laplace import LogPosterior, climb
from meltdoe.fit.draws.pattern_draws import every_pattern, systematic
from meltdoe.fit.draws.pattern_modes import mode_proposal
from meltdoe.fit.draws.scale_lattice import ScaleLattice, make_lattice
from meltdoe.fit.draws.small_cholesky import backward, cholesky, forward
from meltdoe.fit.model.inclusion_prior import InclusionPrior, TermRoles
from meltdoe.fit.model.likelihood import make_likelihood
from meltdoe.fit.model.prior import Belief


def likelihood_of(kind, firings):
    rng = np.random.default_rng(4)
    X = np.column_stack([np.ones(18), rng.choice([-1.0, 1.0], (18, 3))])
    groups = np.arange(18) // 3 if firings else None
    if kind == "pass":
        y = (rng.random(18) < expit(1.5 * X[:, 1])).astype(float)
        return make_likelihood(X, y, groups=groups, beliefs=[Belief(X[0], 0.7, 2.0)])
    y = (rng.random((18, 1)) > expit(np.array([0.0, 1.2, 2.4]) - 1.5 * X[:, 1:2])).sum(axis=1)
    beliefs = [Belief(X[0], 0.7, 2.0, good=(0, 1))]
    return make_likelihood(X, y, "grade", groups=groups, n_grades=4, beliefs=beliefs)


ROLES = TermRoles(((), (0,), (1,), (2,)), (0, 1, 1, 1))


@pytest.mark.parametrize("kind", ["pass", "grade"])
@pytest.mark.parametrize("firings", [False, True])
def test_modes_precision_and_evidence_are_those_of_the_joint_climb(kind, firings):
    """The joint climb holds the log sd of firings by a precision of 1e9, which then cancels from its evidence."""
    likelihood = likelihood_of(kind, firings)
    prior = every_pattern(likelihood, ROLES, InclusionPrior())
    r, m = likelihood.n_coef + likelihood.n_shape, len(prior.patterns)
    log_sd = np.linspace(-2.0, 1.0, m)
    start = np.repeat(prior.mean[None, :r], m, axis=0), np.zeros((m, likelihood.n_groups))
    found = climb_held(likelihood, prior.mean[:r], prior.precision[:, :r], np.exp(log_sd), *start)
    mean, precision = np.repeat(prior.mean[None], m, axis=0), prior.precision.copy()
    if firings:
        mean[:, r], precision[:, r] = log_sd, 1e9
    whole = climb(LogPosterior(likelihood, mean, precision[:, :, None] * np.eye(likelihood.size)))
    sd = np.sqrt(np.diagonal(whole.covariance, axis1=1, axis2=2))
    assert (found.a - whole.theta[:, :r]) / sd[:, :r] == pytest.approx(np.zeros((m, r)), abs=0.03)
    assert found.z == pytest.approx(whole.theta[:, r + 1 :], abs=0.03)
    assert np.linalg.inv(found.precision) == pytest.approx(whole.covariance[:, :r, :r], rel=0.08, abs=0.02)
    assert found.log_evidence == pytest.approx(whole.log_evidence, abs=0.05)


def test_many_firings_leave_the_weights_even():
    rng = np.random.default_rng(0)
    X = np.column_stack([np.ones(60), rng.choice([-1.0, 1.0], (60, 3))])
    groups = np.arange(60) // 3
    y = (rng.random(60) < expit(X[:, 1] + rng.standard_normal(20)[groups])).astype(float)
    likelihood = make_likelihood(X, y, groups=groups)
    proposal = mode_proposal(likelihood, every_pattern(likelihood, ROLES, InclusionPrior()), 8)
    *_, drawn = proposal.rounds([1000, 1000, 2000], rng)
    weights = np.exp(drawn.log_ratio - logsumexp(drawn.log_ratio))
    assert 1 / np.sum(weights**2) > 1000


def test_rows_that_all_saw_the_same_middle_grade_are_weighed_too():
    """Six melts of an invented series; the steps towards the mean under one pattern led away without end."""
    x = np.array(
        [
            [-1, -1, -1, 1, 1],
            [-1, -1, 1, -1, -1],
            [-1, 1, -1, 1, -1],
            [-1, 1, 1, -1, 1],
            [1, -1, -1, -1, 1],
            [1, 1, 1, 0.57, 1],
        ]
    )
    pairs = tuple(combinations(range(5), 2))
    X = np.column_stack([np.ones(6), x, *(x[:, i] * x[:, j] for i, j in pairs), x[:, [0, 1, 3]] ** 2])
    roles = TermRoles(((), *((i,) for i in range(5)), *pairs, (0,), (1,), (3,)), (0,) + (1,) * 5 + (2,) * 13)
    likelihood = make_likelihood(X, np.ones(6), "grade", n_grades=4, groups=np.array([0, 0, 1, 1, 2, 3]))
    proposal = mode_proposal(likelihood, every_pattern(likelihood, roles, InclusionPrior()), 5)
    assert np.abs(proposal.near.centre).max() < 5.0
    *_, drawn = proposal.rounds([1000, 1000], np.random.default_rng(1))
    weights = np.exp(drawn.log_ratio - logsumexp(drawn.log_ratio))
    assert 1 / np.sum(weights**2) > 200


def test_weights_stand_for_the_exact_posterior_whatever_was_learnt_between_rounds():
    """One factor, two patterns and three classes: sums over a grid of the coefficients are the other computation."""
    X = np.array([[1.0, -1.0]] * 5 + [[1.0, 1.0]] * 5)
    y = np.array([0, 0, 0, 0, 1, 1, 1, 1, 1, 1.0])
    likelihood = make_likelihood(X, y)
    prior = every_pattern(likelihood, TermRoles(((), (0,)), (0, 1)), InclusionPrior())
    grid = np.stack(np.meshgrid(np.linspace(-25, 25, 801), np.linspace(-25, 25, 801), indexing="ij"), axis=-1)
    theta = grid.reshape(-1, 2)
    log_prior = -0.5 * (theta[:, None] ** 2 * prior.precision - np.log(prior.precision)).sum(axis=2)
    log_height = likelihood.log_likelihood(theta)[:, None] + log_prior + prior.log_chance
    exact = np.exp(log_height - logsumexp(log_height))
    *_, drawn = mode_proposal(likelihood, prior, 8).rounds([4000, 4000, 16000], np.random.default_rng(1))
    weights = np.exp(drawn.log_ratio - logsumexp(drawn.log_ratio))
    found = np.bincount(drawn.pattern, weights, minlength=len(prior.patterns))
    assert found == pytest.approx(exact.sum(axis=0), abs=0.01)
    assert weights @ drawn.theta == pytest.approx(exact.sum(axis=1) @ theta, abs=0.06)
    assert weights @ drawn.theta**2 == pytest.approx(exact.sum(axis=1) @ theta**2, rel=0.05)


def test_means_lie_nearer_to_the_middle_of_a_leaning_posterior_than_modes():
    """Five passes of five and an intercept of sd 3; the mean by quadrature."""
    likelihood = make_likelihood(np.ones((5, 1)), np.ones(5))
    precision, none = np.array([[1 / 9.0]]), np.ones(1)
    modes = climb_held(likelihood, np.zeros(1), precision, none, np.zeros((1, 1)), np.zeros((1, 0)))
    means = mean_held(likelihood, np.zeros(1), precision, none, modes)
    b = np.linspace(-10, 20, 20001)
    height = np.exp(5 * (b - np.logaddexp(0, b)) - b**2 / 18)
    mean = (height @ b) / height.sum()
    assert abs(means.a[0, 0] - mean) < 0.5 * abs(modes.a[0, 0] - mean)


def test_density_of_the_lattice_is_that_of_its_draws():
    """Mean of 1 / density over draws is the volume that the density covers; tents reach one step beyond the ends."""
    share = np.random.default_rng(0).dirichlet(np.ones(2 * 4 * 3)).reshape(2, 4, 3)
    lattice = ScaleLattice(np.array([0, 5]), share, (-1.0, 2.0), (0.5, 0.25))
    place, scales = lattice.draw(40_000, np.random.default_rng(1))
    log_density = lattice.log_density(place, scales)
    assert np.exp(-log_density).mean() == pytest.approx(2 * (5 * 0.5) * (4 * 0.25), rel=0.03)
    assert (place == 1).mean() == pytest.approx(share[1].sum(), abs=0.001)
    assert scales[0].mean() == pytest.approx(-1.0 + 0.5 * (share.sum(axis=(0, 2)) @ np.arange(4)), abs=0.01)
    near = np.rint((scales[1] - 2.0) / 0.25).clip(0, 2) + 3 * np.rint((scales[0] + 1.0) / 0.5).clip(0, 3)
    assert np.array_equal(lattice.nearest(scales), near)


def test_lattice_lies_where_the_density_is_and_leaves_out_hopeless_patterns():
    patterns = np.array([[False], [True]])

    def log_height(pattern, logs):
        return -0.5 * ((logs[0] - 1.0) / 0.1) ** 2 - 50.0 * (pattern == 0)

    lattice = make_lattice(log_height, patterns, np.zeros(1), np.ones(1), (9,))
    assert lattice.patterns.tolist() == [1]
    end = lattice.first[0] + 8 * lattice.step[0]
    assert 0.0 < lattice.first[0] < 0.6
    assert 1.4 < end < 2.0


def test_small_factors_are_those_of_the_library():
    A = np.random.default_rng(0).standard_normal((5, 4, 9))
    K = A @ np.swapaxes(A, 1, 2)
    L = cholesky(np.moveaxis(K, 0, -1))
    assert np.moveaxis(L, -1, 0) == pytest.approx(np.linalg.cholesky(K))
    b = np.arange(20.0).reshape(4, 5)
    solved = np.linalg.solve(K, b.T[..., None])[..., 0]
    assert backward(L, forward(L, b)) == pytest.approx(solved.T)
    many = np.arange(60.0).reshape(4, 3, 5)
    assert forward(L, many)[:, 1] == pytest.approx(forward(L, many[:, 1]))


def test_systematic_draws_take_each_as_often_as_its_share_to_within_one():
    share = np.array([0.503, 0.0, 0.297, 0.2])
    count = np.bincount(systematic(share, 100, np.random.default_rng(0)), minlength=4)
    assert np.abs(count - 100 * share).max() < 1
