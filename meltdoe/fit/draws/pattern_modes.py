"""Weighted draws of a pass/fail or graded outcome under every pattern of active factors, around the modes.

Every pattern is a Gaussian prior; all modes are climbed together, and draws of coefficients and log gaps around each,
as many as its Laplace evidence asks for, carry the exact log ratio of target to proposal. A few rows speak about a few
combinations of coefficients only: with those whitened by the prior, directions orthogonal to all rows keep the prior
exactly and are drawn from it, and heavy-tailed t draws are spent on the others alone.

Where firings have an effect, their log sd is held at the nodes of a lattice (`scale_lattice.py`) meanwhile, since the
joint mode of a scale and the effects it scales says little. It is then drawn from the lattice, coefficients and gaps
around the mode at the nearest node, and each firing's z by itself around its mode given all those, so that the number
of firings hardly tells on the weights.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from meltdoe.fit.draws.firing_modes import FiringModes, climb_held
from meltdoe.fit.draws.pattern_draws import PatternPrior, WeightedDraws, blocks
from meltdoe.fit.draws.scale_lattice import ScaleLattice, make_lattice
from meltdoe.fit.model.likelihood import Likelihood

__all__ = ["ModeProposal", "mode_proposal"]

Array = NDArray[np.float64]
IntArray = NDArray[np.int_]

_DF = 5.0  # of the t proposals; with 7 and more, k-hat was higher
_WIDTHS = 16.0  # by which draws are wider, shared by the directions
_SPOKEN = 1e-9  # of the largest singular value: less is rounding
_DF_FIRING = 15.0  # of those of z, of which there are many
_STEPS = 3  # of Newton's method towards the mode of a firing's z
_LONGEST = 3.0  # of those steps
_LOG_2_PI = float(np.log(2.0 * np.pi))


@dataclass(frozen=True, slots=True, eq=False)
class ModeProposal:
    """What to draw from.

    Attributes
    ----------
    likelihood, prior : make the target.
    lattice : of pattern and log sd of firings.
    a, z : (M, r), (M, G) modes at every node of every pattern kept.
    root : (M, r, r) from standard draws to coefficients and log gaps around a, directions that rows speak about first.
    log_det : (M,) log determinants of the inverse of `root`.
    told : (M,) how many directions the rows speak about.
    """

    likelihood: Likelihood
    prior: PatternPrior
    lattice: ScaleLattice
    a: Array
    z: Array
    root: Array
    log_det: Array
    told: IntArray

    def draw(self, tries: int, rng: np.random.Generator) -> WeightedDraws:
        """`tries` weighted draws of theta and of the pattern."""
        r = self.a.shape[1]
        place, logs, log_proposal = self.lattice.draw(tries, rng)
        pattern = self.lattice.patterns[place]
        owner = place * self.lattice.share[0].size + self.lattice.nearest(logs)
        told = self.told[owner]
        tailed = np.arange(r) < told[:, None]
        e = rng.standard_normal((tries, r))
        e *= np.where(tailed, np.sqrt(_DF / rng.chisquare(_DF, tries))[:, None], 1.0)
        squares = np.sum(e**2, axis=1, where=tailed)
        log_proposal += self.log_det[owner] + _log_t(squares, told, _DF)
        log_proposal -= 0.5 * (np.sum(e**2, axis=1, where=~tailed) + (r - told) * _LOG_2_PI)
        theta = np.empty((tries, self.likelihood.size))
        log_ratio = self.prior.log_chance[pattern] - log_proposal
        for at in blocks(tries, max(r**2, len(self.likelihood.X))):
            theta[at, :r] = self.a[owner[at]] + np.einsum("sij,sj->si", self.root[owner[at]], e[at])
            if len(logs):
                theta[at, r] = logs[0, at]
                theta[at, r + 1 :], log_density = _draw_firings(self.likelihood, theta[at], self.z[owner[at]], rng)
                log_ratio[at] -= log_density
            precision = self.prior.precision[pattern[at]]
            away = (theta[at] - self.prior.mean) ** 2 * precision - np.log(precision) + _LOG_2_PI
            log_ratio[at] += self.likelihood.log_likelihood(theta[at]) - 0.5 * away.sum(axis=1)
        return WeightedDraws(theta, pattern, log_ratio)


def mode_proposal(likelihood: Likelihood, prior: PatternPrior, nodes: int, wider: float) -> ModeProposal:
    """What to draw from for one outcome.

    Parameters
    ----------
    likelihood : an outcome that is not measured.
    nodes : of the lattice of the log sd of firings.
    wider : how much wider, at most, draws lie than the curvature at the mode asks for; less in many directions, where a
        little in each is much in all.
    """
    r = likelihood.n_coef + likelihood.n_shape
    scale = slice(r, r + (likelihood.n_groups > 0))
    mean, sd = prior.mean[scale, None], prior.precision[0, scale, None] ** -0.5

    def climbed(pattern: IntArray, logs: Array, start: FiringModes) -> FiringModes:
        # At a larger sd of firings than that of the start smaller z add as much.
        m = pattern.size
        less = np.exp(np.minimum(mean - logs, 0.0)).T if len(logs) else 1.0
        begin = np.repeat(start.a, m, axis=0), np.repeat(start.z, m, axis=0) * less
        spread = np.exp(logs[0]) if len(logs) else np.ones(m)
        return climb_held(likelihood, prior.mean[:r], prior.precision[pattern, :r], spread, *begin)

    begin = FiringModes(prior.mean[None, :r], np.zeros((1, likelihood.n_groups)), np.empty(0), np.empty(0))
    start = climbed(np.array([len(prior.patterns) - 1]), mean, begin)
    made: list[FiringModes] = []  # of the last call, which is that for all nodes

    def log_height(pattern: IntArray, logs: Array) -> Array:
        size = len(likelihood.X) * (1 + likelihood.n_shape) ** 2
        made[:] = [climbed(pattern[at], logs[:, at], start) for at in blocks(pattern.size, size)]
        log_prior = -0.5 * ((logs - mean) / sd) ** 2 - np.log(sd) - 0.5 * _LOG_2_PI
        found = np.concatenate([modes.log_evidence for modes in made])
        return np.asarray(prior.log_chance[pattern] + found + log_prior.sum(axis=0))

    lattice = make_lattice(log_height, prior.patterns, mean[:, 0], sd[:, 0], (nodes,))
    a, z = np.concatenate([modes.a for modes in made]), np.concatenate([modes.z for modes in made])
    nodes_each = lattice.share[0].size
    sds = prior.precision[lattice.patterns, :r] ** -0.5
    turned, told = _told_directions(likelihood, sds)
    turned, told, sds = (np.repeat(turned, nodes_each, axis=0), np.repeat(told, nodes_each),
                         np.repeat(sds, nodes_each, axis=0))  # fmt: skip
    root, log_det = _roots(np.concatenate([modes.precision for modes in made]), sds, turned, told, wider)
    return ModeProposal(likelihood, prior, lattice, a, z, root, log_det, told)


def _told_directions(likelihood: Likelihood, sds: Array) -> tuple[Array, IntArray]:
    """Orthonormal directions (m, r, r) in units of the prior sds (m, r), those rows speak about first; their number.

    Log gaps are always among those.
    """
    p, r = likelihood.n_coef, sds.shape[1]
    spoken = np.zeros((len(sds), r, len(likelihood.X) + r - p))
    spoken[:, :p, : len(likelihood.X)] = sds[:, :p, None] * likelihood.X.T
    spoken[:, range(p, r), range(len(likelihood.X), spoken.shape[2])] = 1.0
    turned, size, _ = np.linalg.svd(spoken)
    spoken_of = size > _SPOKEN * size.max(axis=1, initial=0.0, keepdims=True)
    return turned, np.asarray(np.count_nonzero(spoken_of, axis=1))


def _roots(precision: Array, sds: Array, turned: Array, told: IntArray, wider: float) -> tuple[Array, Array]:
    """Roots (m, r, r) of covariances, `wider` than precisions (m, r, r) ask for; log determinants of their inverses."""
    r = sds.shape[1]
    basis = sds[:, :, None] * turned
    inner = np.swapaxes(basis, 1, 2) @ precision @ basis
    tailed = np.arange(r) < told[:, None]
    inner = np.where(tailed[:, :, None] & tailed[:, None, :], inner, np.eye(r))
    widened = np.minimum(wider, 1.0 + _WIDTHS / np.maximum(told, 1))
    lower = np.linalg.cholesky(inner) / np.where(tailed, widened[:, None], 1.0)[:, :, None]
    log_det = np.log(np.diagonal(lower, axis1=1, axis2=2)).sum(axis=1) - np.log(sds).sum(axis=1)
    return basis @ np.swapaxes(np.linalg.inv(lower), 1, 2), log_det


def _draw_firings(likelihood: Likelihood, theta: Array, start: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """Each firing's z (m, G) from a t near its mode given all else, and the log density of all (m,)."""
    p, n, at = likelihood.n_coef, likelihood.y.size, likelihood.n_coef + likelihood.n_shape
    member = (likelihood.groups[:n, None] == np.arange(likelihood.n_groups)).astype(float)
    shape, spread = likelihood.shape(theta), np.exp(theta[:, at, None])
    base = theta[:, :p] @ likelihood.X[:n].T
    z = start
    for step in range(_STEPS + 1):
        with np.errstate(over="ignore"):  # the gap of a stray draw
            first, second = likelihood.slopes(base + spread * (z @ member.T), shape)
        bend = 1.0 - spread**2 * (second @ member)
        if step < _STEPS:
            z = z + np.clip((spread * (first @ member) - z) / bend, -_LONGEST, _LONGEST)
    e = rng.standard_t(_DF_FIRING, z.shape)
    return z + e / np.sqrt(bend), (_log_t(e**2, 1, _DF_FIRING) + 0.5 * np.log(bend)).sum(axis=1)


def _log_t(squares: Array, d: IntArray | int, df: float) -> Array:
    """Log density of the d-variate t with unit scale matrix at squared lengths."""
    constant = gammaln((df + d) / 2) - gammaln(df / 2) - 0.5 * d * np.log(df * np.pi)
    return np.asarray(constant - 0.5 * (df + d) * np.log1p(squares / df))
