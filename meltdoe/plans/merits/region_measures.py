"""How well a plan predicts over the allowed region, what left-out effects would bias, which melts it hangs on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from meltdoe.errors import Inestimable
from meltdoe.plans.merits.aliasing import alias_matrix, correlations
from meltdoe.plans.merits.prediction_variance import Efficiencies, efficiencies, leverages, prediction_variance
from meltdoe.series.coding import Coding
from meltdoe.series.factor import Amount, Factor, FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.terms import Term, cross_terms, square_terms

__all__ = ["RegionMeasures", "region_measures"]

_POINTS = 4096
_MOST_CORNERS = 1024
_SHARES = np.linspace(0.0, 1.0, 41)


@dataclass(frozen=True, eq=False)
class RegionMeasures:
    """A plan judged as a design for a linear model, firings taken as alike.

    Parameters
    ----------
    efficiencies : D, A, G and the average and largest prediction variance; None where the terms cannot be estimated.
    share, variance : (41,) the share of the region, from 0 to 1, where the prediction variance is at most `variance`,
        in melt-to-melt variances; empty where the terms cannot be estimated.
    leverage : (n_melts,) of each melt; 1 is a melt whose result is fitted whatever it is.
    columns, left_out : names of the columns fitted, and of the interactions and squares left out of the model.
    bias : (n_columns, n_left_out) how much of a left-out effect each fitted coefficient takes up.
    correlation : (n, n) between the columns fitted and left out, the constant aside; names in `columns`[1:] and
        `left_out`.
    """

    efficiencies: Efficiencies | None
    share: FloatArray
    variance: FloatArray
    leverage: FloatArray
    columns: tuple[str, ...]
    left_out: tuple[str, ...]
    bias: FloatArray
    correlation: FloatArray

    @property
    def strongest_bias(self) -> tuple[tuple[str, str, float], ...]:
        """(fitted, left out, share) of the entries from 0.1 on, strongest first; the constant aside."""
        rows, columns = np.nonzero(np.abs(self.bias) >= 0.1)
        found = [
            (self.columns[i], self.left_out[j], float(self.bias[i, j])) for i, j in zip(rows, columns, strict=True) if i
        ]
        return tuple(sorted(found, key=lambda entry: -abs(entry[2])))


def region_measures(series: MeltSeries, terms: Sequence[Term], raw: FloatArray) -> RegionMeasures:
    """Measures of a raw table for a constant and `terms`.

    Parameters
    ----------
    raw : (n_melts, n_factors).
    """
    coding = series.coding
    X = coding.matrix(terms, raw)
    left_out = [term for term in (*cross_terms(series.factors), *square_terms(series.factors)) if term not in terms]
    X2 = coding.matrix(left_out, raw)[:, 1:] if left_out else np.empty((len(raw), 0))
    spread, corners = _points(series)
    measured: Efficiencies | None = None
    share, variance = np.empty(0), np.empty(0)
    try:
        F = coding.matrix(terms, spread)
        variance = np.quantile(prediction_variance(X, F), _SHARES)
        share = _SHARES
        moments = F.T @ F / len(F)
        measured = efficiencies(X, np.vstack([F, coding.matrix(terms, corners)]), moments=moments)
    except Inestimable:
        pass
    return RegionMeasures(
        measured, share, variance, leverages(X), coding.column_names(terms), _names(coding, left_out),
        alias_matrix(X, X2), correlations(np.column_stack([X[:, 1:], X2])),
    )  # fmt: skip


def _names(coding: Coding, terms: Sequence[Term]) -> tuple[str, ...]:
    return coding.column_names(terms)[1:]


def _points(series: MeltSeries) -> tuple[FloatArray, FloatArray]:
    """Allowed points spread evenly over the region, and its allowed corners; raw settings.

    An additive recurrence on powers of the generalised golden ratio (Roberts 2018, from memory).
    """
    k = len(series.factors)
    golden = 2.0
    for _ in range(60):  # fixed point of g^(k+1) = g + 1
        golden = (1.0 + golden) ** (1.0 / (k + 1))
    spread = (0.5 + np.outer(np.arange(1, _POINTS + 1), golden ** -np.arange(1.0, k + 1))) % 1.0
    raw = np.column_stack([_between(factor, spread[:, i]) for i, factor in enumerate(series.factors)])
    inside = raw[series.allowed(raw)]
    ends = [[f.low, f.high] if isinstance(f, Amount) else list(map(float, f.grid())) for f in series.factors]
    if np.prod([float(len(values)) for values in ends]) <= _MOST_CORNERS:
        corners = np.array(list(product(*ends)))
        corners = corners[series.allowed(corners)]
    else:
        corners = np.empty((0, k))
    return (inside if len(inside) else raw), corners


def _between(factor: Factor, share: FloatArray) -> FloatArray:
    if isinstance(factor, Amount):
        return np.clip(factor.decoded(2.0 * share - 1.0), factor.low, factor.high)
    return np.minimum(np.floor(share * len(factor.options)), len(factor.options) - 1.0)
