"""Priors from orders and beliefs; modes and evidence; moves of the chains; the public names."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from scipy.special import expit, logsumexp
from scipy.stats import multivariate_normal

import meltdoe.fit
from meltdoe.fit.draws import chains
from meltdoe.fit.draws.laplace import climb, make_log_posterior
from meltdoe.fit.draws.posterior_draws import laplace
from meltdoe.fit.model.likelihood import make_likelihood
from meltdoe.fit.model.prior import Belief, default_prior, independent_prior


def test_default_sds_follow_the_order_of_the_term():
    prior = default_prior([0, 1, 1, 2, 2])
    assert np.diag(prior.precision) ** -0.5 == pytest.approx([2, 1.5, 1.5, 0.75, 0.75])
    assert np.diag(default_prior([0, 1], "grade").precision)[0] ** -0.5 == pytest.approx(2.5)
    assert np.diag(prior.widened(2).precision) ** -0.5 == pytest.approx([4, 3, 3, 1.5, 1.5])


def test_an_sd_must_be_positive():
    with pytest.raises(ValueError, match="above 0"):
        independent_prior([0.0], [0.0])


def test_belief_counts():
    belief = Belief([1.0], 0.6, 5.0)
    assert (belief.successes, belief.failures) == pytest.approx((3.0, 2.0))


def test_evidence_of_passes_against_quadrature():
    X = np.column_stack([np.ones(6), [-1, -1, -1, 1, 1, 1]])
    y = np.array([0, 0, 1, 1, 1, 0])
    b0, b1 = np.meshgrid(np.linspace(-9, 9, 181), np.linspace(-7, 7, 141))
    grid = np.column_stack([b0.ravel(), b1.ravel()])
    logs = make_likelihood(X, y).log_likelihood(grid) + multivariate_normal([0, 0], np.diag([4, 2.25])).logpdf(grid)
    assert laplace(X, y).log_evidence == pytest.approx(logsumexp(logs) + 2 * np.log(0.1), abs=0.15)


def test_many_priors_are_climbed_as_well_as_one():
    rng = np.random.default_rng(0)
    X = np.column_stack([np.ones(9), rng.choice([-1.0, 1.0], (9, 2))])
    y = (rng.random(9) < expit(2 * X[:, 1])).astype(int)
    likelihood = make_likelihood(X, y)
    singles = [make_log_posterior(likelihood, independent_prior(np.zeros(3), sd)) for sd in (0.3, 1.0, 4.0)]
    together = type(singles[0])(
        likelihood, np.concatenate([s.mean for s in singles]), np.concatenate([s.precision for s in singles])
    )
    found = climb(together)
    for i, single in enumerate(singles):
        alone = climb(single)
        assert found.theta[i] == pytest.approx(alone.theta[0], abs=1e-5)
        assert found.log_evidence[i] == pytest.approx(alone.log_evidence[0], abs=1e-6)
    assert np.linalg.norm(found.theta[0]) < np.linalg.norm(found.theta[2])


def test_drawing_coefficients_at_given_scales_changes_nothing(monkeypatch):
    """Censored values, a belief and firings: the same posterior as from the chains without that move."""
    X = np.column_stack([np.ones(8), [-1, 1, -1, 1, -1, 1, -1, 1]])
    likelihood = make_likelihood(
        X,
        [40.0, 75.0, 55.0, 100.0, 60.0, 100.0, 0.0, 70.0],
        "measured",
        bounds=(0, 100),
        groups=[0, 0, 0, 1, 1, 1, 2, 2],
        beliefs=[Belief([1.0, 1.0], 0.7, 3.0, good=(80, 100))],
    )
    target = make_log_posterior(likelihood, default_prior([0, 1]))
    with_move, _ = chains.chain_draws(target, np.random.default_rng(0), 20000)
    monkeypatch.setattr(chains, "coefficient_move", lambda target, given: lambda theta, rng: theta)
    without, _ = chains.chain_draws(target, np.random.default_rng(1), 40000)
    sd = without.std(axis=0)
    assert (with_move.mean(axis=0) - without.mean(axis=0)) / sd == pytest.approx(np.zeros(len(sd)), abs=0.08)
    assert with_move.std(axis=0) / sd == pytest.approx(np.ones(len(sd)), abs=0.06)


def test_public_names():
    assert meltdoe.fit.__all__ == sorted(meltdoe.fit.__all__)
    for name in meltdoe.fit.__all__:
        assert callable(getattr(meltdoe.fit, name))
    with pytest.raises(AttributeError, match="no attribute"):
        _ = meltdoe.fit.nothing


def test_importing_the_package_loads_no_numbers():
    code = "import sys, meltdoe.fit; print('numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
