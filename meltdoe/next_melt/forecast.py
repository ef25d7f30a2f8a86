"""How many more melts it will take: series played on from here in arrays, by the rules that stop a real one.

Truths are posterior draws. What would be learnt of them is carried in normal form (`played_stage`): weighing the draws
themselves would need no such form, but a few thousand of them do not last through thirty melts of several outcomes.
The melt made next has the largest mixture of what it tells, to first order, and of the chance of success there raised
by a part of its spread. After each firing the setting with the best mean chance is held against the target as in
`stopping`; a path also ends where the money pays no further melt, or where knowing everything would be worth less than
one. Melts of one firing share its settings but are taken to be independent.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.next_melt.left import left_of_budget
from meltdoe.next_melt.played_stage import Flags, PlayedStage, Positions, played_stage
from meltdoe.next_melt.stopping import SURE, stake
from meltdoe.series.factor import FloatArray

__all__ = ["Forecast", "forecast_from"]

_PATHS = 200  # series played
_MOST_MELTS = 30  # where the budget sets no bound, or is spent
_SPREAD = 0.5  # standard deviations of hope when melts are made to reach a target
_SAMPLES, _COMPARED = 24, 80  # for what knowing everything would gain: samples, and about how many settings
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
    gives_up : share that stop earlier since another melt is not worth its cost.
    works : share of them whose recommended setting truly reaches the target in the end, whether that is shown or not.
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
    gives_up: float
    works: float
    money: float
    money_low: float
    money_high: float
    played: int


def forecast_from(
    chain: ChainFit,
    settings: FloatArray,
    learn_weight: float,
    seed: int,
    room: int | None = None,
    melt_price: float = 0.0,
    most_gain: float = np.inf,
) -> Forecast:
    """Play the series on.

    Parameters
    ----------
    settings : (n, n_factors) where melts may be made and what may be recommended, some tens or a few hundred.
    learn_weight : part of learning in the choice of melts at the beginning; it falls as the melts are used up.
    seed : of truths and results.
    room : melts that the budget still allows; None looks 30 ahead, whatever the budget says.
    melt_price : expected price of a melt; a path ends where its money pays no further melt and firing.
    most_gain : gain in the best chance today if everything were known; the paths begin at this figure. Infinite where
        the series goes on whether a melt is worth its cost or not.
    """
    series, left = chain.series, left_of_budget(chain.log)
    each = series.kiln.melts_per_firing
    horizon = _MOST_MELTS if room is None else min(room, _MOST_MELTS)
    purse = np.inf if room is None or left.money is None else left.money
    rng = np.random.default_rng([abs(seed), 0xF0])
    truths = rng.permutation(chain.n_draws)[:_PATHS]
    counting = [stage for stage in chain.stages if stage.outcome.counts]
    names = [stage.outcome.name for stage in counting]
    stages = [played_stage(chain, stage, names, settings, truths) for stage in counting]
    shared = list(series.per_firing)
    firing_of = np.unique(settings[:, shared], axis=0, return_inverse=True)[1].ravel() if shared else None
    points = ndtri((rng.permuted(np.tile(np.arange(_POINTS), (2 * len(stages), 1)), axis=1) + 0.5) / _POINTS)
    normal = [rng.standard_normal((_SAMPLES, stage.along.shape[1])) for stage in stages]
    worth = stake(series) if np.isfinite(most_gain) else None
    if worth is not None:
        worth *= most_gain / max(float(_most_gain(stages, np.arange(1), normal)[0]), 1e-9)
    needed, money, given_up = np.full(len(truths), np.inf), np.zeros(len(truths)), 0
    going, made = np.arange(len(truths)), 0
    while made < horizon and len(going):
        going = going[money[going] + series.costs.firing + melt_price <= purse]
        together = min(each, horizon - made)
        money[going] += series.costs.firing
        weight = learn_weight * (1.0 - made / horizon)
        kept: Positions | None = None
        paid = going
        for _ in range(together):
            at = _next_setting(stages, paid, weight, kept, firing_of)
            money[paid] += series.costs.melt + _melt(stages, paid, at, rng)
            can = money[paid] + melt_price <= purse
            paid, kept = paid[can], None if firing_of is None else firing_of[at[can]]
        made += together
        reached = _reaches(stages, going, points, series.target_chance) >= SURE
        needed[going[reached]] = made
        going = going[~reached]
        if worth is not None and len(going) and made < horizon:
            cost = melt_price + series.costs.firing / min(each, horizon - made)
            worth_it = _most_gain(stages, going, normal) * worth >= cost
            given_up += int((~worth_it).sum())
            going = going[worth_it]
    low, median, high = (_melts(value) for value in np.quantile(needed, [0.1, 0.5, 0.9], method="inverted_cdf"))
    spent = np.quantile(money, [0.1, 0.9])
    return Forecast(
        horizon, room is not None and horizon == room, median, low, high, float(np.isinf(needed).mean()),
        given_up / len(truths), _works(stages, series.target_chance), float(money.mean()), float(spent[0]),
        float(spent[1]), len(truths),
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
        told = told + before * stage.told(chance, variance)
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


def _best(stages: list[PlayedStage], paths: Positions) -> tuple[list[tuple[FloatArray, FloatArray]], Positions]:
    """What is believed of each stage, and the setting with the best mean chance, by path."""
    latents = [stage.latent(paths) for stage in stages]
    mean = np.prod([stage.chance(m, v) for stage, (m, v) in zip(stages, latents, strict=True)], axis=0)
    return latents, np.asarray(mean.argmax(axis=1))


def _reaches(stages: list[PlayedStage], paths: Positions, points: FloatArray, target: float) -> FloatArray:
    """Chance that the setting with the best mean chance reaches the target, by path."""
    latents, best = _best(stages, paths)
    rows = np.arange(len(paths))
    product = np.ones((len(paths), points.shape[1]))
    for stage, (m, v), z, scatter in zip(stages, latents, points[::2], points[1::2], strict=True):
        latent = m[rows, best, None] + np.sqrt(v[rows, best, None]) * z
        product *= stage.known_chance(latent, stage.believed_noise(paths, scatter))
    return np.asarray((product >= target).mean(axis=1))


def _most_gain(stages: list[PlayedStage], paths: Positions, normal: list[FloatArray]) -> FloatArray:
    """Gain in the best chance if everything were known, by path, from a few settings and samples of what is believed.

    Parameters
    ----------
    normal : (n_samples, n_directions) standard normal numbers for each stage, the same for all paths.
    """
    some = np.arange(0, len(stages[0].mid), max(len(stages[0].mid) // _COMPARED, 1))
    success: FloatArray = np.ones((len(paths), len(normal[0]), len(some)))
    for stage, numbers in zip(stages, normal, strict=True):
        sizes, turns = np.linalg.eigh(stage.cov[paths])
        root = turns * np.sqrt(np.maximum(sizes, 0.0))[:, None, :]
        z = stage.mean[paths][:, None, :] + numbers @ root.transpose(0, 2, 1)
        success *= stage.known_chance(stage.mid[some] + z @ stage.along[some].T)
    return np.asarray(success.max(axis=2).mean(axis=1) - success.mean(axis=1).max(axis=1))


def _works(stages: list[PlayedStage], target: float) -> float:
    """Share of all paths in which that setting truly reaches the target."""
    paths = np.arange(len(stages[0].truth))
    best = _best(stages, paths)[1]
    true = np.prod([stage.known_chance(stage.truth[paths, best], stage.noise) for stage in stages], axis=0)
    return float((true >= target).mean())
