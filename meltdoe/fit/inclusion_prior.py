"""The prior that lets few factors matter much: its scales, its patterns, and its density summed over them.

Each factor is either active or not (probability 0.4). A main effect is N(0, 2^2) where its factor is active and
N(0, 0.3^2) where not; a product or square is N(0, 0.75^2) where all its factors are active and N(0, 0.15^2) where not
(strong heredity). The intercept keeps its own sd. Factors that share a product hang together; the density of the
coefficients is a product over such knots of a sum over the patterns of their factors, so that ten factors with
two products cost 6 knots of two patterns and two of four, not 1,024 patterns.

Two-scale mixtures: George & McCulloch 1993, JASA 88, 881-889; heredity: Chipman 1996, Canadian Journal of Statistics
24, 17-36 (both from memory). The scales are this project's choice, measured against single Gaussians.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from meltdoe.fit.prior import GRADE_INTERCEPT_SD, INTERCEPT_SD, SECOND_ORDER_SD

__all__ = ["InclusionPrior", "Knots", "TermRoles", "knots_of"]

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class InclusionPrior:
    """Sizes of the two-scale prior, log odds (or units of `scale` for measured outcomes).

    Attributes
    ----------
    active : prior probability that a factor matters.
    spike_sd, slab_sd : sd of a main effect of a factor that is not active, and that is.
    second_small_sd, second_large_sd : sd of a product or square unless, and where, all its factors are active.
    intercept_sd : sd of the intercept; the default of the outcome's kind where None.
    """

    active: float = 0.4
    spike_sd: float = 0.3
    slab_sd: float = 2.0
    second_small_sd: float = 0.15
    second_large_sd: float = SECOND_ORDER_SD
    intercept_sd: float | None = None

    def widened(self, factor: float) -> InclusionPrior:
        """The same prior with the sds of all terms but the intercept multiplied by `factor`."""
        return replace(
            self,
            spike_sd=factor * self.spike_sd,
            slab_sd=factor * self.slab_sd,
            second_small_sd=factor * self.second_small_sd,
            second_large_sd=factor * self.second_large_sd,
        )


@dataclass(frozen=True, slots=True)
class TermRoles:
    """Which factors each column of the model matrix is made of, and the order of its term.

    Attributes
    ----------
    factors : one tuple a column, factors counted from 0; () for the intercept and for columns outside the mixture.
    orders : 0 intercept, 1 main effect, 2 or more products and squares. A column without factors and of order
        2 keeps the large sd of second-order terms whatever the pattern.
    """

    factors: tuple[tuple[int, ...], ...]
    orders: tuple[int, ...]

    @property
    def n_factors(self) -> int:
        """Number of factors that the mixture switches."""
        return 1 + max((f for factors in self.factors for f in factors), default=-1)

    def sds(self, prior: InclusionPrior, patterns: BoolArray, kind: str) -> Array:
        """Prior sds (m, p) of all columns under patterns (m, n_factors)."""
        sd = np.empty((len(patterns), len(self.orders)))
        default = GRADE_INTERCEPT_SD if kind == "grade" else INTERCEPT_SD
        for j, (factors, order) in enumerate(zip(self.factors, self.orders, strict=True)):
            active = patterns[:, list(factors)].all(axis=1)
            if order == 0:
                sd[:, j] = prior.intercept_sd or default
            elif order == 1:
                sd[:, j] = np.where(active, prior.slab_sd, prior.spike_sd)
            else:
                sd[:, j] = np.where(active, prior.second_large_sd, prior.second_small_sd)
        return sd


@dataclass(frozen=True, slots=True, eq=False)
class Knots:
    """Knots of equal size, each a set of factors that hang together by shared terms, with every pattern of them.

    Attributes
    ----------
    factors : (k, size) the factors of each knot.
    patterns : (m, size) all patterns of as many factors.
    log_prior : (m, k) log prior probabilities and the constants of the Gaussians.
    half_precision : (m, p, k) 1 / (2 sd^2) of the columns that belong to each knot, 0 for the others.
    """

    factors: NDArray[np.int_]
    patterns: BoolArray
    log_prior: Array
    half_precision: Array

    def log_terms(self, coef: Array) -> Array:
        """(m, s, k) log of prior times density of draws (s, p), pattern by pattern."""
        return np.asarray(self.log_prior[:, None, :] - coef**2 @ self.half_precision)

    def log_density(self, coef: Array) -> Array:
        """(s,) log density of draws (s, p), summed over patterns and knots."""
        logs = self.log_terms(coef)
        top = logs.max(axis=0)
        return np.asarray((top + np.log(np.exp(logs - top).sum(axis=0))).sum(axis=1))

    def pattern_chances(self, coef: Array) -> Array:
        """(m, s, k) chance of every pattern given coefficients (s, p)."""
        logs = self.log_terms(coef)
        chances = np.exp(logs - logs.max(axis=0))
        return np.asarray(chances / chances.sum(axis=0))


def knots_of(roles: TermRoles, prior: InclusionPrior, kind: str) -> tuple[Knots, ...]:
    """Part the factors into knots; the columns without factors form one of size 0 with a single pattern."""
    group = list(range(roles.n_factors))
    for factors in roles.factors:
        for other in factors[1:]:
            old, new = group[other], group[factors[0]]
            group = [new if g == old else g for g in group]
    sets: list[list[int]] = [[]]
    sets += [[f for f in range(roles.n_factors) if group[f] == g] for g in sorted(set(group))]
    sizes = sorted({len(members) for members in sets})
    return tuple(
        _same_size([members for members in sets if len(members) == size], roles, prior, kind) for size in sizes
    )


def _same_size(sets: list[list[int]], roles: TermRoles, prior: InclusionPrior, kind: str) -> Knots:
    size, p = len(sets[0]), len(roles.factors)
    every = list(product([False, True], repeat=size))
    patterns = np.array(every, dtype=bool).reshape(len(every), size)
    log_prior = np.empty((len(every), len(sets)))
    half_precision = np.zeros((len(every), p, len(sets)))
    active = patterns.sum(axis=1)
    for i, members in enumerate(sets):
        own = [j for j in range(p) if (set(roles.factors[j]) <= set(members)) and bool(roles.factors[j]) == (size > 0)]
        whole = np.zeros((len(every), roles.n_factors), dtype=bool)
        whole[:, members] = patterns
        sd = roles.sds(prior, whole, kind)[:, own]
        log_prior[:, i] = active * np.log(prior.active) + (size - active) * np.log1p(-prior.active)
        log_prior[:, i] -= np.log(sd).sum(axis=1)
        half_precision[:, own, i] = 0.5 * sd**-2.0
    return Knots(np.array(sets, dtype=int).reshape(len(sets), size), patterns, log_prior, half_precision)
