"""Posterior draws: the one bridge from what was seen to predictions, choices and sentences.

`posterior` runs 200 chains of elliptical slice sampling (`chains.py`) for every kind of outcome alike. Two cheaper
ways, for screening and rehearsal of pass/fail and graded outcomes without firings, give the same `Posterior`:

    method="importance"  t draws around the mode with Pareto smoothed weights; judge by its k-hat
    method="normal"      draws of the Gaussian at the mode; limits off by about 0.7 sd on separated tables

With firings or measurements the mode of a scale and what it scales is far from their mean, and both are poor.

Model and notation: `likelihood.py`; prior: `prior.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Unpack

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, ndtr

from meltdoe.fit.draws.chains import chain_draws
from meltdoe.fit.draws.diagnostics import (
    IMPORTANCE_DRAWS_LIMIT,
    K_HAT_LIMIT,
    Diagnostics,
    importance_effective_draws,
    pareto_smoothed,
    weighted_quantiles,
)
from meltdoe.fit.draws.laplace import LogPosterior, Mode, climb, draw_t, log_t_density, make_log_posterior
from meltdoe.fit.model.likelihood import Likelihood, Observed, make_likelihood
from meltdoe.fit.model.log_chances import log_grade_chances
from meltdoe.fit.model.prior import Prior, default_prior
from meltdoe.series.outcome import OutcomeKind

__all__ = ["Laplace", "Posterior", "gather", "laplace", "posterior"]

Array = NDArray[np.float64]
Method = Literal["slice", "importance", "normal"]

# Gauss-Hermite over the effect of a firing: exact for polynomials of degree 17 in it.
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
_FAR = 80.0  # log odds beyond which a pass is as good as sure, and which single precision still holds


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """Draws of all parameters of one outcome's model, in the outcome's own units.

    Attributes
    ----------
    kind : kind of the outcome.
    draws : (S, d) coefficients, then log gaps or log sigma, then log sd of firings and their z.
    weights : (S,) weights, summing to 1; all alike where the draws are exact.
    diagnostics : how the draws were made and how far to trust them.
    n_coef, n_shape, n_groups, n_grades : sizes of the parts.
    bounds : smallest and largest readable value of a measured outcome.
    """

    kind: OutcomeKind
    draws: Array
    weights: Array
    diagnostics: Diagnostics
    n_coef: int
    n_shape: int
    n_groups: int
    n_grades: int
    bounds: tuple[float, float]

    @property
    def coef(self) -> Array:
        """(S, p) draws of the coefficients."""
        return self.draws[:, : self.n_coef]

    @property
    def shape(self) -> Array:
        """(S, n_shape) draws of the log gaps or of log sigma."""
        return self.draws[:, self.n_coef : self.n_coef + self.n_shape]

    @property
    def group_sd(self) -> Array:
        """(S,) sd of the effect that melts of a firing share; zeros where firings are not modelled."""
        if not self.n_groups:
            return np.zeros(len(self.draws))
        return np.asarray(np.exp(self.draws[:, self.n_coef + self.n_shape]))

    @property
    def mean(self) -> Array:
        """(d,) posterior means."""
        return np.asarray(self.weights @ self.draws)

    @property
    def sd(self) -> Array:
        """(d,) posterior standard deviations."""
        return np.asarray(np.sqrt(self.weights @ (self.draws - self.mean) ** 2))

    def average(self, values: Array) -> Array:
        """Posterior mean of something with one value a draw: (S, ...) -> (...)."""
        return np.asarray(np.tensordot(self.weights, values, axes=1))

    def quantiles(self, values: Array, probabilities: ArrayLike) -> Array:
        """Posterior quantiles of something with one value a draw: (S, ...) -> (k, ...)."""
        return weighted_quantiles(values, self.weights, probabilities)

    def interval(self, values: Array, level: float = 0.90) -> tuple[Array, Array]:
        """Ends of the central interval of something with one value a draw: (S, ...) -> two of (...)."""
        low, high = self.quantiles(values, [0.5 - level / 2.0, 0.5 + level / 2.0])
        return low, high

    def equally_weighted(self, count: int, seed: int = 0) -> Posterior:
        """The same posterior as `count` draws of equal weight, by systematic resampling."""
        at = (np.arange(count) + np.random.default_rng(seed).random()) / count
        pick = np.minimum(np.searchsorted(np.cumsum(self.weights), at), len(self.weights) - 1)
        return self._with(self.draws[pick], np.full(count, 1.0 / count))

    def _with(self, draws: Array, weights: Array) -> Posterior:
        return Posterior(
            self.kind,
            draws,
            weights,
            self.diagnostics,
            self.n_coef,
            self.n_shape,
            self.n_groups,
            self.n_grades,
            self.bounds,
        )

    def linear(self, X: ArrayLike, *, new_group: bool = False, group: int | None = None, seed: int = 0) -> Array:
        """Linear predictor at new settings.

        Parameters
        ----------
        X : (n, p) coded terms.
        new_group : add the effect of one new firing that all rows share, drawn anew for every draw.
        group : add the effect of this firing of the data.
        seed : seed of the new firing's effects.

        Returns
        -------
        (S, n).
        """
        eta = self.coef @ np.atleast_2d(np.asarray(X, dtype=float)).T
        if group is not None:
            if not 0 <= group < self.n_groups:
                raise ValueError(f"firing {group} is not among the {self.n_groups} of the data")
            start = self.n_coef + self.n_shape
            eta += (self.group_sd * self.draws[:, start + 1 + group])[:, None]
        elif new_group:
            z = np.random.default_rng(seed).standard_normal(len(self.draws))
            eta += (self.group_sd * z)[:, None]
        return np.asarray(eta)

    def chance(
        self,
        X: ArrayLike,
        good: Sequence[float] | None = None,
        *,
        new_group: bool = False,
        group: int | None = None,
    ) -> Array:
        """Chance of a good outcome at new settings, in every draw.

        Parameters
        ----------
        X : (n, p) coded terms.
        good : indices of the good grades (grade), or (low, high) of the good values (measured).
        new_group : average over the effect of a new firing.
        group : in this firing of the data.

        Returns
        -------
        (S, n).
        """
        if self.kind == "pass":
            if new_group and group is None and self.n_groups:
                return self._pass_in_new_firing(X)
            return np.asarray(expit(self.linear(X, group=group)))
        if good is None:
            raise ValueError(f"say which values of a {self.kind} outcome are good")
        if self.kind == "grade":
            return np.asarray(
                self.outcome_probabilities(X, new_group=new_group, group=group)[..., [int(g) for g in good]].sum(
                    axis=-1
                )
            )
        low, high = good
        # What piles up at a bound counts as good where the good range reaches it.
        low = -np.inf if low <= self.bounds[0] else low
        high = np.inf if high >= self.bounds[1] else high
        # What a new firing adds is as Gaussian as the rest: their variances add up.
        wider = self.group_sd[:, None] if new_group and group is None else 0.0
        spread, eta = np.hypot(np.exp(self.shape), wider), self.linear(X, group=group)
        within = ndtr((high - eta) / spread) if high < np.inf else np.ones_like(eta)
        if low > -np.inf:
            within -= ndtr((low - eta) / spread)
        return np.asarray(within)

    def outcome_probabilities(self, X: ArrayLike, *, new_group: bool = False, group: int | None = None) -> Array:
        """Chance of every grade at new settings: (S, n, n_grades). Options as in `chance`."""
        if self.kind != "grade":
            raise ValueError(f"a {self.kind} outcome has no grades")
        eta = self.linear(X, group=group)
        if not new_group or group is not None or not self.n_groups:
            return np.exp(log_grade_chances(eta, self.shape))
        parts = (
            weight * np.exp(log_grade_chances(eta + self.group_sd[:, None] * node, self.shape))
            for node, weight in zip(_NODES, _WEIGHTS, strict=True)
        )
        return np.asarray(np.clip(sum(parts), 0.0, 1.0))  # rounding may lift a sum of weights above 1

    def thresholds(self) -> Array:
        """(S, n_grades - 1) thresholds of a graded outcome on the scale of the effects, intercept taken out."""
        steps = np.concatenate([-self.coef[:, :1], np.exp(self.shape)], axis=1)
        return np.cumsum(steps, axis=1)

    def _pass_in_new_firing(self, X: ArrayLike) -> Array:
        """Chance of a pass over the effect of a new firing, (S, n); to 1e-6, since single precision is far quicker."""
        odds = np.exp(np.clip(-self.linear(X), -_FAR, _FAR).astype(np.float32))
        moved, chance, whole = np.empty_like(odds), np.zeros_like(odds), np.float32(0.0)
        with np.errstate(over="ignore"):
            for node, weight in zip(_NODES, _WEIGHTS, strict=True):
                times = np.exp(np.clip(self.group_sd * node, -_FAR, _FAR).astype(np.float32))
                np.multiply(odds, times[:, None], out=moved)
                moved += np.float32(1.0)
                np.divide(np.float32(weight), moved, out=moved)
                chance += moved
                whole += np.float32(weight)  # with the same rounding, so that what is sure is 1
        return np.asarray(np.clip(chance / whole, 0.0, 1.0).astype(float))


@dataclass(frozen=True, slots=True, eq=False)
class Laplace:
    """Gaussian approximation at the posterior mode, in the units the model is fitted in.

    Attributes
    ----------
    mode, covariance : (d,), (d, d).
    log_evidence : approximate log p(y), for comparing priors or terms on the same data.
    """

    mode: Array
    covariance: Array
    log_evidence: float


def posterior(
    X: ArrayLike,
    y: ArrayLike,
    kind: OutcomeKind = "pass",
    prior: Prior | None = None,
    *,
    orders: Sequence[int] | None = None,
    seed: int = 0,
    draws: int = 2000,
    method: Method = "slice",
    **observed: Unpack[Observed],
) -> Posterior:
    """Posterior draws of the model of one outcome.

    Parameters
    ----------
    X : (n, p) coded terms of the melts whose outcome was seen, first column ones; n may be 0.
    y : (n,) outcomes: 0/1 or passes out of `trials`; grade indices, 0 the best; or measured values.
    kind : "pass", "grade" or "measured".
    prior : prior of the coefficients (for measured outcomes in units of `scale`, around `centre`).
    orders : where `prior` is not given, order of each column's term for the default prior: 0 the
        intercept, 1 a main effect, 2 or more products and squares; by default 0, 1, 1, ...
    seed : the same seed gives the same draws.
    draws : number of draws wanted; the slice sampler keeps no fewer.
    method : "slice" (exact), "importance" or "normal" (cheap).
    observed : `trials`, `groups`, `censored`, `bounds`, `n_grades`, `beliefs`, `centre`, `scale`: see
        `likelihood.Observed`.

    Raises
    ------
    ValueError : shapes or values that do not fit.
    """
    likelihood = make_likelihood(X, y, kind, **observed)
    target = make_log_posterior(likelihood, prior or default_prior(_orders(likelihood, orders), kind))
    rng = np.random.default_rng(seed)
    if method == "slice":
        theta, found = chain_draws(target, rng, draws)
        return gather(likelihood, theta, np.full(len(theta), 1.0 / len(theta)), found)
    mode = climb(target)
    if method == "importance":
        return _importance_draws(target, mode, rng, draws)
    theta = rng.multivariate_normal(mode.theta[0], mode.covariance[0], draws, method="cholesky")
    found = Diagnostics("normal", np.nan, float(draws), np.nan, 0, trusted=False)
    return gather(likelihood, theta, np.full(draws, 1.0 / draws), found)


def laplace(
    X: ArrayLike,
    y: ArrayLike,
    kind: OutcomeKind = "pass",
    prior: Prior | None = None,
    *,
    orders: Sequence[int] | None = None,
    **observed: Unpack[Observed],
) -> Laplace:
    """Mode, covariance and evidence alone; parameters as in `posterior`."""
    likelihood = make_likelihood(X, y, kind, **observed)
    found = climb(make_log_posterior(likelihood, prior or default_prior(_orders(likelihood, orders), kind)))
    return Laplace(found.theta[0], found.covariance[0], float(found.log_evidence[0]))


def gather(likelihood: Likelihood, theta: Array, weights: Array, found: Diagnostics) -> Posterior:
    """Draws of theta put into the outcome's own units."""
    p, q = likelihood.n_coef, likelihood.n_shape
    draws = theta.copy()
    if likelihood.kind == "measured":
        draws[:, :p] *= likelihood.scale
        draws[:, 0] += likelihood.centre
        # log sigma, and the log sd of firings where there is one.
        draws[:, p : p + q + (likelihood.n_groups > 0)] += np.log(likelihood.scale)
    return Posterior(
        likelihood.kind,
        draws,
        weights,
        found,
        p,
        q,
        likelihood.n_groups,
        likelihood.n_grades,
        likelihood.bounds,
    )


def _orders(likelihood: Likelihood, orders: Sequence[int] | None) -> Sequence[int]:
    return [0] + [1] * (likelihood.n_coef - 1) if orders is None else orders


def _importance_draws(target: LogPosterior, mode: Mode, rng: np.random.Generator, draws: int) -> Posterior:
    centre, covariance = mode.theta[0], mode.covariance[0]
    theta = draw_t(centre, covariance, draws, rng)
    weights, k_hat = pareto_smoothed(target.value(theta) - log_t_density(theta, centre, covariance))
    effective = importance_effective_draws(weights)
    trusted = k_hat <= K_HAT_LIMIT and effective >= IMPORTANCE_DRAWS_LIMIT
    found = Diagnostics("importance", np.nan, effective, k_hat, 0, trusted)
    return gather(target.likelihood, theta, weights, found)
