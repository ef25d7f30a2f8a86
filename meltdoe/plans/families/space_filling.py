"""Melts spread evenly over the region: a start for sequential work when no model is assumed yet.

A Latin hypercube (McKay, Beckman and Conover 1979, Technometrics 21) whose columns are exchanged while

    phi = ( sum over pairs of melts  d_ij^-15 )^(1/15)

falls, d_ij being the distance in coded units: the melts move apart (Morris and Mitchell 1995, J. Statist. Plann.
Inference 43, from memory). Per-firing factors form a hypercube over firings, the others one over melts.
"""

from __future__ import annotations

import numpy as np

from meltdoe.plans.keep_limits import move_into_limits
from meltdoe.series.coding import contrasts
from meltdoe.series.factor import Amount, Choice, Factor, FloatArray
from meltdoe.series.melt_series import MeltSeries

__all__ = ["spread_out"]

_POWER = 15.0
_STARTS = 3
_EXCHANGES = 60  # per factor
_NEVER_CLOSER = 1e-3


def spread_out(series: MeltSeries, sizes: tuple[int, ...], rng: np.random.Generator) -> FloatArray:
    """A maximin Latin hypercube on the steps, within the limits, constant per firing where it must be.

    Parameters
    ----------
    sizes : melts in each firing.

    Returns
    -------
    (sum(sizes), n_factors) raw settings, firing by firing.

    Raises
    ------
    PlanImpossible
        Where the limits leave nothing near a setting.
    """
    firing = np.repeat(np.arange(len(sizes)), sizes)
    best, best_value = np.empty((0, 0)), (np.inf, np.inf)
    for _start in range(_STARTS):
        cube = _Cube(series, firing, rng)
        cube.improve(rng)
        if cube.value < best_value:
            best, best_value = cube.table(), cube.value
    return move_into_limits(series, best, firing).raw


class _Cube:
    """A Latin hypercube in the making: one column of values per factor, over firings or over melts."""

    def __init__(
        self, series: MeltSeries, firing: np.ndarray[tuple[int], np.dtype[np.int64]], rng: np.random.Generator
    ) -> None:
        self._series, self._firing = series, firing
        self._pairs = np.triu_indices(len(firing), 1)
        named = frozenset().union(*(limit.comparison.names for limit in series.limits))
        self._limited = [factor.name in named for factor in series.factors]
        firings = int(firing[-1]) + 1
        self._columns = [
            rng.permutation(_strata(factor, firings if i in series.per_firing else len(firing), rng))
            for i, factor in enumerate(series.factors)
        ]
        self._apart = [self._squares(i) for i in range(len(self._columns))]
        self.value = (self._broken(), _phi(np.sum(self._apart, axis=0)))

    def table(self) -> FloatArray:
        """Raw settings, shape (n_melts, n_factors)."""
        return np.column_stack([self._over_melts(i) for i in range(len(self._columns))])

    def improve(self, rng: np.random.Generator) -> None:
        """Exchange two values of one column at a time while fewer melts break a limit or melts move apart."""
        total = np.sum(self._apart, axis=0)
        for _exchange in range(_EXCHANGES * len(self._columns)):
            f = int(rng.integers(len(self._columns)))
            column = self._columns[f]
            i, j = rng.integers(len(column), size=2)
            if column[i] == column[j]:
                continue
            column[[i, j]] = column[[j, i]]
            apart = self._squares(f)
            trial = (self._broken() if self._limited[f] else self.value[0], _phi(total - self._apart[f] + apart))
            if trial < self.value:
                total += apart - self._apart[f]
                self._apart[f], self.value = apart, trial
            else:
                column[[i, j]] = column[[j, i]]

    def _over_melts(self, f: int) -> FloatArray:
        return self._columns[f][self._firing] if f in self._series.per_firing else self._columns[f]

    def _squares(self, f: int) -> FloatArray:
        """Squared coded distance of every two melts in one factor."""
        factor, values = self._series.factors[f], self._over_melts(f)
        first, second = self._pairs
        if isinstance(factor, Choice):
            coded = contrasts(len(factor.options))[values.astype(np.int64)]
            return np.asarray(((coded[first] - coded[second]) ** 2).sum(axis=1))
        coded = factor.coded(values)
        return np.asarray((coded[first] - coded[second]) ** 2)

    def _broken(self) -> float:
        return float((~self._series.allowed(self.table())).sum()) if self._series.limits else 0.0


def _phi(squares: FloatArray) -> float:
    """Small where the melts closest to each other are far apart."""
    return float((np.maximum(squares, _NEVER_CLOSER**2) ** (-_POWER / 2.0)).sum() ** (1.0 / _POWER))


def _strata(factor: Factor, count: int, rng: np.random.Generator) -> FloatArray:
    """`count` values at even distances from end to end, on the steps; options in equal shares.

    From end to end rather than in the middle of equal parts: with few melts the ends matter.
    """
    if isinstance(factor, Amount):
        coded = np.linspace(-1.0, 1.0, count) if count > 1 else np.zeros(1)
        return np.clip(factor.snap(factor.decoded(coded)), factor.low, factor.high)
    options = len(factor.options)
    return np.asarray(rng.permutation(options)[np.arange(count) % options], dtype=float)
