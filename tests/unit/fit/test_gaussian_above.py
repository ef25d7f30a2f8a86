"""Chances that correlated Gaussians lie above limits, where the search for the best proposal goes astray."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from meltdoe.fit.draws.gaussian_above import draw_above, log_chance_above


def nearly_flat(c, seed):
    """A mean, a covariance that is nearly of rank 2, as of few coefficients and a small scatter, and limits."""
    rng = np.random.default_rng([seed, c])
    root = 30.0 * rng.standard_normal((c, 2))
    cover = root @ root.T + np.eye(c) * 10.0 ** rng.uniform(-1, 0)
    return 3.0 * rng.standard_normal(c), cover, 2.0 * rng.standard_normal(c)


@pytest.mark.parametrize("c", [3, 4, 6])
def test_no_chance_exceeds_that_of_one_entry_alone(c):
    for mean, cover, limits in (nearly_flat(c, seed) for seed in range(200)):
        chance = log_chance_above(mean[:, None], cover[:, :, None], limits)[0]
        assert chance <= norm.logsf(limits, mean, np.sqrt(np.diag(cover))).min() + 1e-9


@pytest.mark.parametrize("seed", range(8))
def test_the_weights_average_to_the_chance(seed):
    """Against scipy's quasi-Monte Carlo distribution function of N(mean, cover) (Genz 1992)."""
    mean, cover, limits = nearly_flat(3, seed)
    m = 20_000
    rng = np.random.default_rng(seed)
    vectors, log_weights = draw_above(np.repeat(mean[:, None], m, 1), np.repeat(cover[:, :, None], m, 2), limits, rng)
    weights = np.exp(log_weights)
    chance = multivariate_normal.cdf(mean - limits, np.zeros(3), cover, maxpts=400_000, abseps=1e-6, rng=seed)
    assert (vectors > limits[:, None]).all()
    assert abs(weights.mean() - chance) < 5.0 * weights.std() / np.sqrt(m) + 1e-4
