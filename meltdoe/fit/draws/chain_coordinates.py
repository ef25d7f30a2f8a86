"""Coordinates in which the chains move easily.

Pass/fail and graded outcomes are sampled as they are. For measured ones the coefficients are wide where sigma is large
and narrow where it is small, a funnel that no single ellipse fits. Given sigma the coefficients w = (b, z) and the
uncensored values alone are Gaussian,

    w | sigma ~ N(M(sigma), (A'A / sigma^2 + P)^-1),   A = [X, exp(tau_0) Z],  P their prior precision,

and with A'A v = lambda P v solved once (V'PV = I) the standardised residual e of

    w = V [ (V'A'y / sigma^2 + V'P mu) / (lambda / sigma^2 + 1) + e / (lambda / sigma^2 + 1)^(1/2) ]

costs nothing to compute at any sigma. Chains move in (e, log sigma, tau); the Jacobian keeps the posterior exact,
also where values are censored or tau is not tau_0. A censored value must stay out of A: taken for a value seen at its
limit it would tie b down where sigma is small, though b may lie anywhere beyond it (split R-hat was up to 2 that way).
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import eigh

from meltdoe.fit.model.likelihood import Likelihood

__all__ = ["Coordinates", "make_coordinates"]

Array = NDArray[np.float64]


class Coordinates(Protocol):
    """A one-to-one map between theta and what the chains move in."""

    def outward(self, e: Array) -> Array:
        """Theta (m, d) of chain coordinates (m, d)."""

    def inward(self, theta: Array) -> Array:
        """Chain coordinates of theta."""

    def log_jacobian(self, e: Array) -> Array:
        """(m,) log |d theta / d e| up to a constant."""


class _AsTheyAre:
    def outward(self, e: Array) -> Array:
        return e

    def inward(self, theta: Array) -> Array:
        return theta

    def log_jacobian(self, e: Array) -> Array:
        return np.zeros(len(e))


class _GivenSigma:
    def __init__(self, likelihood: Likelihood, mean: Array, precision: Array) -> None:
        p, seen = likelihood.n_coef, np.flatnonzero(likelihood.censored == 0)
        self.sigma_at = p
        columns = [likelihood.X[seen]]
        self.at = np.arange(p)
        if likelihood.n_groups:
            member = likelihood.groups[seen, None] == np.arange(likelihood.n_groups)
            columns.append(np.exp(mean[p + 1]) * member)
            self.at = np.concatenate([self.at, np.arange(p + 2, mean.size)])
        A = np.hstack(columns)
        P = precision[np.ix_(self.at, self.at)]
        self.eigenvalues, self.V = eigh(A.T @ A, P)
        self.eigenvalues = np.maximum(self.eigenvalues, 0.0)
        self.V_inverse = self.V.T @ P
        self.from_data = self.V.T @ (A.T @ likelihood.y[seen])
        self.from_prior = self.V_inverse @ mean[self.at]

    def _given(self, log_sigma: Array) -> tuple[Array, Array]:
        """Conditional mean in the eigenbasis, and lambda / sigma^2 + 1."""
        weight = np.exp(-2.0 * np.clip(log_sigma, -300.0, 300.0))[:, None]
        known = self.eigenvalues * weight + 1.0
        return (self.from_data * weight + self.from_prior) / known, known

    def outward(self, e: Array) -> Array:
        centre, known = self._given(e[:, self.sigma_at])
        theta = e.copy()
        theta[:, self.at] = (centre + e[:, self.at] / np.sqrt(known)) @ self.V.T
        return theta

    def inward(self, theta: Array) -> Array:
        centre, known = self._given(theta[:, self.sigma_at])
        e = theta.copy()
        e[:, self.at] = (theta[:, self.at] @ self.V_inverse.T - centre) * np.sqrt(known)
        return e

    def log_jacobian(self, e: Array) -> Array:
        return np.asarray(-0.5 * np.log(self._given(e[:, self.sigma_at])[1]).sum(axis=1))


def make_coordinates(likelihood: Likelihood, mean: Array, precision: Array) -> Coordinates:
    """Coordinates for one outcome.

    Parameters
    ----------
    mean, precision : (d,), (d, d) Gaussian prior of theta, or one near it.
    """
    if likelihood.kind == "measured":
        return _GivenSigma(likelihood, mean, precision)
    return _AsTheyAre()
