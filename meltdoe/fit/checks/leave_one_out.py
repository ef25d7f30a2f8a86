"""The posterior of one outcome without one melt, from the draws that there are.

    p(theta | y without melt m) is proportional to p(theta | y) / p(y_m | theta)

so every draw is weighted by 1 / p(y_m | theta), with the largest weights smoothed (Vehtari, Gelman & Gabry 2017,
Statistics and Computing 27, 1413-1432, from memory). The effect that melts of a firing (or castings of a melt) share is
integrated out by quadrature, given the other rows of the firing, which keeps the weights calm. Where k-hat says
that the weights cannot be relied on, all draws that were tried for the full fit are weighed in the same way: their
proposal reaches further than the posterior (Vehtari, Simpson, Gelman, Yao & Gabry 2024, J. Mach. Learn. Res. 25(72),
from memory, on k-hat of any such weights). Only where k-hat is too large for these as well, or few of them are left, is
the outcome fitted once more without the melt. Of 38 refits in two series of 30 melts 16 were saved so, and the chances
at the best setting lay 0.005 from those of long refits on average, those of the quick refits before 0.008.

Either way the terms of the model and the averages of circumstances stay those of the full fit; the unit in which the
prior of a measurement is meant is taken anew in a refit only.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from scipy.special import expit, logsumexp, ndtr

from meltdoe.fit.draws.diagnostics import importance_effective_draws, pareto_smoothed
from meltdoe.fit.model.likelihood import Likelihood, make_likelihood
from meltdoe.fit.model.log_chances import log_grade_chances
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.fit.stages.stage_data import IntArray, Nuisance, StageData
from meltdoe.fit.stages.stage_fit import StageFit
from meltdoe.fit.stages.stage_posterior import equal_draws, seen_of, stage_mixture
from meltdoe.series.factor import FloatArray
from meltdoe.series.outcome import Outcome

__all__ = ["LeftOut", "Sides", "leave_out", "sides_of_seen"]

_K_HAT_LIMIT = 0.7  # means are reliable up to it (Vehtari et al. 2017)
_REFIT_DRAWS = 800
_FEWEST_EFFECTIVE = 300.0  # of the draws tried: as many as a quick refit has (measured 80 to 600)
_NODES = 9  # Gauss-Hermite nodes over the effect that a firing shares


@dataclass(frozen=True, slots=True, eq=False)
class LeftOut:
    """One outcome's posterior without one melt.

    Attributes
    ----------
    stage : the fit whose draws are used. weights : (n_draws,) of the draws, summing to 1.
    k_hat : Pareto k-hat of the weights that were tried last; -inf where the melt says nothing on the outcome.
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
    seed = (abs(chain.seed), position, melt)
    draws = min(n_draws, _REFIT_DRAWS)
    further = _from_tried(stage, rows, draws, seed)
    if further is not None:
        return further
    data = _without(stage.data, rows)
    mixture = stage_mixture(chain.series, data, stage.model, seed, draws, beliefs, "draft")
    again = replace(stage, data=data, posterior=equal_draws(mixture.posterior, draws, seed))
    return LeftOut(again, np.full(draws, 1.0 / draws), k_hat, refitted=True)


def _from_tried(stage: StageFit, rows: IntArray, count: int, seed: tuple[int, int, int]) -> LeftOut | None:
    """From all draws that were tried for the full fit; None where there are none, or these do not reach either."""
    if stage.tried is None:
        return None
    with np.errstate(divide="ignore"):
        log_weights = np.log(stage.tried.weights)
    weights, k_hat = pareto_smoothed(log_weights - _log_chance_together(replace(stage, posterior=stage.tried), rows))
    if k_hat > _K_HAT_LIMIT or importance_effective_draws(weights) < _FEWEST_EFFECTIVE:
        return None
    drawn = equal_draws(replace(stage.tried, weights=weights), count, seed)
    return LeftOut(replace(stage, posterior=drawn), np.full(count, 1.0 / count), k_hat, refitted=False)


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
    """Linear predictor of rows of `data` without what a firing shares, (n_draws, n_rows)."""
    X = stage.model_matrix(data.raw[rows])
    q = len(data.nuisance.names)
    X[:, X.shape[1] - q :] = data.nuisance.columns[rows]
    return np.asarray(stage.posterior.coef @ X.T)


def _rows_likelihood(data: StageData, rows: IntArray) -> Likelihood:
    """Likelihood of these rows alone, in the outcome's own units."""
    return make_likelihood(np.ones((len(rows), 1)), data.y[rows], data.outcome.kind, **seen_of(data, rows))


def _shared(stage: StageFit, data: StageData, rows: IntArray) -> tuple[FloatArray, FloatArray]:
    """What the firing of `rows` may add, from its other rows: values and log weights, both (n_nodes, n_draws)."""
    draws = stage.posterior
    if not draws.n_groups:
        return np.zeros((1, len(draws.draws))), np.zeros((1, len(draws.draws)))
    nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
    values = nodes[:, None] * draws.group_sd
    logs = np.repeat(np.log(weights / weights.sum())[:, None], len(draws.draws), axis=1)
    if data.groups is not None:
        same = np.flatnonzero(data.groups == data.groups[rows[0]])
        mates = np.setdiff1d(same, rows).astype(np.int64)
        if len(mates):
            logs += _log_chances(stage, data, mates, values)
            logs -= logsumexp(logs, axis=0)
    return values, logs


def _log_chances(stage: StageFit, data: StageData, rows: IntArray, shared: FloatArray) -> FloatArray:
    """log p(y of all rows | draw, what is shared), (n_nodes, n_draws)."""
    likelihood, eta = _rows_likelihood(data, rows), _linear(stage, data, rows)
    return np.array([likelihood.rows(eta + part[:, None], stage.posterior.shape).sum(axis=1) for part in shared])


def _log_chance_together(stage: StageFit, rows: IntArray) -> FloatArray:
    """log p(y of all rows | draw, the rows that share their firing), shape (n_draws,)."""
    shared, log_weights = _shared(stage, stage.data, rows)
    return np.asarray(logsumexp(_log_chances(stage, stage.data, rows, shared) + log_weights, axis=0))


@dataclass(frozen=True, slots=True, eq=False)
class Sides:
    """What the other melts foretell of the rows of one melt, for one outcome; arrays over those rows.

    Values run from small to large; for a pass from no to yes, for grades from best to worst.

    Attributes
    ----------
    rows : positions in ``log.entries``.
    so_low, so_high : (n,) chance of what was seen or something below it, or above it.
    by_value : (n, n_values) chance of each value; for a measurement None.
    on_bounds : (n, 2) chance of a measurement on its smallest and on its largest value; else None.
    """

    rows: tuple[int, ...]
    so_low: FloatArray
    so_high: FloatArray
    by_value: FloatArray | None
    on_bounds: FloatArray | None

    def expected_beyond(self, limit: float) -> float:
        """How many of these rows are expected to show something whose smaller side has a chance below `limit`."""
        if self.by_value is None:
            # A side on which even the bound is likelier than the limit can show nothing so unlikely.
            return 0.0 if self.on_bounds is None else float(limit * (self.on_bounds < limit).sum())
        up = np.cumsum(self.by_value, axis=1)
        smaller = np.minimum(up, 1.0 - up + self.by_value)
        return float(self.by_value[smaller < limit].sum())


def sides_of_seen(chain: ChainFit, position: int, melt: int, left: LeftOut) -> Sides:
    """Foretell the rows of a melt from the posterior without it; `left` as `leave_out` gives it."""
    data = chain.stages[position].data
    rows = _rows_of(data, melt)
    if not len(rows):
        return Sides((), np.zeros(0), np.zeros(0), None, None)
    eta, shape = _linear(left.stage, data, rows), left.stage.posterior.shape
    measured = data.outcome.kind == "measured"
    of_value = _chances_beyond(data, rows) if measured else _chances_of_values
    shared, log_weights = _shared(left.stage, data, rows)
    table = np.sum(
        [
            np.tensordot(left.weights * np.exp(logs), of_value(data.outcome, eta + part[:, None], shape), axes=1)
            for part, logs in zip(shared, log_weights, strict=True)
        ],
        axis=0,
    )
    at = tuple(data.rows[i] for i in rows)
    if measured:
        return Sides(at, table[:, 0], table[:, 1], None, table[:, 2:])
    up = np.cumsum(table, axis=1)
    seen = data.y[rows].astype(int)[:, None]
    low = np.take_along_axis(up, seen, axis=1)[:, 0]
    return Sides(at, low, 1.0 - low + np.take_along_axis(table, seen, axis=1)[:, 0], table, None)


Chances: TypeAlias = Callable[[Outcome, FloatArray, FloatArray], FloatArray]


def _chances_of_values(outcome: Outcome, eta: FloatArray, shape: FloatArray) -> FloatArray:
    """Chance of every value of a pass or a grade in every draw, (n_draws, n_rows, n_values)."""
    if outcome.kind == "pass":
        return np.stack([expit(-eta), expit(eta)], axis=-1)
    assert outcome.kind == "grade"
    return np.exp(log_grade_chances(eta, shape))


def _chances_beyond(data: StageData, rows: IntArray) -> Chances:
    """For measurements (n_draws, n_rows, 4): so low, so high, on the smallest and on the largest value."""
    y, censored = data.y[rows], data.censored[rows]
    low, high = data.outcome.bounds or (-np.inf, np.inf)

    def chances(outcome: Outcome, eta: FloatArray, shape: FloatArray) -> FloatArray:
        del outcome
        sd = np.exp(shape[:, :1])
        # A reading on a bound stands for everything beyond it.
        below = np.where(censored > 0, 1.0, ndtr((y - eta) / sd))
        above = np.where(censored < 0, 1.0, ndtr((eta - y) / sd))
        return np.stack([below, above, ndtr((low - eta) / sd), ndtr((eta - high) / sd)], axis=-1)

    return chances
