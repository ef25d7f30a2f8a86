"""Mode and curvature of a posterior: the cheap approximation, and the start of everything exact.

The log posterior of theta is the log likelihood (`likelihood.py`) plus a Gaussian N(mu, P^-1) on all of theta:
coefficients from `Prior`, log gaps, log sigma and the log sd of firings from its `ShapePrior`, firings' z ~ N(0, 1).
Several priors can be climbed at once (one row each), which is what makes enumerating them affordable.

Newton's method with step-halving gives the mode m; H is minus the second derivative there. The log evidence is

    log p(y) ~ l(m) + log N(m; mu, P^-1) + d/2 log 2 pi - 1/2 log |H|      (Laplace; Tierney & Kadane 1986, from memory)

Measured on small separated tables, Laplace limits are off by about 0.7 posterior sd: fit for screening settings
and rehearsing plans, not for printing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from meltdoe.fit.model.likelihood import Likelihood
from meltdoe.fit.model.prior import Prior

__all__ = ["LogPosterior", "Mode", "climb", "draw_t", "log_t_density", "made_positive", "make_log_posterior"]

Array = NDArray[np.float64]

_MOST_STEPS = 60
_MOST_HALVINGS = 30
_PROPOSAL_DF = 7.0  # a Gaussian proposal left k-hat up to 0.95 on separated tables


@dataclass(frozen=True, slots=True, eq=False)
class LogPosterior:
    """Log posterior density under each of m Gaussian priors.

    Attributes
    ----------
    likelihood : the data.
    mean : (m, d) prior means of theta.
    precision : (m, d, d) prior precisions.
    """

    likelihood: Likelihood
    mean: Array
    precision: Array

    def under(self, index: NDArray[np.int_]) -> LogPosterior:
        """The same under some of the priors."""
        return LogPosterior(self.likelihood, self.mean[index], self.precision[index])

    def log_prior(self, theta: Array) -> Array:
        """(m,) normalised log prior, row i of theta under prior i."""
        away = theta - self.mean
        squares = np.einsum("mi,mij,mj->m", away, self.precision, away)
        constant = 0.5 * np.linalg.slogdet(self.precision)[1] - 0.5 * theta.shape[1] * np.log(2.0 * np.pi)
        return np.asarray(constant - 0.5 * squares)

    def value(self, theta: Array) -> Array:
        """(m,) log likelihood plus log prior, row i under prior i."""
        return self.likelihood.log_likelihood(theta) + self.log_prior(theta)


@dataclass(frozen=True, slots=True, eq=False)
class Mode:
    """Modes under m priors.

    Attributes
    ----------
    theta : (m, d) modes.
    covariance : (m, d, d) inverse of minus the second derivatives.
    log_evidence : (m,) Laplace approximations of log p(y).
    """

    theta: Array
    covariance: Array
    log_evidence: Array


def make_log_posterior(likelihood: Likelihood, prior: Prior) -> LogPosterior:
    """Gaussian prior of all of theta from the prior of the coefficients and of the shape."""
    p = likelihood.n_coef
    if prior.mean.shape != (p,) or prior.precision.shape != (p, p):
        raise ValueError(f"the prior is for {prior.mean.size} columns, X has {p}")
    shape = prior.shape
    one = shape.log_gap if likelihood.kind == "grade" else shape.log_sigma
    means, sds = [one[0]] * likelihood.n_shape, [one[1]] * likelihood.n_shape
    if likelihood.n_groups:
        means += [shape.log_group_sd[0]] + [0.0] * likelihood.n_groups
        sds += [shape.log_group_sd[1]] + [1.0] * likelihood.n_groups
    precision = np.diag(np.concatenate([np.zeros(p), np.array(sds) ** -2.0]))
    precision[:p, :p] = prior.precision
    return LogPosterior(likelihood, np.concatenate([prior.mean, means])[None], precision[None])


def climb(target: LogPosterior) -> Mode:
    """Newton's method with step-halving from the prior means, all priors at once."""
    theta = target.mean.copy()
    value = target.value(theta)
    left = np.arange(len(theta))
    for _ in range(_MOST_STEPS):
        gradient, H = _slope(target.under(left), theta[left])
        step = np.linalg.solve(H, gradient[..., None])[..., 0]
        # Decrement g' H^-1 g: twice the height still to be gained.
        far = np.einsum("md,md->m", gradient, step) >= 1e-9
        left, step = left[far], step[far]
        if not left.size:
            break
        to_go = np.arange(left.size)
        for _ in range(_MOST_HALVINGS):
            at = left[to_go]
            trial = theta[at] + step[to_go]
            height = target.under(at).value(trial)
            good = height >= value[at] - 1e-10
            theta[at[good]], value[at[good]] = trial[good], height[good]
            to_go = to_go[~good]
            if not to_go.size:
                break
            step[to_go] *= 0.5
        # Those that no step lifts stand as high as rounding lets them.
        left = np.delete(left, to_go)
    _, H = _slope(target, theta)
    d = theta.shape[1]
    log_evidence = value + 0.5 * d * np.log(2.0 * np.pi) - 0.5 * np.linalg.slogdet(H)[1]
    covariance = np.asarray(np.linalg.inv(H), dtype=float)
    return Mode(theta, 0.5 * (covariance + np.swapaxes(covariance, 1, 2)), np.asarray(log_evidence))


def _slope(target: LogPosterior, theta: Array) -> tuple[Array, Array]:
    """Gradient, and minus the second derivatives made positive definite where they are not."""
    found = target.likelihood.derivatives(theta)
    pull = np.einsum("mij,mj->mi", target.precision, theta - target.mean)
    return found.gradient - pull, made_positive(target.precision - found.hessian)


def made_positive(H: Array) -> Array:
    """Symmetric matrices (m, d, d), those that are not positive definite with the signs of their eigenvalues turned."""
    try:
        np.linalg.cholesky(H)
    except np.linalg.LinAlgError:
        values, vectors = np.linalg.eigh(H)
        values = np.maximum(np.abs(values), 1e-3)
        H = (vectors * values[:, None, :]) @ np.swapaxes(vectors, 1, 2)
    return H


def draw_t(mean: Array, covariance: Array, draws: int, rng: np.random.Generator) -> Array:
    """(draws, d) from a multivariate t with 7 degrees of freedom and this scale matrix."""
    z = rng.standard_normal((draws, mean.size)) @ np.linalg.cholesky(covariance).T
    stretch = np.sqrt(_PROPOSAL_DF / rng.chisquare(_PROPOSAL_DF, draws))
    return np.asarray(mean + stretch[:, None] * z)


def log_t_density(theta: Array, mean: Array, covariance: Array) -> Array:
    """(n,) log density of that t at (n, d) points."""
    d, v = mean.size, _PROPOSAL_DF
    root = np.linalg.inv(np.linalg.cholesky(covariance))
    squares = np.sum(((theta - mean) @ root.T) ** 2, axis=1)
    constant = gammaln((v + d) / 2) - gammaln(v / 2) - 0.5 * d * np.log(v * np.pi)
    return np.asarray(constant + np.log(np.diag(root)).sum() - 0.5 * (v + d) * np.log1p(squares / v))
