"""Weighted draws of a measured outcome under every pattern of active factors, nearly all of it in closed form.

Given a pattern, sigma and tau (here the sd of firings) the coefficients behind uncensored values are Gaussian:

    y ~ N(Xb, V),  V = sigma^2 I + tau^2 Z Z',  b ~ N(0, D)
    K = X'V^-1X + D^-1 = L L',  h = X'V^-1y,  b | y ~ N(K^-1 h, K^-1)
    2 log p(y) = log |D^-1| - log |K| - log |V| + h'K^-1 h - y'V^-1y - n log 2 pi

or, where there are fewer rows than columns, from the smaller matrix

    S = V + XDX' = L L',  E b | y = DX'S^-1y,  cov b | y = D - DX'S^-1XD
    2 log p(y) = -log |S| - y'S^-1y - n log 2 pi

(with draws b0 and e from the prior, b0 + DX'S^-1(y - Xb0 - e) is one of b given y: Journel & Huijbregts 1978, Mining
Geostatistics, from memory). And given those seen the censored values are Gaussian, cut off at their limits: drawn with
weights that have no heavy tail (`gaussian_above.py`). Both scales are proposed from a density that is bilinear over a
lattice of their logs (`scale_lattice.py`); they are continuous, and the weights exact.

D grows with sigma^2 in all but the intercept (`inclusion_prior.py`).

Arrays have the m draws, or nodes of the lattice, along their last axis.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meltdoe.fit.draws.gaussian_above import draw_above, log_chance_above
from meltdoe.fit.draws.pattern_draws import PatternPrior, WeightedDraws, blocks
from meltdoe.fit.draws.scale_lattice import ScaleLattice, make_lattice
from meltdoe.fit.draws.small_cholesky import backward, cholesky, forward
from meltdoe.fit.model.likelihood import Likelihood

__all__ = ["MeasuredProposal", "measured_proposal"]

Array = NDArray[np.float64]
IntArray = NDArray[np.int_]

_LOG_2_PI = float(np.log(2.0 * np.pi))


class _Scales(NamedTuple):
    """sigma and tau (m,); tau is idle where firings are not modelled."""

    sigma: Array
    tau: Array


def _scales(logs: Array) -> _Scales:
    """Scales of their logs, (1, m) or (2, m)."""
    both = np.exp(logs)
    return _Scales(both[0], both[-1])


@dataclass(frozen=True, eq=False)
class _OfColumns:
    """b given y: means (p, m) and roots L (p, p, m) of K; log p(y) (m,)."""

    mean: Array
    root: Array
    log_evidence: Array

    def covariance(self, slope: Array) -> Array:
        """(c, c, m) of slope'b, with slope (p, c, m)."""
        spread = forward(self.root, slope)
        return np.asarray(np.einsum("pim,pjm->ijm", spread, spread))

    def draw(self, rng: np.random.Generator) -> Array:
        """One b for each, (p, m)."""
        return self.mean + backward(self.root, rng.standard_normal(self.mean.shape))


@dataclass(frozen=True, eq=False)
class _OfRows:
    """b given y: variances D (p, m) before, roots L (n, n, m) of S; means (p, m) and log p(y) (m,)."""

    rows: _Rows
    at: _Scales
    y: Array
    variance: Array
    root: Array
    mean: Array
    log_evidence: Array

    def covariance(self, slope: Array) -> Array:
        """(c, c, m) of slope'b, with slope (p, c, m)."""
        scaled = self.variance[:, None] * slope
        told = forward(self.root, np.tensordot(self.rows.X, scaled, axes=1))
        return np.asarray(np.einsum("pim,pjm->ijm", slope, scaled) - np.einsum("nim,njm->ijm", told, told))

    def draw(self, rng: np.random.Generator) -> Array:
        """One b for each, (p, m)."""
        X, member, m = self.rows.X, self.rows.member, self.at.sigma.size
        before = np.sqrt(self.variance) * rng.standard_normal(self.variance.shape)
        seen = X @ before + self.at.sigma * rng.standard_normal((len(X), m))
        seen += self.at.tau * (member @ rng.standard_normal((member.shape[1], m)))
        return before + self.variance * (X.T @ backward(self.root, forward(self.root, self.y - seen)))


@dataclass(frozen=True, eq=False)
class _Rows:
    """Some rows of the data: X (n, p), and the firing each belongs to, member (n, G)."""

    X: Array
    member: Array

    @cached_property
    def counts(self) -> Array:
        """(G, 1) rows of each firing."""
        return np.asarray(self.member.sum(axis=0)[:, None])

    @cached_property
    def sums(self) -> Array:
        """(G, p) sums of X over each firing."""
        return np.asarray(self.member.T @ self.X)

    def shrinkage(self, at: _Scales) -> Array:
        """(G, m) k = tau^2 / (sigma^2 + n_g tau^2), so that V^-1 = (I - Z diag(k) Z') / sigma^2."""
        return np.asarray(1.0 / ((at.sigma / at.tau) ** 2 + self.counts))

    def given(self, at: _Scales, y: Array, precision: Array) -> _OfColumns | _OfRows:
        """Coefficients and evidence of y, (n, 1) or (n, m), where D^-1 = diag(precision), (p, m)."""
        n, p = self.X.shape
        if n < p:
            return self._given_few(at, y, 1.0 / precision)
        k, known, totals = self.shrinkage(at), at.sigma**-2.0, self.member.T @ y
        outer = (self.sums.T[:, None] * self.sums.T).reshape(p * p, -1)
        K = ((self.X.T @ self.X).reshape(p * p, 1) - outer @ k).reshape(p, p, -1) * known
        K[range(p), range(p)] += precision
        h = (self.X.T @ y - self.sums.T @ (k * totals)) * known
        rest = (np.sum(y**2, axis=0) - np.sum(k * totals**2, axis=0)) * known  # y'V^-1y
        rest += 2.0 * n * np.log(at.sigma) - np.log1p(-k * self.counts).sum(axis=0)  # log |V|
        root = cholesky(K)
        half = forward(root, h)
        log_det = np.log(precision).sum(axis=0) - 2.0 * np.log(root[range(p), range(p)]).sum(axis=0)
        log_evidence = 0.5 * (log_det - rest + np.sum(half**2, axis=0) - n * _LOG_2_PI)
        return _OfColumns(backward(root, half), root, log_evidence)

    def _given_few(self, at: _Scales, y: Array, variance: Array) -> _OfRows:
        n, p = self.X.shape
        S = ((self.X[:, None] * self.X).reshape(n * n, p) @ variance).reshape(n, n, variance.shape[1])
        S[range(n), range(n)] += at.sigma**2
        i, j = np.nonzero(self.member @ self.member.T)
        S[i, j] += at.tau**2
        root = cholesky(S)
        half = forward(root, y)
        log_det = 2.0 * np.log(root[range(n), range(n)]).sum(axis=0)
        log_evidence = -0.5 * (log_det + np.sum(half**2, axis=0) + n * _LOG_2_PI)
        return _OfRows(self, at, y, variance, root, variance * (self.X.T @ backward(root, half)), log_evidence)


@dataclass(frozen=True, eq=False)
class _Data:
    """All rows; the values seen; the censored ones, `at` in y, turned so that each lies above its limit."""

    whole: _Rows
    seen: _Rows
    y_seen: Array
    at: IntArray
    beyond: _Rows
    limits: Array

    @property
    def floats(self) -> int:
        """In the largest array that one draw needs."""
        n, p = self.whole.X.shape
        return int(max(min(n, p) ** 2, len(self.limits) ** 2, p * len(self.limits), p))

    def unseen(self, found: _OfColumns | _OfRows, at: _Scales) -> tuple[Array, Array]:
        """Means (c, m) and covariances (c, c, m) of the censored values given those seen, their limits apart."""
        # Given b and the values seen, the effect of a firing has mean k sum (y - Xb) and variance k sigma^2.
        member, k, c = self.beyond.member, self.seen.shrinkage(at), len(self.limits)
        own = np.abs(member) @ k
        slope = self.beyond.X.T[:, :, None] - (member @ self.seen.sums).T[:, :, None] * own
        mean = np.einsum("pcm,pm->cm", slope, found.mean) + (member @ self.seen.member.T @ self.y_seen)[:, None] * own
        cover = found.covariance(slope)
        shared = member @ member.T
        i, j = np.nonzero(shared)
        cover[i, j] += shared[i, j, None] * own[i] * at.sigma**2
        cover[range(c), range(c)] += at.sigma**2
        return mean, cover


def _data(likelihood: Likelihood, at: IntArray) -> _Data:
    n = likelihood.y.size
    X, y = likelihood.X[:n], likelihood.y
    member = (likelihood.groups[:n, None] == np.arange(likelihood.n_groups)).astype(float)
    seen = likelihood.censored == 0
    side = likelihood.censored[at].astype(float)
    beyond = _Rows(side[:, None] * X[at], side[:, None] * member[at])
    return _Data(_Rows(X, member), _Rows(X[seen], member[seen]), y[seen], at, beyond, side * y[at])


def _least_likely_first(likelihood: Likelihood, prior: PatternPrior) -> _Data:
    """The data with the censored rows in an order that makes drawing one after the other waste little.

    Ordering by chance: Gibson, Glasbey & Elston 1994 (from memory). It is taken at the middle of the prior of the
    scales, with every factor active.
    """
    data = _data(likelihood, np.flatnonzero(likelihood.censored))
    p = likelihood.n_coef
    at = _scales(prior.mean[p : p + 1 + (likelihood.n_groups > 0), None])
    found = data.seen.given(at, data.y_seen[:, None], _precision(prior, np.array([len(prior.patterns) - 1]), at))
    mean, cover = data.unseen(found, at)
    surplus = (mean[:, 0] - data.limits) / np.sqrt(np.diagonal(cover)[0])
    return _data(likelihood, data.at[np.argsort(surplus, kind="stable")])


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredProposal:
    """What to draw from: the target's parts, and the lattice of pattern, log sigma and log tau."""

    likelihood: Likelihood
    prior: PatternPrior
    data: _Data
    lattice: ScaleLattice

    def rounds(self, sizes: Sequence[int], rng: np.random.Generator) -> Iterator[WeightedDraws]:
        """After each round of `sizes` draws of theta and of the pattern, all so far, weighted."""
        parts: list[WeightedDraws] = []
        for size in sizes:
            parts.append(self.draw(size, rng))
            yield WeightedDraws(
                np.concatenate([part.theta for part in parts]),
                np.concatenate([part.pattern for part in parts]),
                np.concatenate([part.log_ratio for part in parts]),
                light=True,
            )

    def draw(self, tries: int, rng: np.random.Generator) -> WeightedDraws:
        """`tries` weighted draws of theta and of the pattern."""
        likelihood, data, p = self.likelihood, self.data, self.likelihood.n_coef
        place, logs = self.lattice.draw(tries, rng)
        pattern = self.lattice.patterns[place]
        precision = _precision(self.prior, pattern, _scales(logs))
        parts = [_completed(likelihood, data, logs[:, at], precision[:, at], rng) for at in blocks(tries, data.floats)]
        theta = np.ascontiguousarray(np.hstack([part for part, _ in parts]).T)
        log_ratio = _log_prior(self.prior, p, pattern, logs) + np.concatenate([part for _, part in parts])
        log_ratio -= self.lattice.log_density(place, logs)
        if likelihood.beliefs:
            log_ratio += likelihood.log_belief(theta)
        return WeightedDraws(theta, pattern, log_ratio, light=True)


def measured_proposal(likelihood: Likelihood, prior: PatternPrior, nodes: tuple[int, int]) -> MeasuredProposal:
    """What to draw from for one measured outcome.

    Parameters
    ----------
    nodes : of the lattice of log sigma and log tau.
    """
    data, p = _least_likely_first(likelihood, prior), likelihood.n_coef
    held = slice(p, p + 1 + (likelihood.n_groups > 0))

    def log_height(pattern: IntArray, logs: Array) -> Array:
        heights = _log_prior(prior, p, pattern, logs)
        for at in blocks(pattern.size, data.floats):
            scales = _scales(logs[:, at])
            found = data.seen.given(scales, data.y_seen[:, None], _precision(prior, pattern[at], scales))
            heights[at] += found.log_evidence + log_chance_above(*data.unseen(found, scales), data.limits)
        return heights

    mean, sd = prior.mean[held], prior.precision[0, held] ** -0.5
    return MeasuredProposal(likelihood, prior, data, make_lattice(log_height, prior.patterns, mean, sd, nodes))


def _precision(prior: PatternPrior, pattern: IntArray, at: _Scales) -> Array:
    """(p, m) prior precisions of the coefficients under patterns and scales."""
    precision = prior.precision[pattern, : prior.per_sigma.size].T
    return np.where(prior.per_sigma[:, None], precision * at.sigma**-2.0, precision)


def _log_prior(prior: PatternPrior, p: int, pattern: IntArray, logs: Array) -> Array:
    """Log prior (m,) of patterns and of the logs of the scales, (1, m) or (2, m)."""
    scales = slice(p, p + len(logs))
    precision = prior.precision[0, scales, None]
    squares = precision * (logs - prior.mean[scales, None]) ** 2 - np.log(precision) + _LOG_2_PI
    return np.asarray(prior.log_chance[pattern] - 0.5 * squares.sum(axis=0))


def _completed(
    likelihood: Likelihood, data: _Data, logs: Array, precision: Array, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Theta (d, m) given scales, and the log weights (m,) of all but the scales."""
    at = _scales(logs)
    found = data.seen.given(at, data.y_seen[:, None], precision)
    beyond, log_weight = draw_above(*data.unseen(found, at), data.limits, rng)
    log_weight += found.log_evidence
    y = likelihood.y[:, None]
    if data.at.size:
        y = np.repeat(y, at.sigma.size, axis=1)
        y[data.at] = likelihood.censored[data.at, None] * beyond
        found = data.whole.given(at, y, precision)
    coef = found.draw(rng)
    if not likelihood.n_groups:
        return np.vstack([coef, logs]), log_weight
    # Given b and y, the effect of a firing has mean k sum (y - Xb) and variance k sigma^2.
    k = data.whole.shrinkage(at)
    effect = k * (data.whole.member.T @ (y - data.whole.X @ coef))
    effect += at.sigma * np.sqrt(k) * rng.standard_normal(k.shape)
    return np.vstack([coef, logs, effect / at.tau]), log_weight
