"""Beliefs that may be wrong as a whole: a prior that mixes them with the ordinary one.

With pi the ordinary prior, B the likelihood of the beliefs (`meltdoe.fit.model.prior`), Z = integral of pi B, and w the
trust in them,

    p(theta) = w pi(theta) B(theta) / Z + (1 - w) pi(theta),

a robust mixture prior (Schmidli et al. 2014, Biometrics 70, 1023-1032, there for historical controls; from memory).
Bayes' theorem turns w into the chance that the beliefs are right given the melts, so that a series that goes
against them soon counts them for little, where beliefs that nobody doubts keep their worth for ever. A draw from the
posterior under pi becomes one under p with the weight w B / Z + 1 - w. Z is a mean over draws from pi.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logsumexp

from meltdoe.fit.model.inclusion_prior import InclusionPrior, TermRoles
from meltdoe.fit.model.likelihood import Likelihood, make_likelihood
from meltdoe.fit.model.prior import Belief

__all__ = ["Doubt", "DoubtedBeliefs", "make_doubt"]

Array = NDArray[np.float64]

_PRIOR_DRAWS = 4000


@dataclass(frozen=True, slots=True)
class DoubtedBeliefs:
    """Beliefs in the outcome's own units, and the chance, between 0 and 1, that they are right as a whole."""

    beliefs: tuple[Belief, ...]
    trust: float


@dataclass(frozen=True, slots=True, eq=False)
class Doubt:
    """Doubted beliefs ready to weigh draws of one outcome's parameters.

    Attributes
    ----------
    told : likelihood of the beliefs alone, which knows neither melts nor firings.
    log_mean : log Z. log_odds : of the trust.
    """

    told: Likelihood
    log_mean: float
    log_odds: float

    def log_weight(self, theta: Array) -> Array:
        """(m,) log of w B / Z + 1 - w at (m, d) parameter vectors of the outcome."""
        return np.asarray(np.logaddexp(self._surplus(theta), 0.0) - np.logaddexp(self.log_odds, 0.0))

    def right(self, theta: Array) -> Array:
        """(m,) chance that the beliefs are right, given the parameters."""
        return np.asarray(expit(self._surplus(theta)))

    def _surplus(self, theta: Array) -> Array:
        return self.log_odds + self.told.log_likelihood(theta[:, : self.told.size]) - self.log_mean


def make_doubt(
    doubted: DoubtedBeliefs,
    likelihood: Likelihood,
    shape_prior: tuple[Array, Array],
    roles: TermRoles,
    sizes: InclusionPrior,
    rng: np.random.Generator,
) -> Doubt:
    """Put the beliefs beside the likelihood of the melts.

    Parameters
    ----------
    shape_prior : means and sds (n_shape,) of the shape parameters.
    roles, sizes : the ordinary prior of the coefficients.

    Raises
    ------
    ValueError : beliefs that do not fit the outcome, or a trust that is not between 0 and 1.
    """
    if not 0.0 < doubted.trust < 1.0:
        raise ValueError(f"the trust in doubted beliefs must lie strictly between 0 and 1, not {doubted.trust}")
    told = make_likelihood(
        np.empty((0, likelihood.n_coef)),
        np.empty(0),
        likelihood.kind,
        beliefs=doubted.beliefs,
        n_grades=likelihood.n_grades,
        bounds=likelihood.bounds,
        centre=likelihood.centre,
        scale=likelihood.scale,
    )
    theta = _from_the_prior(likelihood, shape_prior, roles, sizes, rng)
    log_mean = float(logsumexp(told.log_likelihood(theta)) - np.log(len(theta)))
    return Doubt(told, log_mean, float(np.log(doubted.trust) - np.log1p(-doubted.trust)))


def _from_the_prior(
    likelihood: Likelihood,
    shape_prior: tuple[Array, Array],
    roles: TermRoles,
    sizes: InclusionPrior,
    rng: np.random.Generator,
) -> Array:
    """Draws of coefficients and shape parameters, (m, p + q), from every class of series in turn."""
    p, q, k = likelihood.n_coef, likelihood.n_shape, roles.n_factors
    scales = [
        (scale.sizes, c, a) for scale in sizes.scales(k) for c, a in zip(scale.log_chances, scale.active, strict=True)
    ]
    counts = rng.multinomial(_PRIOR_DRAWS, np.exp([chance for _, chance, _ in scales]))
    sds = np.vstack(
        [
            roles.sds(own, rng.random((count, k)) < active, likelihood.kind)
            for (own, _, active), count in zip(scales, counts.tolist(), strict=True)
        ]
    )
    theta = rng.standard_normal((_PRIOR_DRAWS, p + q))
    theta[:, p:] = shape_prior[0] + theta[:, p:] * shape_prior[1]
    theta[:, :p] *= sds
    per_sigma = roles.per_sigma(likelihood.kind)
    if per_sigma.any():
        theta[:, :p] *= np.where(per_sigma, np.exp(theta[:, p, None]), 1.0)
    return theta
