"""Logistic regression for a handful of melts, with finite estimates under separation.

Likelihood
    y_i ~ Binomial(n_i, p_i),  logit p_i = x_i' beta.  With one melt a row, n_i = 1.
Penalty
    l*(beta) = l(beta) + 1/2 log |I(beta)|,  I = X' W X,  W = diag(n p (1 - p))   (Jeffreys' prior)
Score
    U*(beta) = X' (y - n p + h (1/2 - p)),  h_i = w_i x_i' I^-1 x_i.

Limits and tests profile l*, the penalty always taken from the full model's information, never from
that of the reduced model. With independent columns l* falls without bound in every direction, so the
limits are finite even where the plain likelihood has no maximum.

Sources (formulae from memory): Firth 1993, Biometrika 80, 27-38; Heinze & Schemper 2002, Statistics in
Medicine 21, 2409-2419; finiteness: Kosmidis & Firth 2021, Biometrika 108, 71-82.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc, chdtri, expit

from meltdoe.errors import Inestimable
from meltdoe.fit.classical.separation import require_independent_columns, separation, term_names

__all__ = ["FirthFit", "firth", "maximum_likelihood"]

Array = NDArray[np.float64]

_MOST_STEPS = 200
_LONGEST_STEP = 5.0  # largest change of a linear predictor in one step, in log odds
_FARTHEST = 1e5  # a limit is sought no farther out than this many log odds over a column's largest value


@dataclass(frozen=True, slots=True, eq=False)
class FirthFit:
    """A fitted logistic model; every array has one entry a column of X.

    Attributes
    ----------
    terms : names of the columns.
    coef, se : log odds per unit of the column, and their standard errors from the information at `coef`.
    low, high : profile likelihood limits at `level`; an end that the data leave open is -inf or inf.
    p_values : likelihood ratio tests of each coefficient against zero, 1 degree of freedom each.
    chi_squares : the statistics behind `p_values`.
    covariance : (p, p) inverse of the information at `coef`.
    loglik : the maximised criterion: penalised for `firth`, plain for `maximum_likelihood`.
    fitted : (n,) chance of success of each row.
    level : level of the limits.
    penalised : whether Jeffreys' penalty was used.
    """

    terms: tuple[str, ...]
    coef: Array
    se: Array
    low: Array
    high: Array
    p_values: Array
    chi_squares: Array
    covariance: Array
    loglik: float
    fitted: Array
    level: float
    penalised: bool


class _Table(NamedTuple):
    """Scaled columns, successes, trials, and the weight of the penalty (1 or 0)."""

    X: Array
    y: Array
    n: Array
    penalty: float


class _Point(NamedTuple):
    beta: Array
    value: float
    score: Array
    information: Array
    hessian: Array


def firth(
    X: ArrayLike,
    y: ArrayLike,
    level: float = 0.90,
    *,
    trials: ArrayLike | None = None,
    names: Sequence[str] | None = None,
) -> FirthFit:
    """Bias-reduced logistic regression: finite estimates, limits and tests under separation.

    Parameters
    ----------
    X : (n, p) coded terms; put a column of ones first for the intercept.
    y : (n,) successes: 0 or 1, or counts up to `trials`.
    level : level of the profile penalised likelihood limits.
    trials : (n,) trials behind each row; 1 each where not given.
    names : names of the columns, used in errors.

    Raises
    ------
    Inestimable : columns of X depend on each other; its `terms` name them.
    ValueError : shapes that do not match, or counts outside 0..trials.
    """
    return _fit(X, y, level, trials, names, penalty=1.0)


def maximum_likelihood(
    X: ArrayLike,
    y: ArrayLike,
    level: float = 0.90,
    *,
    trials: ArrayLike | None = None,
    names: Sequence[str] | None = None,
) -> FirthFit:
    """Plain logistic regression with profile likelihood limits, for comparison with textbooks.

    Parameters as in `firth`.

    Raises
    ------
    Inestimable : columns depend on each other, or passes and failures are separated, so that some
        estimate is infinite; its `terms` name the columns. (An iterate at which a program stopped is
        not an estimate.)
    """
    found = separation(X, y, trials=trials, names=names)
    if found.kind != "none":
        words = ", ".join(found.infinite_terms)
        raise Inestimable(
            f"passes and failures are separated ({found.kind}): no finite estimate for {words}",
            found.infinite_terms,
        )
    return _fit(X, y, level, trials, names, penalty=0.0)


def _fit(
    X: ArrayLike,
    y: ArrayLike,
    level: float,
    trials: ArrayLike | None,
    names: Sequence[str] | None,
    penalty: float,
) -> FirthFit:
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must lie between 0 and 1, not {level}")
    design = np.asarray(X, dtype=float)
    successes = np.asarray(y, dtype=float)
    if design.ndim != 2 or successes.shape != design.shape[:1]:
        raise ValueError(f"X must be (n, p) and y (n,), not {design.shape} and {successes.shape}")
    n = np.ones_like(successes) if trials is None else np.asarray(trials, dtype=float)
    if n.shape != successes.shape or np.any(successes < 0) or np.any(successes > n):
        raise ValueError("every success count must lie between 0 and its number of trials")
    terms = term_names(design.shape[1], names)
    used = n > 0
    require_independent_columns(design[used], terms)

    # A common size of the columns makes one step limit and one tolerance fit degrees and per cents alike.
    size = np.abs(design[used]).max(axis=0)
    table = _Table(design[used] / size, successes[used], n[used], penalty)
    p = design.shape[1]
    top = _climb(table, np.zeros(p), fixed=None)
    spread = np.asarray(np.linalg.inv(top.information), dtype=float)

    drop = 0.5 * float(chdtri(1, 1.0 - level))
    low, high, chi_squares = np.empty(p), np.empty(p), np.empty(p)
    for j in range(p):
        low[j] = _limit(table, top, spread, j, -1.0, drop)
        high[j] = _limit(table, top, spread, j, +1.0, drop)
        chi_squares[j] = max(0.0, 2.0 * (top.value - _profile(table, top, j, 0.0).value))
    shift = penalty * float(np.log(size).sum())  # |X'WX| in the user's columns
    covariance = spread / np.outer(size, size)
    return FirthFit(
        terms=terms,
        coef=top.beta / size,
        se=np.sqrt(np.diag(covariance)),
        low=low / size,
        high=high / size,
        p_values=chdtrc(1, chi_squares),
        chi_squares=chi_squares,
        covariance=covariance,
        loglik=top.value + shift,
        fitted=expit(design @ (top.beta / size)),
        level=level,
        penalised=penalty > 0,
    )


def _point(table: _Table, beta: Array) -> _Point:
    """Criterion, score, information and exact second derivatives at `beta`."""
    eta = table.X @ beta
    p = expit(eta)
    value = float(table.y @ eta - table.n @ np.logaddexp(0.0, eta))
    # p (1 - p) as the product of two logistic functions: exact in both tails.
    w = table.n * p * expit(-eta)
    information = table.X.T @ (w[:, None] * table.X)
    if not table.penalty:
        return _Point(beta, value, table.X.T @ (table.y - table.n * p), information, -information)
    # Orthogonal factor q of W^1/2 X: the hat matrix is q q', |I| the squared product of diag r.
    q, r = np.linalg.qr(np.sqrt(w)[:, None] * table.X)
    diagonal = np.abs(np.diag(r))
    value += float(np.log(diagonal).sum()) if diagonal.min() > 0 else -np.inf
    hat = q @ q.T
    h = np.diag(hat)
    skew = 1.0 - 2.0 * p
    score = table.X.T @ (table.y - table.n * p + h * (0.5 - p))
    # Second derivatives of 1/2 log |X'WX| in eta, from w'/w = 1 - 2p and w''/w = 1 - 6 p (1 - p).
    bend = np.diag(0.5 * h * (1.0 - 6.0 * p * (1.0 - p))) - 0.5 * np.outer(skew, skew) * hat**2
    return _Point(beta, value, score, information, table.X.T @ bend @ table.X - information)


def _climb(table: _Table, start: Array, fixed: int | None) -> _Point:
    """Newton's method with step-halving to the maximum, one coefficient held where `fixed` names it."""
    free = np.array([j for j in range(start.size) if j != fixed], dtype=int)
    point = _point(table, start)
    for _ in range(_MOST_STEPS):
        if free.size == 0 or np.abs(point.score[free]).max() < 1e-9:
            return point
        step = _uphill(point, free)
        step *= min(1.0, _LONGEST_STEP / max(float(np.abs(table.X[:, free] @ step).max()), 1e-300))
        better = _halve(table, point, free, step)
        if better is None:
            # No uphill step is left above rounding error.
            return point
        point = better
    raise Inestimable("the search for its values came to no rest with so few melts", ())


def _uphill(point: _Point, free: NDArray[np.int_]) -> Array:
    """Newton step; where the criterion is not concave, the curvature's sign is mended along each axis."""
    values, vectors = np.linalg.eigh(-point.hessian[np.ix_(free, free)])
    curvature = np.maximum(np.abs(values), 1e-12 * max(1e-300, float(np.abs(values).max())))
    return np.asarray(vectors @ ((vectors.T @ point.score[free]) / curvature))


def _halve(table: _Table, point: _Point, free: NDArray[np.int_], step: Array) -> _Point | None:
    """First of step, step/2, step/4 ... that raises the criterion, or None."""
    for halvings in range(30):
        beta = point.beta.copy()
        beta[free] += step / 2.0**halvings
        trial = _point(table, beta)
        if trial.value > point.value:
            return trial
        # On the flat top the criterion is all rounding error; the score still tells which is nearer.
        level = trial.value > point.value - 1e-12 * max(1.0, abs(point.value))
        if level and np.abs(trial.score[free]).max() < 0.5 * np.abs(point.score[free]).max():
            return trial
    return None


def _profile(table: _Table, near: _Point, j: int, value: float) -> _Point:
    """Maximum with coefficient j held at `value`, started on the tangent of the profile at `near`."""
    free = np.array([i for i in range(near.beta.size) if i != j], dtype=int)
    start = near.beta.copy()
    start[j] = value
    if free.size:
        follow = np.linalg.lstsq(near.hessian[np.ix_(free, free)], near.hessian[free, j], rcond=None)[0]
        move = follow * (value - near.beta[j])
        longest = float(np.abs(table.X[:, free] @ move).max())
        start[free] -= move * min(1.0, 4.0 * _LONGEST_STEP / max(longest, 1e-300))
    return _climb(table, start, fixed=j)


def _limit(table: _Table, top: _Point, spread: Array, j: int, sign: float, drop: float) -> float:
    """Where the profile has fallen by `drop`, on the side `sign`; infinite where it never does.

    The signed root sqrt(2 (l* - profile)) is nearly straight, so Newton's method on it is quick; a
    bracket keeps it safe.
    """
    target = np.sqrt(2.0 * drop)
    inner, outer = 0.0, np.inf
    distance = float(target * np.sqrt(spread[j, j]))
    point = top
    while distance < _FARTHEST:
        point = _profile(table, point, j, float(top.beta[j] + sign * distance))
        fallen = top.value - point.value
        if abs(fallen - drop) < 1e-9 * drop or outer - inner < 1e-10 * outer:
            return float(top.beta[j] + sign * distance)
        if fallen < drop:
            inner = distance
        else:
            outer = distance
        root = np.sqrt(2.0 * max(fallen, 1e-300))
        slope = -sign * point.score[j] / root
        distance = distance + float((target - root) / slope) if slope > 0 else np.inf
        if not inner < distance < outer or (distance > 3.0 * inner and np.isinf(outer)):
            distance = 0.5 * (inner + outer) if np.isfinite(outer) else 2.0 * inner
    return sign * np.inf
