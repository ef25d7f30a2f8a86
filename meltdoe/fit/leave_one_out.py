"""The posterior of one outcome without one melt, from the draws that there are.

    p(theta | y without melt m) is proportional to p(theta | y) / p(y_m | theta)

so every draw is weighted by 1 / p(y_m | theta), with the largest weights smoothed (Vehtari, Gelman & Gabry 2017,
Statistics and Computing 27, 1413-1432, from memory). Where all rows of a firing (or of a melt with several moulds) go,
the effect they share is averaged over its normal distribution, else it keeps its value in the draw. Where k-hat says
that the weights cannot be relied on, the outcome is fitted once more without the melt. Either way the terms of the
model and the averages of circumstances stay those of the full fit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp, ndtr

from meltdoe.fit.diagnostics import pareto_smoothed
from meltdoe.fit.likelihood import Likelihood, make_likelihood
from meltdoe.fit.log_chances import log_grade_chances
from meltdoe.fit.stage_chain import ChainFit
from meltdoe.fit.stage_data import IntArray, Nuisance, StageData
from meltdoe.fit.stage_fit import StageFit
from meltdoe.fit.stage_posterior import equal_draws, stage_mixture
from meltdoe.series.factor import FloatArray

__all__ = ["LeftOut", "Sides", "leave_out", "sides_of_seen"]

_K_HAT_LIMIT = 0.7  # means are reliable up to it (Vehtari et al. 2017)
_REFIT_DRAWS = 800
_NODES = 9  # Gauss-Hermite nodes over the effect that a firing shares


@dataclass(frozen=True, slots=True, eq=False)
class LeftOut:
    """One outcome's posterior without one melt.

    Attributes
    ----------
    stage : the fit whose draws are used. weights : (n_draws,) of the draws, summing to 1.
    k_hat : Pareto k-hat of the weights that were tried; -inf where the melt says nothing on the outcome.
    refitted : whether the outcome was fitted again.
    """

    stage: StageFit
    weights: FloatArray
    k_hat: float
    refitted: bool

    def mean_chance(self, raw: FloatArray) -> FloatArray:
        """Posterior mean chance of good at raw settings (n, n_factors): (n,); ones where it is only described."""
        return np.asarray(self.weights @ self.stage.chance_draws(raw))

    def drawn(self, count: int, seed: int) -> StageFit:
        """The fit with `count` equally weighted draws of this posterior in random order."""
        weighted = replace(self.stage.posterior, weights=self.weights)
        return replace(self.stage, posterior=equal_draws(weighted, count, (seed, 0x1E)))


def leave_out(chain: ChainFit, position: int, melt: int, *, beliefs: bool = True) -> LeftOut:
    """The posterior of the outcome at `position` without the rows of a melt.

    Parameters
    ----------
    beliefs : whether the beliefs of the series took part in the fit.
    """
    stage = chain.stages[position]
    n_draws = len(stage.posterior.draws)
    even = np.full(n_draws, 1.0 / n_draws)
    rows = _rows_of(stage.data, melt)
    if not len(rows):
        return LeftOut(stage, even, -np.inf, refitted=False)
    weights, k_hat = pareto_smoothed(-_log_chance_together(stage, rows))
    if k_hat <= _K_HAT_LIMIT:
        return LeftOut(stage, weights, k_hat, refitted=False)
    data = _without(stage.data, rows)
    seed = (abs(chain.seed), position, melt)
    draws = min(n_draws, _REFIT_DRAWS)
    mixture = stage_mixture(chain.series, data, stage.terms, seed, 2 * draws, beliefs)
    again = replace(stage, data=data, posterior=equal_draws(mixture.posterior, draws, seed))
    return LeftOut(again, np.full(draws, 1.0 / draws), k_hat, refitted=True)


def _rows_of(data: StageData, melt: int) -> IntArray:
    return np.flatnonzero(np.array(data.melts, dtype=np.int64) == melt).astype(np.int64)


def _without(data: StageData, rows: IntArray) -> StageData:
    kept = np.delete(np.arange(data.n_seen), rows)
    groups = None
    if data.groups is not None:
        labels, inverse = np.unique(data.groups[kept], return_inverse=True)
        groups = inverse.astype(np.int64) if len(labels) < len(kept) else None
    return replace(
        data,
        rows=tuple(data.rows[i] for i in kept),
        melts=tuple(data.melts[i] for i in kept),
        raw=data.raw[kept],
        y=data.y[kept],
        good=data.good[kept],
        censored=data.censored[kept],
        groups=groups,
        nuisance=Nuisance(data.nuisance.columns[kept], data.nuisance.names),
    )


def _linear(stage: StageFit, data: StageData, rows: IntArray) -> FloatArray:
    """Linear predictor of rows without what a firing shares, (n_draws, n_rows); `data` holds the rows."""
    X = stage.model_matrix(data.raw[rows])
    q = len(data.nuisance.names)
    X[:, X.shape[1] - q :] = data.nuisance.columns[rows]
    return np.asarray(stage.posterior.coef @ X.T)


def _shared(stage: StageFit, group: int | None) -> tuple[FloatArray, FloatArray]:
    """What a firing adds: values (n_values, n_draws, 1) and their log weights (n_values,)."""
    draws = stage.posterior
    sd = draws.group_sd[:, None]
    if not draws.n_groups:
        return np.zeros((1, len(sd), 1)), np.zeros(1)
    if group is not None:
        z = draws.draws[:, draws.n_coef + draws.n_shape + 1 + group, None]
        return (sd * z)[None], np.zeros(1)
    nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
    return nodes[:, None, None] * sd, np.log(weights / weights.sum())


def _group_left(data: StageData, rows: IntArray) -> int | None:
    """The group of `rows` where other rows of it stay behind."""
    if data.groups is None:
        return None
    group = int(data.groups[rows[0]])
    return group if int((data.groups == group).sum()) > len(rows) else None


def _rows_likelihood(data: StageData, rows: IntArray) -> Likelihood:
    """Likelihood of these rows alone, in the outcome's own units."""
    outcome, ones, y = data.outcome, np.ones((len(rows), 1)), data.y[rows]
    if outcome.kind == "pass":
        return make_likelihood(ones, y, "pass")
    if outcome.kind == "grade":
        return make_likelihood(ones, y, "grade", n_grades=len(outcome.grades))
    bounds = outcome.bounds or (-np.inf, np.inf)
    return make_likelihood(ones, y, "measured", censored=data.censored[rows], bounds=bounds, centre=0.0, scale=1.0)


def _log_chance_together(stage: StageFit, rows: IntArray) -> FloatArray:
    """log p(y of all rows | draw), shape (n_draws,)."""
    likelihood = _rows_likelihood(stage.data, rows)
    eta = _linear(stage, stage.data, rows)
    parts, log_weights = _shared(stage, _group_left(stage.data, rows))
    logs = [likelihood.rows(eta + part, stage.posterior.shape).sum(axis=1) for part in parts]
    return np.asarray(logsumexp(np.array(logs) + log_weights[:, None], axis=0))


@dataclass(frozen=True, slots=True, eq=False)
class Sides:
    """Chances, foretold from the other melts, of what was seen of one outcome; arrays over the rows of a melt.

    rows : (n,) positions in ``log.entries``.
    exactly : (n,) chance of just that; density for a measurement between its bounds.
    so_low, so_high : (n,) chance of that or a smaller, or a larger, value; of that or a better, or a worse, grade; of
        no and of yes, for a pass.
    """

    rows: tuple[int, ...]
    exactly: FloatArray
    so_low: FloatArray
    so_high: FloatArray


def sides_of_seen(chain: ChainFit, position: int, melt: int, left: LeftOut) -> Sides:
    """Foretell the rows of a melt from the posterior without it; `left` as `leave_out` gives it."""
    full = chain.stages[position]
    data, rows = full.data, _rows_of(full.data, melt)
    if not len(rows):
        nothing = np.zeros(0)
        return Sides((), nothing, nothing, nothing)
    group = _group_left(data, rows)
    if left.refitted and group is not None and left.stage.data.groups is not None:
        # The refit counts its firings anew: find one of those that shared the fire.
        assert data.groups is not None
        mate = next(data.rows[i] for i in np.flatnonzero(data.groups == group) if i not in rows)
        group = int(left.stage.data.groups[left.stage.data.rows.index(mate)])
    elif left.refitted:
        group = None
    likelihood = _rows_likelihood(data, rows)
    eta, shape = _linear(left.stage, data, rows), left.stage.posterior.shape
    totals = [np.zeros(len(rows)) for _ in range(3)]
    for part, log_weight in zip(*_shared(left.stage, group), strict=True):
        exactly = np.exp(likelihood.rows(eta + part, shape))
        low, high = _sides(data, rows, eta + part, shape)
        for total, value in zip(totals, (exactly, low, high), strict=True):
            total += np.exp(log_weight) * (left.weights @ value)
    return Sides(tuple(data.rows[i] for i in rows), *totals)


def _sides(data: StageData, rows: IntArray, eta: FloatArray, shape: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Chance of at most and of at least what was seen, in every draw: two of (n_draws, n_rows)."""
    y = data.y[rows]
    if data.outcome.kind == "measured":
        r = (y - eta) / np.exp(shape[:, :1])
        # A reading on a bound stands for everything beyond it.
        return np.where(data.censored[rows] > 0, 1.0, ndtr(r)), np.where(data.censored[rows] < 0, 1.0, ndtr(-r))
    if data.outcome.kind == "pass":
        chance = 1.0 / (1.0 + np.exp(-eta))
        return 1.0 - chance, chance
    chances = np.exp(log_grade_chances(eta, shape))
    upto = np.cumsum(chances, axis=-1)
    grade = np.broadcast_to(y.astype(int)[None, :, None], (*eta.shape, 1))
    low = np.take_along_axis(upto, grade, axis=-1)[..., 0]
    return low, 1.0 - low + np.take_along_axis(chances, grade, axis=-1)[..., 0]
