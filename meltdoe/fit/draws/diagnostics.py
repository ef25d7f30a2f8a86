"""Whether draws can be trusted: split R-hat, effective numbers, Pareto k-hat, sensitivity to the prior.

Sources (from memory): split R-hat, Gelman et al., Bayesian Data Analysis, 3rd ed., section 11.4; Pareto
smoothed importance sampling, Vehtari, Simpson, Gelman, Yao & Gabry 2024, JMLR 25(72); fit of the generalised
Pareto tail, Zhang & Stephens 2009, Technometrics 51, 316-325.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import logsumexp

__all__ = [
    "Diagnostics",
    "PriorSensitivity",
    "effective_draws",
    "importance_effective_draws",
    "pareto_smoothed",
    "prior_sensitivity",
    "split_r_hat",
    "weighted_quantiles",
]

Array = NDArray[np.float64]

R_HAT_LIMIT = 1.1  # of chains of 40 sweeps: with halves of 20 even independent starts and good mixing give 1.03 to 1.07
K_HAT_LIMIT = 0.35  # for 5 and 95 % limits; the usual 0.7 was measured to be too lax for them
IMPORTANCE_DRAWS_LIMIT = 1000.0


@dataclass(frozen=True, slots=True)
class Diagnostics:
    """How the draws were made and how far they can be trusted.

    Attributes
    ----------
    method : "slice", "importance" or "normal".
    r_hat : largest split R-hat over the parameters; nan where there are no chains.
    effective : smallest effective number of draws over the parameters.
    k_hat : Pareto k-hat of the importance weights; nan where there are none.
    sweeps : sweeps kept by each chain.
    trusted : whether the draws are good enough for 5 and 95 % limits.
    """

    method: str
    r_hat: float
    effective: float
    k_hat: float
    sweeps: int
    trusted: bool


@dataclass(frozen=True, slots=True)
class PriorSensitivity:
    """A posterior figure under narrower and wider priors.

    Attributes
    ----------
    factors : multiples of the prior sds; 1 is the prior that was used.
    values : the posterior mean of the figure under each.
    k_hats : Pareto k-hat of each reweighting; above 0.7 the value is not to be relied on.
    depends_on_prior : whether a value moved by more than the tolerance.
    """

    factors: tuple[float, ...]
    values: tuple[float, ...]
    k_hats: tuple[float, ...]
    depends_on_prior: bool


def split_r_hat(chains: Array) -> Array:
    """Split R-hat of each parameter.

    Parameters
    ----------
    chains : (n_sweeps, n_chains, d), at least four sweeps.

    Returns
    -------
    (d,); 1 where chains agree.
    """
    half = chains.shape[0] // 2
    parts = np.concatenate([chains[:half], chains[-half:]], axis=1)
    within = parts.var(axis=0, ddof=1).mean(axis=0)
    between = half * parts.mean(axis=0).var(axis=0, ddof=1)
    return np.asarray(np.sqrt(((half - 1) / half * within + between / half) / within))


def effective_draws(chains: Array) -> Array:
    """Effective number of draws for the mean of each parameter, from the spread of the chains' means.

    With hundreds of independent chains the variance of the grand mean is var(chain means) / n_chains without
    any estimate of autocorrelation.

    Parameters
    ----------
    chains : (n_sweeps, n_chains, d).
    """
    n_chains = chains.shape[1]
    spread = chains.mean(axis=0).var(axis=0, ddof=1)
    total = chains.reshape(-1, chains.shape[2]).var(axis=0)
    return np.asarray(n_chains * total / np.maximum(spread, 1e-300))


def importance_effective_draws(weights: Array) -> float:
    """Kish's effective number 1 / sum w^2 of normalised weights (n,)."""
    return float(1.0 / np.sum(weights**2))


def pareto_smoothed(log_ratios: Array) -> tuple[Array, float]:
    """Pareto smoothed importance weights.

    Parameters
    ----------
    log_ratios : (n,) log (target / proposal), up to a constant; n of 25 or more.

    Returns
    -------
    weights (n,), summing to 1, and k-hat. Weights that hardly vary give k-hat -inf.
    """
    n = log_ratios.size
    logs = log_ratios - log_ratios.max()
    tail = int(min(n // 5, np.ceil(3.0 * np.sqrt(n))))
    order = np.argsort(logs, kind="stable")
    largest = order[-tail:]
    cut = logs[order[-tail - 1]]
    excess = np.exp(logs[largest]) - np.exp(cut)
    k_hat = -np.inf
    if tail >= 5 and excess[-1] > 1e-10 and excess[0] >= 0.0:
        k_hat, sigma = _fit_generalised_pareto(np.maximum(excess, 1e-300))
        # Order statistics of the fitted tail replace the raw ones; none may pass the largest raw weight.
        u = (np.arange(1, tail + 1) - 0.5) / tail
        quantiles = sigma * np.expm1(-k_hat * np.log1p(-u)) / k_hat if k_hat else -sigma * np.log1p(-u)
        logs = logs.copy()
        logs[largest] = np.minimum(np.log(np.exp(cut) + quantiles), 0.0)
    weights = np.exp(logs - logsumexp(logs))
    return weights, float(k_hat)


def _fit_generalised_pareto(x: Array) -> tuple[float, float]:
    """Shape and scale of ascending excesses x > 0: the profile-posterior mean of Zhang & Stephens 2009.

    The shape is drawn a little towards 1/2, as if ten more points had it (Vehtari et al. 2024).
    """
    n = x.size
    m = 30 + int(np.sqrt(n))
    grid = np.arange(1, m + 1)
    b = 1.0 / x[-1] + (1.0 - np.sqrt(m / (grid - 0.5))) / (3.0 * x[int(n / 4.0 + 0.5) - 1])
    k = np.log1p(-b[:, None] * x).mean(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        profile = n * (np.log(-b / k) - k - 1.0)
    profile = np.where(np.isfinite(profile), profile, -np.inf)
    weight = np.exp(profile - logsumexp(profile))
    best = float(weight @ b)
    shape = float(np.log1p(-best * x).mean())
    sigma = -shape / best
    return (n * shape + 10 * 0.5) / (n + 10), sigma


def weighted_quantiles(values: ArrayLike, weights: ArrayLike, probabilities: ArrayLike) -> Array:
    """Quantiles of weighted draws, interpolated between the midpoints of the cumulated weights.

    Parameters
    ----------
    values : (n, ...) draws along the first axis.
    weights : (n,) non-negative.
    probabilities : (k,) between 0 and 1.

    Returns
    -------
    (k, ...).
    """
    x = np.asarray(values, dtype=float)
    w = np.asarray(weights, dtype=float)
    p = np.atleast_1d(np.asarray(probabilities, dtype=float))
    flat = x.reshape(x.shape[0], -1)
    order = np.argsort(flat, axis=0, kind="stable")
    result = np.empty((p.size, flat.shape[1]))
    for j in range(flat.shape[1]):
        ranked = w[order[:, j]]
        middle = (np.cumsum(ranked) - 0.5 * ranked) / ranked.sum()
        result[:, j] = np.interp(p, middle, flat[order[:, j], j])
    return result.reshape(p.size, *x.shape[1:])


def prior_sensitivity(
    coef: Array,
    weights: Array,
    mean: Array,
    precision: Array,
    figure: Array,
    *,
    factors: tuple[float, ...] = (0.67, 1.0, 1.5),
    tolerance: float = 0.1,
) -> PriorSensitivity:
    """How far a posterior figure leans on the widths of the prior, by reweighting the draws.

    Parameters
    ----------
    coef : (n, p) draws of the coefficients.
    weights : (n,) their weights.
    mean, precision : (p,), (p, p) of the Gaussian prior that was used.
    figure : (n,) the figure in each draw, for example chance >= 0.8 as 0 or 1.
    factors : multiples of the prior sds to try.
    tolerance : largest move of the posterior mean of `figure` that still counts as none.
    """
    away = coef - mean
    squares = np.einsum("ni,ij,nj->n", away, precision, away)
    values, k_hats = [], []
    with np.errstate(divide="ignore"):
        log_weights = np.log(weights)
    for factor in factors:
        if factor == 1.0:
            values.append(float(weights @ figure))
            k_hats.append(-np.inf)
            continue
        smooth, k_hat = pareto_smoothed(log_weights - 0.5 * squares * (factor**-2 - 1.0))
        values.append(float(smooth @ figure))
        k_hats.append(k_hat)
    base = float(weights @ figure)
    moved = max(abs(value - base) for value in values) > tolerance
    return PriorSensitivity(tuple(factors), tuple(values), tuple(k_hats), moved)
