"""Whether something drifted over the series: a trend in the order of the firings, looked for in every outcome.

The order of the firings (first -1, last +1) joins the model of each outcome as one more factor under the same two-scale
prior (`meltdoe.fit.model.inclusion_prior`), so it is reported with the chance that it matters; the classical estimate
of the same column stands beside it. Only if the settings were tried in an order of their own can a drift be told from
them: R^2 of the order on the settings says how far that is so.

What so few melts could have shown is reckoned from the classical standard error, with
w = p (1 - p) for a chance and w = 1 / sigma^2 for a measurement and SS the part of the order's sum of squares that the
settings leave free: a slope of (z_0.95 + z_0.80) / sqrt(w SS) is found 8 times in 10 at the 10 % level (normal
approximation).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy import linalg
from scipy.special import expit, logit, ndtri

from meltdoe.fit.checks.past_fits import firings_in_order
from meltdoe.fit.stages.effects import Effect
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.fit.stages.stage_data import stage_data
from meltdoe.fit.stages.stage_fit import StageFit
from meltdoe.fit.stages.stage_posterior import equal_draws, stage_mixture, term_inclusion
from meltdoe.log.melt_log import Log
from meltdoe.series.factor import Amount, FloatArray
from meltdoe.series.terms import Term

__all__ = ["Drift", "DriftFinding", "drifts"]

DriftFinding = Literal["drift", "no sign", "mixed up", "too few"]

_FEWEST_FIRINGS = 4  # fewer have hardly an order (our choice)
_DRAWS = 800
_SEEMS = 2 / 3  # chance that the order matters from which a drift is worth saying (our choice)
_MIXED_UP = 0.8  # R^2 of the order on the settings from which the two are called mixed up (our choice)
_GOES_ALONG = 0.7  # correlation from which a factor is named for it (our choice)


@dataclass(frozen=True, slots=True)
class Drift:
    """What can be said on a drift of one outcome.

    Attributes
    ----------
    finding : "mixed up" where the order cannot be told from the settings, "too few" where too few firings were seen.
    rows : melts or castings that speak of it.
    effect : the change from the first to the last firing, as any effect; None where none seems to be there.
    goes_along : factors that were changed along with the order.
    shared : R^2 of the order on the settings.
    could_show : smallest change from first to last that these rows would probably have shown, as a chance or in the
        unit of a measurement; inf where they could show none.
    """

    outcome: str
    finding: DriftFinding
    rows: int
    effect: Effect | None
    goes_along: tuple[str, ...]
    shared: float
    could_show: float


def drifts(chain: ChainFit, *, beliefs: bool = True) -> tuple[Drift, ...]:
    """Look for a drift in every outcome, in the order of the work.

    Parameters
    ----------
    beliefs : whether the beliefs of the series take part.
    """
    series = chain.series
    order = firings_in_order(chain.log.entries)
    place = {firing: float(i) for i, firing in enumerate(order)}
    if len(order) < _FEWEST_FIRINGS:
        return tuple(_too_few(stage) for stage in chain.stages)
    name = "order"
    while name in series.factor_names:
        name += "_"
    factor = Amount(name, 0.0, float(len(order) - 1), set_per="firing")
    wider = replace(series, factors=(*series.factors, factor), folder=None)
    entries = (replace(e, settings={**e.settings, name: place[e.firing]}) for e in chain.log.entries)
    log = Log(wider, tuple(entries))
    return tuple(_drift(chain, i, log, Term(((name, 1),)), beliefs) for i in range(len(chain.stages)))


def _too_few(stage: StageFit) -> Drift:
    return Drift(stage.outcome.name, "too few", stage.n_seen, None, (), np.nan, np.inf)


def _drift(chain: ChainFit, position: int, log: Log, trend: Term, beliefs: bool) -> Drift:
    stage, series = chain.stages[position], log.series
    data = stage_data(series, log, stage.outcome)
    if len(np.unique(data.raw[:, -1])) < _FEWEST_FIRINGS:
        return _too_few(stage)
    X = np.column_stack([series.coding.matrix(stage.terms, data.raw), data.nuisance.columns])
    if np.linalg.matrix_rank(X) >= data.n_seen - 1:
        return _too_few(stage)
    column = series.coding.factor_columns(trend.factors[0], data.raw)[:, 0]
    ones = X[:, :1]
    free, total = _squares_left(X, column), _squares_left(ones, column)
    shared = 1.0 - free / total
    terms, model = (*stage.terms, trend), (*stage.model, trend)
    seed = (abs(chain.seed), position, 0xD21F)
    mixture = stage_mixture(series, data, model, seed, _DRAWS, beliefs, "draft")
    posterior = equal_draws(mixture.posterior, _DRAWS, seed)
    inclusion = term_inclusion(terms, mixture)
    fit = StageFit(series, chain.level, stage.outcome, terms, model, data, inclusion, posterior)
    finding: DriftFinding = "no sign"
    if shared > _MIXED_UP:
        finding = "mixed up"
    elif inclusion[trend] >= _SEEMS:
        finding = "drift"
    limit = total * (1.0 - _GOES_ALONG**2)
    along = {name: series.coding.factor_columns(name, data.raw) for name in chain.series.factor_names}
    return Drift(
        stage.outcome.name,
        finding,
        data.n_seen,
        fit.effects[-1] if finding == "drift" else None,
        tuple(n for n, c in along.items() if _squares_left(np.hstack([ones, c]), column) < limit),
        shared,
        _could_show(fit, free),
    )


def _squares_left(X: FloatArray, column: FloatArray) -> float:
    """Sum of squares of a column that the columns of X leave over."""
    rest = column - X @ linalg.lstsq(X, column)[0]
    return float(rest @ rest)


def _could_show(fit: StageFit, free: float) -> float:
    """Smallest change over the series that would be found 8 times in 10 at the 10 % level."""
    if free < 1e-9:
        return np.inf
    needed = float(ndtri(0.95) + ndtri(0.80)) / np.sqrt(free)  # of a slope whose weight w is 1
    if fit.outcome.kind == "measured":
        return float(2.0 * needed * np.exp(fit.posterior.shape[:, 0]).mean())
    good = fit.n_good if fit.outcome.counts else int((fit.data.y == 0).sum())
    p = (good + 0.5) / (fit.n_seen + 1.0)
    slope = needed / np.sqrt(p * (1.0 - p))
    return float(expit(logit(p) + slope) - expit(logit(p) - slope))
