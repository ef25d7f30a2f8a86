"""Gaussian vectors all of whose entries lie above limits: their chance, and weighted draws of them.

With L the Cholesky factor of the covariance the entries are drawn one after the other, e_i above what those before it
leave (GHK: Geweke 1991, Hajivassiliou & McFadden 1998, Keane 1994), and from N(mu_i, 1) instead of N(0, 1), so that the
later ones are not left with hopeless limits. The best mu makes stationary, in x and mu together,

    psi = sum_i log Phi(mu_i - s_i(x)) + mu_i^2 / 2 - mu_i x_i,    s_i = (limit_i - mean_i - sum_(j<i) L_ij x_j) / L_ii

where psi is also close to the log chance (minimax tilting: Botev 2017, Journal of the Royal Statistical Society B 79,
125-148). Any mu gives exact weights exp psi(e, mu). (All sources from memory.)

Arrays have the m vectors along their last axis.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtri_exp

from meltdoe.fit.draws.small_cholesky import cholesky

__all__ = ["draw_above", "log_chance_above"]

Array = NDArray[np.float64]

_LOG_2_PI = float(np.log(2.0 * np.pi))
_MOST_STEPS = 12  # towards the best mu
_NEAR = 0.2  # squared distance of mu from what it should be that is near enough
_FIRST_STEP = 0.6  # share of the way; whole steps overshoot
_ASTRAY = 1.0  # squared distance at which the search for mu is given up, and mu = 0 taken: its weights are at most 1


class _Limits(NamedTuple):
    """Limits of e, s_i = low_i - tie_i e: low (c, m), tie (c, c, m) below the diagonal."""

    low: Array
    tie: Array


class _Path(NamedTuple):
    """x at their means given those before: psi (m,), the mu that fits (c, m), its squared distance (m,)."""

    psi: Array
    wanted: Array
    distance: Array


def log_chance_above(mean: Array, cover: Array, limits: Array) -> Array:
    """Log chance (m,), nearly, that N(mean, cover), (c, m) and (c, c, m), lies above limits (c,) in all entries."""
    if not limits.size:
        return np.zeros(mean.shape[1])
    psi = _tilted(_limits(mean, cholesky(cover), limits))[1]
    return np.minimum(psi, _least_of_each(mean, cover, limits))


def draw_above(mean: Array, cover: Array, limits: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """One vector above its limits for each (c, m), and its log weights (m,), which average to the chance."""
    if not limits.size:
        return mean, np.zeros(mean.shape[1])
    root = cholesky(cover)
    at = _limits(mean, root, limits)
    mu, _ = _tilted(at)
    e, log_weight = np.zeros_like(mean), np.zeros(mean.shape[1])
    for i in range(len(limits)):
        start = at.low[i] - np.einsum("jm,jm->m", at.tie[i, :i], e[:i]) - mu[i]
        one = log_ndtr(-start)
        e[i] = mu[i] - ndtri_exp(one + np.log1p(-rng.random(start.size)))
        log_weight += one + (0.5 * mu[i] - e[i]) * mu[i]
    return mean + np.einsum("ijm,jm->im", root, e), log_weight


def _least_of_each(mean: Array, cover: Array, limits: Array) -> Array:
    """(m,) log chance of the entry that is least likely above its limit: the log chance of all is no greater."""
    surplus = (mean - limits[:, None]) / np.sqrt(np.einsum("iim->im", cover))
    return np.asarray(log_ndtr(surplus).min(axis=0))


def _limits(mean: Array, root: Array, limits: Array) -> _Limits:
    size = np.einsum("iim->im", root)
    tie = root / size[:, None]
    tie[range(len(limits)), range(len(limits))] = 0.0
    return _Limits((limits[:, None] - mean) / size, tie)


def _tilted(at: _Limits) -> tuple[Array, Array]:
    """mu (c, m), and psi (m,)."""
    mu = np.zeros_like(at.low)
    found = _path(at, mu)
    untilted, psi, wanted, distance = found.psi, found.psi.copy(), found.wanted, found.distance
    step = np.full(distance.size, _FIRST_STEP)
    for _ in range(_MOST_STEPS):
        left = np.flatnonzero(distance > _NEAR)
        if not left.size:
            break
        trial = mu[:, left] + step[left] * (wanted[:, left] - mu[:, left])
        # Nothing says that a step leads nearer: those that do not are taken back and shortened.
        with np.errstate(over="ignore", invalid="ignore"):
            found = _path(_Limits(at.low[:, left], at.tie[:, :, left]), trial)
        nearer = found.distance < distance[left]
        good = left[nearer]
        mu[:, good], wanted[:, good] = trial[:, nearer], found.wanted[:, nearer]
        psi[good], distance[good] = found.psi[nearer], found.distance[nearer]
        step[left] = np.where(nearer, np.minimum(1.0, 1.3 * step[left]), 0.4 * step[left])
    astray = distance > _ASTRAY
    mu[:, astray], psi[astray] = 0.0, untilted[astray]
    return mu, psi


def _path(at: _Limits, mu: Array) -> _Path:
    x, hazard, psi = np.zeros_like(mu), np.zeros_like(mu), np.zeros(mu.shape[1])
    for i in range(len(mu)):
        start = at.low[i] - np.einsum("jm,jm->m", at.tie[i, :i], x[:i]) - mu[i]
        one = log_ndtr(-start)
        hazard[i] = np.exp(-0.5 * (start**2 + _LOG_2_PI) - one)
        x[i] = mu[i] + hazard[i]
        psi += one + (0.5 * mu[i] - x[i]) * mu[i]
    wanted = np.einsum("jim,jm->im", at.tie, hazard)
    return _Path(psi, wanted, np.sum((wanted - mu) ** 2, axis=0))
