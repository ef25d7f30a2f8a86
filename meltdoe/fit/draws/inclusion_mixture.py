"""Posterior under the two-scale inclusion prior (`inclusion_prior.py`), averaged over the patterns of active factors.

    p(theta | y) = sum_g P(g | y) p(theta | g, y),   P(g | y) proportional to P(g) p(y | g)

For up to thirteen factors every pattern g is a Gaussian prior, and weighted draws are pooled over patterns, so that
their weights are right for patterns and parameters at once: measured outcomes nearly in closed form
(`measured_patterns.py`), pass/fail and graded ones around their modes (`pattern_modes.py`). Where those weights are not
to be trusted, and for more factors, chains (`chains.py`) move under the prior summed over patterns, and patterns are
drawn given the coefficients. Beyond thirteen factors the chains agree poorly and the diagnostics say so.

Beliefs that may be wrong as a whole (`doubted_beliefs.py`) enter as a further weight of the draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, Unpack

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import logsumexp

from meltdoe.fit.draws.chains import chain_draws
from meltdoe.fit.draws.diagnostics import Diagnostics, importance_effective_draws, pareto_smoothed
from meltdoe.fit.draws.laplace import make_log_posterior
from meltdoe.fit.draws.measured_patterns import MeasuredProposal, measured_proposal
from meltdoe.fit.draws.pattern_draws import WeightedDraws, every_pattern, systematic
from meltdoe.fit.draws.pattern_modes import ModeProposal, mode_proposal
from meltdoe.fit.draws.posterior_draws import Posterior, gather
from meltdoe.fit.model.doubted_beliefs import Doubt, DoubtedBeliefs, make_doubt
from meltdoe.fit.model.inclusion_density import inclusion_density
from meltdoe.fit.model.inclusion_prior import InclusionPrior, TermRoles
from meltdoe.fit.model.likelihood import Likelihood, Observed, make_likelihood
from meltdoe.fit.model.prior import independent_prior
from meltdoe.series.outcome import OutcomeKind

__all__ = ["Effort", "MixturePosterior", "mixture_posterior"]

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

Effort = Literal["full", "refit", "draft"]

_DRAWS: dict[Effort, int] = {"full": 4000, "refit": 1000, "draft": 400}
_NODES: dict[Effort, tuple[int, int]] = {
    "full": (9, 8),
    "refit": (7, 5),
    "draft": (7, 5),
}  # of log sigma and log sd of firings
# Rounds of weighted draws for each draw that is kept, until the weights can be trusted. The three first are judged
# together: how many draws each pattern gets is learnt from round to round.
_ROUNDS: dict[Effort, tuple[int, ...]] = {
    "full": (1, 1, 2, 4, 8, 16, 32, 64, 128),
    "refit": (1, 1, 2, 4, 8),
    "draft": (1, 1, 2),
}
_FIRST_ROUNDS = 3
_MEASURED_ROUNDS: dict[Effort, tuple[int, ...]] = {"full": (2, 6, 24), "refit": (2, 6), "draft": (2,)}
_FEWEST = 1000  # draws that rounds are multiples of, where not a draft
# The limit for more than 2,200 draws (Vehtari et al. 2024, J. Mach. Learn. Res. 25(72)).
_K_HAT_LIMIT = 0.7
_EFFECTIVE_LIMIT = 800.0
# No weight is without bound here, as every proposal has the heavier tails, and k-hat only says what has not been seen
# yet. Limits by this many effective draws were measured to lie as near to those of 300,000 draws where k-hat is above
# its limit (by 0.09 posterior sds on average) as where it is below (0.10; 0.12 with fewer effective draws).
_PLENTY = 4000.0
# Each factor doubles the patterns: a full fit of 13 takes 2 to 3 s, and many quicker ones must not wait for as long.
_MOST_FACTORS: dict[Effort, int] = {"full": 13, "refit": 11, "draft": 11}
_MOST_KEPT = 65_536  # draws with their weights; 26 coefficients take 14 MB
_MOST_SIZED = 11  # factors up to which `size_move` gains the chains more than it takes


@dataclass(frozen=True, slots=True, eq=False)
class MixturePosterior:
    """Draws averaged over patterns, and how likely each factor is to matter.

    Attributes
    ----------
    posterior : draws over all patterns, of equal weight.
    inclusion : (n_factors,) posterior probability that each factor is active.
    patterns : (m, n_factors) patterns that occur, True where active; one may come once for each class of series.
    pattern_chances : (m,) their posterior probabilities.
    right : posterior chance that the doubted beliefs are right, NaN where there are none.
    tried : of a full fit by patterns, the draws behind `posterior` with the weights they had before smoothing. They
        reach further than the posterior, for weighing anew where its own draws are too near together.
    """

    posterior: Posterior
    inclusion: Array
    patterns: BoolArray
    pattern_chances: Array
    right: float = np.nan
    tried: Posterior | None = None


def mixture_posterior(
    X: ArrayLike,
    y: ArrayLike,
    kind: OutcomeKind = "pass",
    *,
    factors: Sequence[Sequence[int]] | None = None,
    orders: Sequence[int] | None = None,
    prior: InclusionPrior | None = None,
    seed: int = 0,
    draws: int | None = None,
    effort: Effort = "full",
    doubted: DoubtedBeliefs | None = None,
    **observed: Unpack[Observed],
) -> MixturePosterior:
    """Posterior under the two-scale prior.

    Parameters
    ----------
    X, y, kind, observed : as in `posterior_draws.posterior`.
    factors : for each column of X the factors it is made of, counted from 0: () for the intercept, (0,) for a main
        effect (all contrasts of one choice factor name it) or a square, (0, 1) for a product. By default column j is
        the main effect of factor j - 1.
    orders : order of each column's term (0 intercept, 1 main effect, 2 or more products and squares); by default the
        number of factors in it, so it must be given where there are squares.
    prior : sizes of the prior.
    seed : the same seed gives the same draws.
    draws : number of draws; 4,000, or 400 of a draft.
    effort : "refit" never goes over to chains, for fits made many times beside one that may; "draft" looks at fewer
        places and takes what it finds, good enough for a rehearsal and never trusted.
    doubted : beliefs that may be wrong as a whole, in the outcome's own units; those of `observed` are never doubted.

    Raises
    ------
    ValueError : shapes or values that do not fit.
    """
    likelihood = make_likelihood(X, y, kind, **observed)
    sizes = prior or InclusionPrior()
    made_of = [((j - 1,) if j else ()) for j in range(likelihood.n_coef)] if factors is None else factors
    members = tuple(tuple(f) for f in made_of)
    roles = TermRoles(members, tuple(len(m) for m in members) if orders is None else tuple(orders))
    if not len(roles.factors) == len(roles.orders) == likelihood.n_coef:
        raise ValueError(f"factors and orders must name all {likelihood.n_coef} columns of X")
    rng = np.random.default_rng(seed)
    draws = draws or _DRAWS[effort]
    doubt = None
    if doubted is not None and doubted.beliefs:
        base = make_log_posterior(likelihood, independent_prior(np.zeros(likelihood.n_coef), 1.0))
        own = slice(likelihood.n_coef, likelihood.n_coef + likelihood.n_shape)
        shape_prior = base.mean[0, own], np.diagonal(base.precision[0])[own] ** -0.5
        # A generator of its own: which draws are tried does not depend on the beliefs.
        doubt = make_doubt(doubted, likelihood, shape_prior, roles, sizes, np.random.default_rng([seed, 1]))
    if roles.n_factors <= _MOST_FACTORS[effort]:
        found = _by_patterns(likelihood, roles, sizes, draws, rng, effort, doubt)
        if effort != "full" or found.posterior.diagnostics.trusted:
            return found
    return _by_chains(likelihood, roles, sizes, draws, rng, effort, doubt)


def _by_patterns(
    likelihood: Likelihood,
    roles: TermRoles,
    sizes: InclusionPrior,
    draws: int,
    rng: np.random.Generator,
    effort: Effort,
    doubt: Doubt | None = None,
) -> MixturePosterior:
    """All patterns enumerated, and weighted draws resampled."""
    prior = every_pattern(likelihood, roles, sizes)
    proposal: MeasuredProposal | ModeProposal
    if likelihood.kind == "measured":
        proposal, multiples, first = measured_proposal(likelihood, prior, _NODES[effort]), _MEASURED_ROUNDS[effort], 1
    else:
        proposal, multiples = mode_proposal(likelihood, prior, _NODES[effort][1]), _ROUNDS[effort]
        first = _FIRST_ROUNDS
    unit = draws if effort == "draft" else max(draws, _FEWEST)
    for i, drawn in enumerate(proposal.rounds([unit * multiple for multiple in multiples], rng), start=1):
        if i < first:
            continue
        judged = drawn
        if doubt is not None:
            judged = replace(drawn, log_ratio=drawn.log_ratio + doubt.log_weight(drawn.theta))
        weights, found = _weighed(judged, effort)
        if found.trusted:
            break
    chances = np.bincount(drawn.pattern, weights, minlength=len(prior.patterns)).astype(float)
    theta = drawn.theta[systematic(weights, draws, rng)]
    equal = np.full(draws, 1.0 / draws)
    right = np.nan if doubt is None else float(weights @ doubt.right(drawn.theta))
    made = gather(likelihood, theta, equal, found)
    tried = _tried(likelihood, judged, found) if effort == "full" else None
    return MixturePosterior(made, chances @ prior.patterns, prior.patterns, chances, right, tried)


def _tried(likelihood: Likelihood, drawn: WeightedDraws, found: Diagnostics) -> Posterior:
    """All draws, or an even selection from so many, as they were before smoothing and resampling."""
    kept = slice(None, None, max(1, -(-len(drawn.theta) // _MOST_KEPT)))
    log_ratio = drawn.log_ratio[kept]
    return gather(likelihood, drawn.theta[kept], np.exp(log_ratio - logsumexp(log_ratio)), found)


def _weighed(drawn: WeightedDraws, effort: Effort) -> tuple[Array, Diagnostics]:
    """Normalised weights, and how far to trust them."""
    if drawn.light:
        # Needs no smoothing, and many weights alike would only mislead it.
        weights, k_hat = np.exp(drawn.log_ratio - logsumexp(drawn.log_ratio)), np.nan
    else:
        weights, k_hat = pareto_smoothed(drawn.log_ratio)
    effective = importance_effective_draws(weights)
    enough = effective >= _PLENTY or (effective >= _EFFECTIVE_LIMIT and not k_hat > _K_HAT_LIMIT)
    trusted = effort != "draft" and enough
    return weights, Diagnostics("importance", np.nan, effective, k_hat, 0, trusted)


def _by_chains(
    likelihood: Likelihood,
    roles: TermRoles,
    sizes: InclusionPrior,
    draws: int,
    rng: np.random.Generator,
    effort: Effort,
    doubt: Doubt | None = None,
) -> MixturePosterior:
    """Chains under the prior summed over patterns and classes of series."""
    p, density = likelihood.n_coef, inclusion_density(roles, sizes, likelihood.kind)
    per_sigma = roles.per_sigma(likelihood.kind)
    usual = make_log_posterior(likelihood, independent_prior(np.zeros(p), 1.0)).mean[0]
    unit = np.where(per_sigma, np.exp(usual[p]), 1.0) if per_sigma.any() else np.ones(p)
    # The start: a Gaussian with the mixture's variances, at the middle of the prior of sigma.
    target = make_log_posterior(likelihood, independent_prior(np.zeros(p), unit * np.sqrt(density.variance())))
    mean, precision = target.mean[0, p:], np.diag(target.precision[0])[p:]

    def units(theta: Array) -> Array:
        """What the coefficients of each draw are measured in, (m, p)."""
        if not per_sigma.any():
            return np.ones((len(theta), p))
        return np.where(per_sigma, np.exp(theta[:, p, None]), 1.0)

    def log_prior(theta: Array) -> Array:
        value = density.log_density(theta[:, :p] / units(theta)) - 0.5 * (theta[:, p:] - mean) ** 2 @ precision
        return np.asarray(value - theta[:, p] * per_sigma.sum() if per_sigma.any() else value)

    def precision_given(theta: Array, rng: np.random.Generator) -> Array:
        each = units(theta)
        return np.asarray((each * density.given(theta[:, :p] / each, rng)[1]) ** -2.0)

    sized = [j for j, order in enumerate(roles.orders) if order] if roles.n_factors <= _MOST_SIZED else []
    theta, found = chain_draws(target, rng, draws, log_prior, precision_given, sized=sized, long=effort == "full")
    right = np.nan
    if doubt is not None:
        log_weight = doubt.log_weight(theta)
        weights = np.exp(log_weight - logsumexp(log_weight))
        right = float(weights @ doubt.right(theta))
        found = replace(found, effective=found.effective * importance_effective_draws(weights) / len(theta))
        theta = theta[systematic(weights, len(theta), rng)]
    drawn, _, inclusion = density.given(theta[:, :p] / units(theta), rng)
    patterns, count = np.unique(drawn, axis=0, return_counts=True)
    equal = np.full(len(theta), 1.0 / len(theta))
    return MixturePosterior(gather(likelihood, theta, equal, found), inclusion, patterns, count / len(theta), right)
