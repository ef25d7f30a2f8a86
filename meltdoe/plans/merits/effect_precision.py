"""How precisely a plan shows each effect, before any melt is made.

Model: y = X b + u_firing + e, var(e) = 1 (the melt-to-melt variance), var(u) = eta. With V = I + eta Z Z' the least
squares estimates have covariance (X' V^-1 X)^-1, and V^-1 of a firing of m melts is I - eta / (1 + m eta) 1 1' (Goos
and Vandebroek 2001, Technometrics 43, from memory). An effect whose columns stay the same within each firing is judged
by the differences between firings, the others by those within firings; degrees of freedom are counted stratum by
stratum.

Power for a measured outcome: noncentral t, two-sided. For pass/fail: normal approximation with the information of a
melt taken as p (1 - p), the mean of its values at the two chances (0.16 for 0.2 and 0.8), and firings taken as alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy import linalg, special

from meltdoe.plans.merits.power import t_power
from meltdoe.series.coding import Coding, contrasts
from meltdoe.series.factor import Choice, FloatArray
from meltdoe.series.terms import Term

__all__ = [
    "CHANCES", "EffectPrecision", "Information", "effect_precision", "information", "measured_power", "pass_power",
    "standard_errors",
]  # fmt: skip

_TOLERANCE = 1e-9
CHANCES = (0.2, 0.8)


@dataclass(frozen=True, slots=True)
class EffectPrecision:
    """What a plan can show about one term.

    Parameters
    ----------
    standard_error : of the change from low to high (for a square: from the middle to an end; for a choice: between two
        options), in melt-to-melt standard deviations; infinite where the plan cannot estimate it.
    judged_by : whether the change is compared with differences between firings or between melts.
    df : degrees of freedom of that comparison.
    power_measured : chance of showing a change of `effect` standard deviations; NaN where df is below 1.
    power_pass : chance of showing a pass chance that goes from one value to another, 0.2 to 0.8 unless asked.
    """

    term: Term
    standard_error: float
    judged_by: Literal["firings", "melts"]
    df: int
    power_measured: float
    power_pass: float

    @property
    def estimable(self) -> bool:
        return bool(np.isfinite(self.standard_error))


@dataclass(frozen=True, eq=False)
class Information:
    """Information of a plan about a model.

    Parameters
    ----------
    X : (n_melts, p) model matrix.  owner : (p,) number of the term of each column, -1 for the constant.
    firing : (n_melts,) firing numbers from 0.  eta : firing variance over melt variance.
    """

    X: FloatArray
    owner: npt.NDArray[np.int64]
    firing: npt.NDArray[np.int64]
    eta: float

    @property
    def matrix(self) -> FloatArray:
        """X' V^-1 X, shape (p, p)."""
        size = np.bincount(self.firing).astype(float)
        sums = np.zeros((len(size), self.X.shape[1]))
        np.add.at(sums, self.firing, self.X)
        return np.asarray(self.X.T @ self.X - (sums.T * (self.eta / (1.0 + size * self.eta))) @ sums)

    def without(self, rows: npt.NDArray[np.bool_]) -> Information:
        """The same plan with some melts lost."""
        _, firing = np.unique(self.firing[~rows], return_inverse=True)
        return Information(self.X[~rows], self.owner, firing, self.eta)


def information(
    coding: Coding, terms: Sequence[Term], raw: FloatArray, firings: npt.ArrayLike, eta: float = 1.0
) -> Information:
    """Information of a raw table about a constant and `terms`."""
    _, firing = np.unique(np.asarray(firings), return_inverse=True)
    place = {term: i for i, term in enumerate(terms)}
    owner = np.array([-1 if term is None else place[term] for term in coding.column_terms(terms)])
    return Information(coding.matrix(terms, raw), owner, firing, eta)


def standard_errors(known: Information, coding: Coding, terms: Sequence[Term]) -> FloatArray:
    """Standard error of the change that each term brings, shape (n_terms,); infinite where it cannot be estimated."""
    M = known.matrix
    scale = np.sqrt(np.maximum(np.diag(M), 1e-300))
    values, vectors = linalg.eigh(M / np.outer(scale, scale))
    kept = values > _TOLERANCE * max(1.0, float(values.max()))
    root = vectors[:, kept] / np.sqrt(values[kept]) / scale[:, None]
    lost = vectors[:, ~kept]
    found = np.full(len(terms), np.inf)
    for i, term in enumerate(terms):
        columns = np.flatnonzero(known.owner == i)
        if np.abs(lost[columns] * scale[columns, None]).max(initial=0.0) > 1e-6 * scale.max():
            continue
        changes = _changes(coding, term)
        variances = ((changes @ root[columns]) ** 2).sum(axis=1)
        found[i] = float(np.sqrt(variances).mean())
    return found


def _changes(coding: Coding, term: Term) -> FloatArray:
    """The coded changes that a term's effect is said for, shape (n_changes, width)."""
    width = coding.width(term)
    if term.order == 1:
        factor = coding.factors[coding.names.index(term.factors[0])]
        if isinstance(factor, Choice):
            options = contrasts(len(factor.options))
            first, second = np.triu_indices(len(options), 1)
            return np.asarray(options[second] - options[first])
    square = any(power > 1 for _, power in term.powers)
    return (1.0 if square else 2.0) * np.eye(width)


def effect_precision(
    coding: Coding,
    terms: Sequence[Term],
    raw: FloatArray,
    firings: npt.ArrayLike,
    *,
    eta: float = 1.0,
    effect: float = 2.0,
    level: float = 0.90,
    chances: tuple[float, float] = CHANCES,
) -> tuple[EffectPrecision, ...]:
    """What a table of melts shows about each term; see the module for the model.

    Parameters
    ----------
    raw : (n_melts, n_factors).  firings : (n_melts,) firing numbers.
    eta : variance between firings over variance between melts of a firing.
    effect : change to be shown in a measured outcome, in melt-to-melt standard deviations.
    level : confidence level of the two-sided test.
    chances : change of a pass chance to be shown, from and to.
    """
    known = information(coding, terms, raw, firings, eta)
    errors = standard_errors(known, coding, terms)
    alike = standard_errors(Information(known.X, known.owner, known.firing, 0.0), coding, terms)
    between, df_firings, df_melts = _strata(known, len(terms))
    found = []
    for i, term in enumerate(terms):
        df = df_firings if between[i] else df_melts
        found.append(
            EffectPrecision(
                term,
                float(errors[i]),
                "firings" if between[i] else "melts",
                df,
                measured_power(effect, float(errors[i]), df, level),
                pass_power(float(alike[i]), level, chances),
            )
        )
    return tuple(found)


def _strata(known: Information, n_terms: int) -> tuple[list[bool], int, int]:
    """Per term whether firings judge it, and the degrees of freedom between firings and within them."""
    n, n_firings = len(known.X), int(known.firing.max()) + 1
    rank = int(np.linalg.matrix_rank(known.X))
    if n_firings in (n, 1):
        return [False] * n_terms, 0, max(0, n - rank)
    size = np.bincount(known.firing).astype(float)
    means = np.zeros((n_firings, known.X.shape[1]))
    np.add.at(means, known.firing, known.X)
    within = known.X - (means / size[:, None])[known.firing]
    still = np.abs(within).max(axis=0) < _TOLERANCE
    between = [bool(still[known.owner == i].all()) for i in range(n_terms)]
    whole = np.flatnonzero([owner < 0 or between[owner] for owner in known.owner])
    df_firings = n_firings - int(np.linalg.matrix_rank(known.X[:, whole]))
    df_melts = n - n_firings - int(np.linalg.matrix_rank(within, tol=1e-7))
    return between, max(0, df_firings), max(0, df_melts)


def measured_power(effect: float, standard_error: float, df: int, level: float = 0.90) -> float:
    """Power of a two-sided t test of a change; NaN without degrees of freedom, 0 where it cannot be estimated."""
    if not np.isfinite(standard_error):
        return 0.0
    if df < 1:
        return float("nan")
    return t_power(effect / standard_error, df, level=1.0 - level)


def pass_power(standard_error: float, level: float = 0.90, chances: tuple[float, float] = CHANCES) -> float:
    """Normal approximation to the power of showing that a pass chance goes from one value to another.

    Parameters
    ----------
    standard_error : of the change, for a measured outcome of unit variance with firings alike.
    """
    if not np.isfinite(standard_error):
        return 0.0
    low, high = chances
    change = abs(special.logit(high) - special.logit(low))
    worth = (low * (1.0 - low) + high * (1.0 - high)) / 2.0  # information of a melt, mean of the two ends
    shift = change * np.sqrt(worth) / standard_error
    critical = special.ndtri(0.5 + level / 2.0)
    return float(special.ndtr(shift - critical) + special.ndtr(-shift - critical))
