"""How many more melts it will take: series played on from here in arrays, by the rule that stops a real one.

Truths are posterior draws. What would be learnt of them is carried in normal form (`played_stage`): weighing the draws
themselves would need no such form, but a few thousand of them do not last through thirty melts of several outcomes.
The melt made next has the largest mixture of what it tells, to first order, and of the chance of success there raised
by a part of its spread. After each firing the setting with the best mean chance is held against the target as in
`stopping`. Melts of one firing share its settings but are taken to be independent.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.next_melt.left import left_of_budget
from meltdoe.next_melt.played_stage import Flags, PlayedStage, Positions, played_stage
from meltdoe.next_melt.stopping import SURE
from meltdoe.series.factor import FloatArray

__all__ = ["Forecast", "forecast_from"]

_PATHS = 200  # series played
_MOST_MELTS = 30  # where the budget sets no bound, or is spent
_SPREAD = 0.5  # standard deviations of hope when melts are made to reach a target
_POINTS = 256  # for the chance that the best setting reaches the target


@dataclass(frozen=True, slots=True)
class Forecast:
    """How long the series would go on until the target counts as reached.

    Parameters
    ----------
    horizon : melts looked ahead: what is left of the budget, or 30.
    within_budget : whether the horizon is the budget's.
    melts : median number of melts still needed; None where more than half of the series played do not get there.
    low, high : 10 % and 90 % quantiles, None where beyond the horizon.
    never : share of the series played that do not get there within the horizon.
    money, money_low, money_high : mean and the same quantiles of the money spent until then or until the horizon,
        losses included.
    played : number of series played.
    """

    horizon: int
    within_budget: bool
    melts: float | None
    low: float | None
    high: float | None
    never: float
    money: float
    money_low: float
    money_high: float
    played: int


def forecast_from(chain: ChainFit, settings: FloatArray, learn_weight: float, seed: int) -> Forecast:
    """Play the series on.

    Parameters
    ----------
    settings : (n, n_factors) where melts may be made and what may be recommended, some tens or a few hundred.
    learn_weight : part of learning in the choice of melts at the beginning; it falls as the melts are used up.
    seed : of truths and results.
    """
    series, left = chain.series, left_of_budget(chain.log)
    each = series.kiln.melts_per_firing
    bounds = [bound for bound in (left.melts, None if left.firings is None else left.firings * each) if bound]
    horizon = min([*bounds, _MOST_MELTS])
    rng = np.random.default_rng([abs(seed), 0xF0])
    truths = rng.permutation(chain.n_draws)[:_PATHS]
    counting = [stage for stage in chain.stages if stage.outcome.counts]
    names = [stage.outcome.name for stage in counting]
    stages = [played_stage(chain, stage, names, settings, truths) for stage in counting]
    shared = list(series.per_firing)
    firing_of = np.unique(settings[:, shared], axis=0, return_inverse=True)[1].ravel() if shared else None
    points = ndtri((rng.permuted(np.tile(np.arange(_POINTS), (len(stages), 1)), axis=1) + 0.5) / _POINTS)
    needed, money = np.full(len(truths), np.inf), np.zeros(len(truths))
    going, made = np.arange(len(truths)), 0
    while made < horizon and len(going):
        together = min(each, horizon - made)
        money[going] += series.costs.firing
        weight = learn_weight * (1.0 - made / horizon)
        kept: Positions | None = None
        for _ in range(together):
            at = _next_setting(stages, going, weight, kept, firing_of)
            kept = firing_of[at] if firing_of is not None else None
            money[going] += series.costs.melt + _melt(stages, going, at, rng)
        made += together
        reached = _reaches(stages, going, points, series.target_chance) >= SURE
        needed[going[reached]] = made
        going = going[~reached]
    low, median, high = (_melts(value) for value in np.quantile(needed, [0.1, 0.5, 0.9], method="inverted_cdf"))
    spent = np.quantile(money, [0.1, 0.9])
    return Forecast(
        horizon, bool(bounds) and horizon == min(bounds), median, low, high, float(np.isinf(needed).mean()),
        float(money.mean()), float(spent[0]), float(spent[1]), len(truths),
    )  # fmt: skip


def _melts(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _next_setting(
    stages: list[PlayedStage], paths: Positions, weight: float, kept: Positions | None, firing_of: Positions | None
) -> Positions:
    """The setting of the next melt in each path, within the firing where one has begun."""
    shape = (len(paths), len(stages[0].mid))
    hope, told = np.ones(shape), np.zeros(shape)
    reached: list[FloatArray] = []
    for stage in stages:
        mean, variance = stage.latent(paths)
        before = np.ones_like(mean) if stage.after is None else reached[stage.after]
        chance = stage.chance(mean, variance)
        told = told + before * stage.told(mean, variance)
        reached.append(before * chance)
        hope = hope * stage.chance(mean + _SPREAD * np.sqrt(variance), 0.0)
    told, hope = (part / np.maximum(part.max(axis=1, keepdims=True), 1e-300) for part in (told, hope))
    value = weight * told + (1.0 - weight) * hope
    if kept is not None and firing_of is not None:
        value = np.where(firing_of[None, :] == kept[:, None], value, -np.inf)
    return np.asarray(value.argmax(axis=1))


def _melt(stages: list[PlayedStage], paths: Positions, at: Positions, rng: np.random.Generator) -> FloatArray:
    """Make one melt in every path; returns what its failure cost."""
    lost = np.zeros(len(paths))
    good: list[Flags] = []
    for stage in stages:
        here = np.ones(len(paths), dtype=bool) if stage.after is None else good[stage.after].copy()
        if here.any():
            was_good = stage.melt(paths[here], at[here], rng)
            lost[np.flatnonzero(here)[~was_good]] += stage.loss
            here[np.flatnonzero(here)[~was_good]] = False
        good.append(here)
    return lost


def _reaches(stages: list[PlayedStage], paths: Positions, points: FloatArray, target: float) -> FloatArray:
    """Chance that the setting with the best mean chance reaches the target, by path."""
    latents = [stage.latent(paths) for stage in stages]
    mean = np.prod([stage.chance(m, v) for stage, (m, v) in zip(stages, latents, strict=True)], axis=0)
    best = mean.argmax(axis=1)
    rows = np.arange(len(paths))
    product = np.ones((len(paths), points.shape[1]))
    for stage, (m, v), z in zip(stages, latents, points, strict=True):
        product *= stage.known_chance(m[rows, best, None] + np.sqrt(v[rows, best, None]) * z)
    return np.asarray((product >= target).mean(axis=1))
