"""Density of the coefficients under the inclusion prior, and patterns of active factors drawn given coefficients.

Factors that share a product hang together; inside a class of series the density is a product over such knots of a sum
over the patterns of their factors, so that ten factors with two products cost 6 knots of two patterns and two of
four, not 1,024 patterns. The sum over the classes comes last.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from meltdoe.fit.model.inclusion_prior import InclusionPrior, ScaleClass, TermRoles

__all__ = ["InclusionDensity", "inclusion_density"]

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class _Knots:
    """Knots of equal size, each a set of factors that hang together by shared terms, with every pattern of them.

    Attributes
    ----------
    factors : (k, size) the factors of each knot.
    patterns : (m, size) all patterns of as many factors.
    log_chance : (c, m) log prior probabilities of the patterns in each class.
    log_height : (m, k) log constants of the Gaussians.
    half_precision : (m, p, k) 1 / (2 sd^2) of the columns that belong to each knot, 0 for the others.
    """

    factors: NDArray[np.int_]
    patterns: BoolArray
    log_chance: Array
    log_height: Array
    half_precision: Array

    def densities(self, coef: Array) -> tuple[Array, Array]:
        """Densities (m, s, k) of draws (s, p) under each pattern over the largest, and the log of that (s, k)."""
        logs = self.log_height[:, None, :] - coef**2 @ self.half_precision
        top = logs.max(axis=0)
        return np.exp(logs - top), top

    def log_density(self, coef: Array) -> Array:
        """(c, s) log density of draws (s, p) in each class, summed over patterns and knots."""
        each, top = self.densities(coef)
        return np.asarray((np.log(np.tensordot(np.exp(self.log_chance), each, axes=1)) + top).sum(axis=-1))


@dataclass(frozen=True, slots=True, eq=False)
class _OneScale:
    """Classes of series that share their sds, and the knots under these."""

    scale: ScaleClass
    knots: tuple[_Knots, ...]

    def log_classes(self, coef: Array) -> Array:
        """(c, s) log of the probability of each class times its density."""
        within = np.sum([knot.log_density(coef) for knot in self.knots], axis=0)
        return np.asarray(np.array(self.scale.log_chances)[:, None] + within)


@dataclass(frozen=True, slots=True, eq=False)
class InclusionDensity:
    """The prior of the coefficients of one outcome.

    Attributes
    ----------
    roles : what the columns are made of. kind : kind of the outcome.
    """

    roles: TermRoles
    kind: str
    _scales: tuple[_OneScale, ...]

    def log_density(self, coef: Array) -> Array:
        """(s,) log density of coefficients (s, p), up to a constant."""
        return np.asarray(np.logaddexp.reduce(np.vstack([one.log_classes(coef) for one in self._scales]), axis=0))

    def variance(self) -> Array:
        """(p,) variances, up to what a product owes to its factors being active together."""
        on = np.ones((1, self.roles.n_factors), dtype=bool)
        total = np.zeros(len(self.roles.factors))
        for one in self._scales:
            squares = [self.roles.sds(one.scale.sizes, pattern, self.kind)[0] ** 2 for pattern in (on, ~on)]
            for log_chance, active in zip(one.scale.log_chances, one.scale.active, strict=True):
                total += np.exp(log_chance) * (active * squares[0] + (1.0 - active) * squares[1])
        return total

    def given(self, coef: Array, rng: np.random.Generator) -> tuple[BoolArray, Array, Array]:
        """A class and a pattern drawn for each of (s, p) coefficients.

        Returns
        -------
        patterns (s, n_factors), the sds (s, p) that go with them, and the mean chance (n_factors,) that each factor
        is active.
        """
        logs = [one.log_classes(coef) for one in self._scales]
        chances = np.exp(np.vstack(logs) - np.logaddexp.reduce(np.vstack(logs), axis=0))
        chosen = np.minimum((np.cumsum(chances, axis=0) < rng.random(len(coef))).sum(axis=0), len(chances) - 1)
        drawn = np.zeros((len(coef), self.roles.n_factors), dtype=bool)
        sd, inclusion, first = np.empty(coef.shape), np.zeros(self.roles.n_factors), 0
        for one in self._scales:
            for knot in one.knots:
                each, _ = knot.densities(coef)
                for c, chance in enumerate(np.exp(knot.log_chance)):
                    share = chance[:, None, None] * each
                    share /= share.sum(axis=0)
                    mine = chosen == first + c
                    pick = (np.cumsum(share[:, mine], axis=0) < rng.random((mine.sum(), share.shape[2]))).sum(axis=0)
                    pick = np.minimum(pick, len(knot.patterns) - 1)
                    for i, factors in enumerate(knot.factors):
                        drawn[np.ix_(mine, factors)] = knot.patterns[pick[:, i]]
                        inclusion[factors] += (share[:, :, i] @ chances[first + c]) @ knot.patterns / len(coef)
            first += len(one.scale.active)
            mine = (chosen >= first - len(one.scale.active)) & (chosen < first)
            sd[mine] = self.roles.sds(one.scale.sizes, drawn[mine], self.kind)
        return drawn, sd, inclusion


def inclusion_density(roles: TermRoles, prior: InclusionPrior, kind: str) -> InclusionDensity:
    """The density of the coefficients of one outcome, in units of sigma where `TermRoles.per_sigma`."""
    group = list(range(roles.n_factors))
    for factors in roles.factors:
        for other in factors[1:]:
            old, new = group[other], group[factors[0]]
            group = [new if g == old else g for g in group]
    sets: list[list[int]] = [[]]  # the columns without factors form a knot of size 0 with a single pattern
    sets += [[f for f in range(roles.n_factors) if group[f] == g] for g in sorted(set(group))]
    sizes = sorted({len(members) for members in sets})
    scales = [
        _OneScale(
            scale,
            tuple(_same_size([members for members in sets if len(members) == n], roles, scale, kind) for n in sizes),
        )
        for scale in prior.scales(roles.n_factors)
    ]
    return InclusionDensity(roles, kind, tuple(scales))


def _same_size(sets: list[list[int]], roles: TermRoles, scale: ScaleClass, kind: str) -> _Knots:
    size, p = len(sets[0]), len(roles.factors)
    every = list(product([False, True], repeat=size))
    patterns = np.array(every, dtype=bool).reshape(len(every), size)
    log_height = np.empty((len(every), len(sets)))
    half_precision = np.zeros((len(every), p, len(sets)))
    active = np.array(scale.active)[:, None]
    count = patterns.sum(axis=1)
    for i, members in enumerate(sets):
        own = [j for j in range(p) if (set(roles.factors[j]) <= set(members)) and bool(roles.factors[j]) == (size > 0)]
        whole = np.zeros((len(every), roles.n_factors), dtype=bool)
        whole[:, members] = patterns
        sd = roles.sds(scale.sizes, whole, kind)[:, own]
        log_height[:, i] = -np.log(sd).sum(axis=1)
        half_precision[:, own, i] = 0.5 * sd**-2.0
    log_chance = count * np.log(active) + (size - count) * np.log1p(-active)
    return _Knots(np.array(sets, dtype=int).reshape(len(sets), size), patterns, log_chance, log_height, half_precision)
