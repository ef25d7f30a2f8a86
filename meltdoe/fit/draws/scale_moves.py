"""Moves of the chains beside that of all of theta at once: each leaves the posterior as it is.

Scales and what they scale hold each other back, and a factor hardly changes between active and not. Three moves loosen
them:

`firing_scale_move`   the sd of firings with their effects u = exp(tau) z held (interweaving: Yu & Meng 2011, Journal of
                      Computational and Graphical Statistics 20, 531-570)
`coefficient_move`    for measured outcomes, coefficients and effects drawn at given scales from their Gaussian,
                      censored values first drawn from their tails (data augmentation: Tanner & Wong 1987,
                      JASA 82, 528-540)

`size_move`           coefficients multiplied by a random number, one by one and all together, so that each may pass
                      from the narrow to the wide part of its prior, and all to another scale (a random walk of
                      log |b|; Tierney 1994, Annals of Statistics 22, 1701-1728)

(All papers from memory.)
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtri_exp

from meltdoe.fit.draws.laplace import LogPosterior
from meltdoe.fit.model.likelihood import Likelihood

__all__ = ["Move", "PrecisionGiven", "coefficient_move", "firing_scale_move", "size_move"]

Array = NDArray[np.float64]
Move = Callable[[Array, np.random.Generator], Array]
PrecisionGiven = Callable[[Array, np.random.Generator], Array]

_JUMP = 1.5  # sd of the log of what a coefficient is multiplied by; from spike to slab it is 1.9
_JOINT_JUMP = 0.3
_SIZED = 5  # coefficients tried in one move of every chain


def firing_scale_move(target: LogPosterior) -> Move:
    """Move of tau given u.

    Given u, the density of tau is exp(-J tau - exp(-2 tau) sum u^2 / 2) times its Gaussian prior: the first is a gamma
    for exp(-2 tau), proposed and accepted by the ratio of the prior.
    """
    at = target.likelihood.n_coef + target.likelihood.n_shape
    n_groups = target.likelihood.n_groups
    mean, sd = target.mean[0, at], target.precision[0, at, at] ** -0.5

    def move(theta: Array, rng: np.random.Generator) -> Array:
        tau, z = theta[:, at], theta[:, at + 1 :]
        squares = np.sum(z * z, axis=1) * np.exp(2.0 * tau)
        inverse = rng.standard_gamma(n_groups / 2.0, len(theta)) / np.maximum(squares / 2.0, 1e-300)
        new = -0.5 * np.log(np.maximum(inverse, 1e-300))
        gain = 0.5 * (((tau - mean) / sd) ** 2 - ((new - mean) / sd) ** 2)
        new = np.where(np.log(rng.random(len(theta))) < gain, new, tau)
        moved = theta.copy()
        moved[:, at] = new
        moved[:, at + 1 :] = z * np.exp(tau - new)[:, None]
        return moved

    return move


def coefficient_move(target: LogPosterior, precision_given: PrecisionGiven | None = None) -> Move:
    """Coefficients and firings' z of a measured outcome given sigma and tau.

    Parameters
    ----------
    target : log posterior under one Gaussian prior.
    precision_given : draws, for theta (m, d), the diagonal (m, p) of a Gaussian prior precision of coefficients from
        its distribution given them and sigma, where the prior is a mixture; its means are 0.
    """
    likelihood, p, n = target.likelihood, target.likelihood.n_coef, target.likelihood.y.size
    member = likelihood.groups[:n, None] == np.arange(likelihood.n_groups)
    A = np.hstack([likelihood.X[:n], member])
    gram = A.T @ A
    at = np.r_[:p, p + 2 : likelihood.size]
    mean, P = target.mean[0, at], target.precision[0][np.ix_(at, at)]

    def move(theta: Array, rng: np.random.Generator) -> Array:
        m, sigma = len(theta), np.exp(theta[:, p])
        prior = np.repeat(P[None], m, axis=0)
        if precision_given is not None:
            prior[:, range(p), range(p)] = precision_given(theta, rng)
        # Columns of Z carry exp(tau): w = (b, z), eta = A (stretch * w).
        stretch = np.ones((m, at.size))
        stretch[:, p:] = np.exp(theta[:, p + 1, None])
        y = _completed(likelihood, (stretch * theta[:, at]) @ A.T, sigma, rng)
        weight = sigma**-2.0
        Q = stretch[:, :, None] * stretch[:, None, :] * gram * weight[:, None, None] + prior
        pull = stretch * (y @ A) * weight[:, None] + prior @ mean
        root = np.linalg.cholesky(Q)
        noise = rng.standard_normal((m, at.size, 1))
        # Q^-1 pull + root^-T noise, from one factor: root^-T (root^-1 pull + noise).
        half = np.linalg.solve(root, pull[..., None]) + noise
        moved = theta.copy()
        moved[:, at] = np.linalg.solve(np.swapaxes(root, 1, 2), half)[..., 0]
        if not likelihood.beliefs:
            return moved
        # Beliefs are no part of the Gaussian: accept by the ratio of what they say.
        gain = likelihood.log_belief(moved) - likelihood.log_belief(theta)
        return np.where((np.log(rng.random(m)) < gain)[:, None], moved, theta)

    return move


def size_move(log_posterior: Callable[[Array], Array], columns: NDArray[np.int_]) -> Move:
    """Sizes of some coefficients, and of all together, accepted by the ratio of posteriors times that of volumes.

    Parameters
    ----------
    log_posterior : of theta (m, d), up to a constant. columns : those of the coefficients that may be chosen.
    """

    def move(theta: Array, rng: np.random.Generator) -> Array:
        chain = np.arange(len(theta))
        theta, value = theta.copy(), log_posterior(theta)
        for i in range(min(_SIZED, len(columns)) + 1):
            trial = theta.copy()
            if i:
                log_volume = jump = rng.normal(0.0, _JUMP, len(theta))
                trial[chain, rng.choice(columns, len(theta))] *= np.exp(jump)
            else:
                jump = rng.normal(0.0, _JOINT_JUMP, len(theta))
                log_volume = len(columns) * jump
                trial[:, columns] *= np.exp(jump)[:, None]
            new = log_posterior(trial)
            up = np.log(rng.random(len(theta))) < new - value + log_volume
            theta[up], value[up] = trial[up], new[up]
        return theta

    return move


def _completed(likelihood: Likelihood, eta: Array, sigma: Array, rng: np.random.Generator) -> Array:
    """(m, n) values with the censored ones drawn from beyond their limits."""
    y = np.repeat(likelihood.y[None], len(eta), axis=0)
    at = np.flatnonzero(likelihood.censored)
    if at.size:
        side = -likelihood.censored[at]  # +1 where the value lies below its limit
        reach = side * (y[:, at] - eta[:, at]) / sigma[:, None]
        z = ndtri_exp(np.log(rng.random(reach.shape)) + log_ndtr(reach))
        y[:, at] = eta[:, at] + side * sigma[:, None] * z
    return y
