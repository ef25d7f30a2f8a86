"""The sampler meets known densities, and a wrong one that it must not fit."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import kstest, norm, skewnorm
from scipy.stats import t as student

from meltdoe.fit.draws.elliptical_slice import elliptical_slice


def draw(log_density, seed=0, d=1):
    chains, r_hat = elliptical_slice(
        lambda x: log_density(x).sum(axis=1), np.zeros(d), np.eye(d), np.random.default_rng(seed)
    )
    return chains, r_hat


@pytest.mark.parametrize(
    ("density", "cdf"),
    [
        (lambda x: norm.logpdf(x, 1.0, 0.3), norm(1.0, 0.3).cdf),
        (lambda x: skewnorm.logpdf(x, 6.0, -0.5, 2.0), skewnorm(6.0, -0.5, 2.0).cdf),
        (lambda x: student.logpdf(x, 4), student(4).cdf),
        (lambda x: np.where(x > -0.5, -2.0 * x, -np.inf), lambda x: 1 - np.exp(-2 * (x + 0.5))),
    ],
)
def test_known_densities(density, cdf):
    chains, _ = draw(density)
    # One draw a chain: independent of each other, so that the test's probabilities hold.
    assert kstest(chains[-1, :, 0], cdf).pvalue > 0.01
    assert kstest(chains[-1, :, 0], norm(0.4, 1.3).cdf).pvalue < 0.01


def test_moments_in_ten_dimensions():
    sds = np.linspace(0.5, 3, 10)
    chains, r_hat = draw(lambda x: -0.5 * (x / sds) ** 2, d=10)
    flat = chains.reshape(-1, 10)
    assert r_hat < 1.1
    assert flat.mean(axis=0) / sds == pytest.approx(np.zeros(10), abs=0.06)
    assert flat.std(axis=0) / sds == pytest.approx(np.ones(10), abs=0.05)


def test_two_far_modes_are_not_called_converged():
    def two_peaks(x):
        return np.logaddexp(-0.5 * ((x - 12) / 0.1) ** 2, -0.5 * ((x + 12) / 0.1) ** 2)

    chains, r_hat = elliptical_slice(
        lambda x: two_peaks(x).sum(axis=1), np.zeros(3), 100 * np.eye(3), np.random.default_rng(0)
    )
    assert r_hat > 1.1
    assert len(chains) == 200


def test_a_refreshing_move_that_keeps_the_target_keeps_the_answer():
    """The sign may be turned for a symmetric target."""

    def turn(x, rng):
        return x * rng.choice([-1.0, 1.0], (len(x), 1))

    chains, _ = elliptical_slice(
        lambda x: -0.5 * (x[:, 0] - 2 * np.sign(x[:, 0])) ** 2,
        np.zeros(1),
        4 * np.eye(1),
        np.random.default_rng(0),
        refresh=turn,
    )
    assert (chains > 0).mean() == pytest.approx(0.5, abs=0.03)
    assert np.abs(chains).mean() == pytest.approx(2.055, abs=0.05)  # mean of N(2, 1) cut off at 0
