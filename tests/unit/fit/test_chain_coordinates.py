"""Coordinates of the chains: there and back, and the Jacobian by differences."""

from __future__ import annotations

import numpy as np
import pytest

from meltdoe.fit.draws.chain_coordinates import make_coordinates
from meltdoe.fit.draws.laplace import make_log_posterior
from meltdoe.fit.model.likelihood import make_likelihood
from meltdoe.fit.model.prior import default_prior

X = np.column_stack([np.ones(6), [-1, -1, 1, 1, 0, 0], [1, -1, 1, -1, 1, -1]]).astype(float)
Y = [1.0, 2.0, 4.0, 5.0, 3.0, 2.5]


def setting(groups=None):
    likelihood = make_likelihood(X, Y, "measured", groups=groups)
    target = make_log_posterior(likelihood, default_prior([0, 1, 1]))
    return likelihood, target, make_coordinates(likelihood, target.mean[0], target.precision[0])


@pytest.mark.parametrize("groups", [None, [0, 0, 1, 1, 2, 2]])
def test_there_and_back(groups):
    likelihood, _, coordinates = setting(groups)
    e = np.random.default_rng(0).standard_normal((5, likelihood.size))
    assert coordinates.inward(coordinates.outward(e)) == pytest.approx(e, abs=1e-10)


@pytest.mark.parametrize("groups", [None, [0, 0, 1, 1, 2, 2]])
def test_jacobian(groups):
    likelihood, _, coordinates = setting(groups)
    d = likelihood.size
    points = np.random.default_rng(1).standard_normal((4, d))
    h = 1e-6
    logs = []
    for point in points:
        around = coordinates.outward(point + h * np.vstack([np.eye(d), -np.eye(d)]))
        logs.append(np.linalg.slogdet((around[:d] - around[d:]) / (2 * h))[1])
    gap = np.array(logs) - coordinates.log_jacobian(points)
    assert gap == pytest.approx(np.full(4, gap[0]), abs=1e-6)


def test_given_sigma_the_coefficients_are_standard_normal():
    likelihood, target, coordinates = setting()
    e = np.random.default_rng(2).standard_normal((6, likelihood.size))
    e[:, -1] = -0.3
    theta = coordinates.outward(e)
    value = likelihood.log_likelihood(theta) + target.log_prior(theta)
    assert value + 0.5 * (e[:, :-1] ** 2).sum(axis=1) == pytest.approx(
        np.full(6, value[0] + 0.5 * (e[0, :-1] ** 2).sum())
    )


def test_a_censored_value_has_no_part_in_the_coordinates():
    """Taken for a value seen at its limit it would tie the coefficients down, and the chains with them."""
    with_it = make_likelihood(
        [*X, [1.0, 1.0, 1.0]], [*Y, 6.0], "measured", censored=[0] * 6 + [1], centre=0.0, scale=1.0
    )
    without = make_likelihood(X, Y, "measured", centre=0.0, scale=1.0)
    target = make_log_posterior(without, default_prior([0, 1, 1]))
    e = np.random.default_rng(3).standard_normal((4, without.size))
    one, two = (make_coordinates(one, target.mean[0], target.precision[0]).outward(e) for one in (with_it, without))
    assert one == pytest.approx(two)
