"""What pass/fail results of a plan would show, by making them up many times.

Truth: logit chance = m + x'b, where one term takes the chance from `low` to `high` and the others do nothing. Each set
of results is judged by the penalised likelihood ratio of Firth's estimate, which stays finite whatever the results
(Firth 1993, Biometrika 80; Heinze and Schemper 2002, Statist. Med. 21). A set is separated where some combination of
the terms splits passes from failures, so that no ordinary estimate exists (Albert and Anderson 1984, Biometrika 71).
All sets are fitted at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from meltdoe.series.coding import Coding
from meltdoe.series.factor import FloatArray
from meltdoe.series.terms import Term

__all__ = ["PassSimulation", "separated_sets", "simulate_passes"]

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

_STEPS = 30
_JUDGED = 60  # sets a term that are looked at for separation: it takes a linear programme
_LARGEST_STEP = 3.0
_CONVERGED = 1e-6


@dataclass(frozen=True, eq=False)
class PassSimulation:
    """Shares of simulated sets of results.

    Parameters
    ----------
    terms : the terms, in the order of `power`.
    power : (n_terms,) share of sets in which the term is shown at the level, where it takes the chance from low to
        high; NaN where the melts cannot tell the terms apart.
    separated : share of sets that are separated, over the first 60 of every term.
    sets : simulated per term.
    """

    terms: tuple[Term, ...]
    power: FloatArray
    separated: float
    sets: int
    low: float
    high: float
    level: float

    @property
    def error(self) -> float:
        """Largest Monte Carlo standard error of a power."""
        return 0.5 / float(np.sqrt(self.sets))


def simulate_passes(
    coding: Coding,
    terms: Sequence[Term],
    raw: FloatArray,
    *,
    low: float = 0.2,
    high: float = 0.8,
    level: float = 0.90,
    sets: int = 200,
    seed: int = 0,
) -> PassSimulation:
    """Power and separated sets of a plan for one pass/fail outcome that every melt reaches.

    Parameters
    ----------
    raw : (n_melts, n_factors) raw settings.
    low, high : the chances at the two ends of the term in question.
    level : confidence level of the two-sided test.

    Raises
    ------
    ValueError
        For chances that are not between 0 and 1 and different.
    """
    if not (0.0 < low < 1.0 and 0.0 < high < 1.0 and low != high):
        raise ValueError(f"chances lie between 0 and 1 and differ, got {low:g} and {high:g}")
    X = coding.matrix(terms, raw)
    owner = [-1, *(i for i, term in enumerate(terms) for _ in range(coding.width(term)))]
    if np.linalg.matrix_rank(X) < X.shape[1]:
        return PassSimulation(tuple(terms), np.full(len(terms), np.nan), np.nan, sets, low, high, level)
    rng = np.random.default_rng(seed)
    power, separated = np.empty(len(terms)), []
    ends = special.logit(np.array([low, high]))
    for i, term in enumerate(terms):
        columns = np.flatnonzero(np.array(owner) == i)
        direction = X[:, columns[0]]
        if any(exponent > 1 for _, exponent in term.powers):
            eta = ends[0] + (ends[1] - ends[0]) * direction
        else:
            span = max(1e-9, float(np.abs(direction).max()))
            eta = ends.mean() + (ends[1] - ends[0]) / 2.0 * direction / span
        Y = (rng.random((sets, len(X))) < special.expit(eta)).astype(float)
        full, best = _penalised(X, Y, np.arange(X.shape[1]))
        without, _ = _penalised(X, Y, np.setdiff1d(np.arange(X.shape[1]), columns))
        critical = special.chdtri(len(columns), 1.0 - level)
        power[i] = float((2.0 * (full - without) > critical).mean())
        separated.append(separated_sets(X, Y[:_JUDGED], best[:_JUDGED]).mean())
    return PassSimulation(tuple(terms), power, float(np.mean(separated)), sets, low, high, level)


def _penalised(X: FloatArray, Y: FloatArray, free: IntArray) -> tuple[FloatArray, FloatArray]:
    """Largest penalised log likelihood over the `free` coefficients, the others 0; (S,) values, (S, p) coefficients.

    The penalty is half the log determinant of the whole model's information, whatever is free.
    """
    sets, p = len(Y), X.shape[1]
    b = np.zeros((sets, p))
    value = np.full(sets, -np.inf)
    step = np.zeros((sets, p))
    for _ in range(_STEPS):
        now, score, information = _at(X, Y, b)
        worse = now < value - 1e-12
        # where a step went too far half of it is taken back
        step[worse] *= 0.5
        b[worse] -= step[worse]
        value = np.where(worse, value, now)
        block = information[:, free[:, None], free]
        move = np.linalg.solve(block, score[:, free, None])[..., 0]
        size = np.abs(move).max(axis=1, initial=0.0)
        move *= np.minimum(1.0, _LARGEST_STEP / np.maximum(size, 1e-12))[:, None]
        move[worse] = 0.0
        if not worse.any() and size.max(initial=0.0) < _CONVERGED:
            break
        step[~worse] = 0.0
        step[np.ix_(~worse, free)] = move[~worse]
        b[~worse] += step[~worse]
    return np.maximum(value, _at(X, Y, b)[0]), b


def _at(X: FloatArray, Y: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Penalised log likelihood (S,), its score (S, p) and the information (S, p, p)."""
    eta = np.clip(b @ X.T, -30.0, 30.0)
    chance = special.expit(eta)
    w = chance * (1.0 - chance)
    information = X.T @ (w[:, :, None] * X) + 1e-10 * np.eye(X.shape[1])
    hat = w * ((X @ np.linalg.inv(information)) * X).sum(axis=2)
    score = (Y - chance + hat * (0.5 - chance)) @ X
    likelihood = (Y * special.log_expit(eta) + (1.0 - Y) * special.log_expit(-eta)).sum(axis=1)
    return likelihood + 0.5 * np.linalg.slogdet(information)[1], score, information


def separated_sets(X: FloatArray, Y: FloatArray, guess: FloatArray | None = None) -> BoolArray:
    """Which sets of results are separated, wholly or in part, shape (S,).

    Parameters
    ----------
    X : (n, p) model matrix with a constant.  Y : (S, n) passes as 1.
    guess : (S, p) coefficients that may split a set already, which saves the linear programme.
    """
    signs = 2.0 * Y - 1.0
    found = np.abs(signs.sum(axis=1)) == Y.shape[1]
    if guess is not None:
        found |= (signs * (guess @ X.T) > 1e-9).all(axis=1)
    undecided = np.flatnonzero(~found)
    undecided = undecided[~_finite_estimate(X, Y[undecided])]
    for i in undecided:
        S = signs[i][:, None] * X
        solved = optimize.linprog(-S.sum(axis=0), A_ub=-S, b_ub=np.zeros(len(S)), bounds=(-1.0, 1.0), method="highs")
        found[i] = bool(solved.status == 0 and float(solved.fun or 0.0) < -1e-7)
    return np.asarray(found)


def _finite_estimate(X: FloatArray, Y: FloatArray) -> BoolArray:
    """Where Newton's method comes to rest at a finite maximum of the likelihood, so that nothing is separated."""
    b = np.zeros((len(Y), X.shape[1]))
    rest = np.zeros(len(Y), dtype=bool)
    for _ in range(_STEPS):
        going = np.flatnonzero(~rest)
        if not len(going):
            break
        chance = special.expit(np.clip(b[going] @ X.T, -30.0, 30.0))
        w = chance * (1.0 - chance)
        information = X.T @ (w[:, :, None] * X) + 1e-9 * np.eye(X.shape[1])
        move = np.linalg.solve(information, ((Y[going] - chance) @ X)[..., None])[..., 0]
        size = np.abs(move).max(axis=1)
        b[going] += move * np.minimum(1.0, _LARGEST_STEP / np.maximum(size, 1e-12))[:, None]
        rest[going] = (size < 1e-8) & (w.min(axis=1) > 1e-7)
    return rest
