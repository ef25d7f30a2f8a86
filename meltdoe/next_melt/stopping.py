"""Go on or stop: honest reasons to stop, checked in the order in which a maker would want to hear them.

The figures are here; `meltdoe.report.advice_sentences` puts them into words.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Literal, TypeAlias

import numpy as np

from meltdoe.fit.draws.inclusion_mixture import Effort
from meltdoe.fit.stages.stage_chain import N_DRAWS, BestSetting, ChainFit, fit_chain
from meltdoe.log.melt_log import Log
from meltdoe.next_melt.left import left_of_budget, money_spent
from meltdoe.next_melt.views import ChainViews, chain_views
from meltdoe.next_melt.worth import melt_price
from meltdoe.plans.optimal.candidates import candidate_settings
from meltdoe.series.factor import Amount, FloatArray
from meltdoe.series.melt_series import MeltSeries

__all__ = [
    "SPENT", "SURE", "Confirmation", "Ending", "Verdict", "chance_reachable", "confirmation", "confirmation_melts",
    "money_spent", "most_worth_knowing", "reachable_at_even_odds", "stake", "verdict",
]  # fmt: skip

Ending: TypeAlias = Literal[
    "reached", "melts spent", "firings spent", "money spent", "out of reach", "not worth it", "go on"
]

Hope: TypeAlias = Literal["open", "last try", "none"]

SPENT: frozenset[Ending] = frozenset({"melts spent", "firings spent", "money spent"})  # the budget is used up
SURE = 0.90  # chance that the best setting reaches the target, enough to stop
HOPELESS = 0.05  # chance that any setting at all reaches the target, too little to go on
_FORLORN = 0.01  # so little that not even the best guess is worth a try
_AMPLE = 2.0  # times its price that knowing everything is worth; below it, how it was worked out matters
_NEAR = 0.2  # share of its range that an amount may lie away from a setting that counts as tried
_LOOKED_AT = 1500  # settings looked at for it
_FEW_DRAWS = 200  # draws of the first look at them
_OFTEN_BEST, _HOPEFUL = 80, 20  # settings looked at with all draws
_BEFORE_DRAWS = 1000  # draws for the odds before the first melt: their error, 6 %, is small beside what melts add
_A_FEW = 3  # good melts in a row after which people like to feel sure


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether to go on, with the figures behind it.

    Parameters
    ----------
    reaches : chance that the best setting succeeds at least as often as the target asks.
    reachable : chance that any setting at all does.
    gain : expected gain in the best chance from the most hopeful single melt.
    most_gain : gain in the best chance if everything were known.
    cost : money that the next melt is expected to cost.
    spent : money used so far.
    last_try : whether the target would be out of reach, were it not that no melt was made near the best setting yet.
    """

    ending: Ending
    reaches: float
    reachable: float
    gain: float
    most_gain: float
    cost: float
    spent: float
    last_try: bool = False

    @property
    def word(self) -> Literal["go on", "stop"]:
        return "go on" if self.ending == "go on" else "stop"


@dataclass(frozen=True, slots=True)
class Confirmation:
    """What good melts in a row at the best setting would prove.

    Parameters
    ----------
    melts : fewest that prove the target without any model, at `level`.
    all_good : chance, by the fit, that they all are good.
    few : a smaller number, the lower bound `few_prove` that they give without a model, and the chance `few_reach` that
        the setting reaches the target, by the fit, once they were good.
    """

    melts: int
    level: float
    all_good: float
    few: int
    few_prove: float
    few_reach: float


def confirmation_melts(target: float, level: float = 0.90) -> int:
    """Fewest good melts in a row whose exact lower bound lies at or above the target.

    With n of n good the one-sided Clopper-Pearson lower bound is (1 - level)^(1/n).
    """
    return int(np.ceil(np.log(1.0 - level) / np.log(target)))


def confirmation(success: FloatArray, target: float, level: float = 0.90) -> Confirmation:
    """What further melts at one setting would prove.

    Parameters
    ----------
    success : (n_draws,) chance of success there by posterior draw. A run of n good melts weighs each draw by its
        nth power.
    """
    melts = confirmation_melts(target, level)
    few = success**_A_FEW
    reach = float((few * (success >= target)).sum() / few.sum()) if few.sum() > 0.0 else 0.0
    return Confirmation(
        melts, level, float((success**melts).mean()), _A_FEW, float((1.0 - level) ** (1 / _A_FEW)), reach
    )


def stake(series: MeltSeries) -> float | None:
    """What a sure success is worth to this maker: the money put aside, or what the melts put aside would cost."""
    if not series.costs.known:
        return None
    if series.budget.money is not None:
        return series.budget.money
    if series.budget.melts is None:
        return None
    return series.budget.melts * (series.costs.melt + series.costs.firing / series.kiln.melts_per_firing)


def hope_left(chain: ChainFit, reachable: float, best: FloatArray, *, can_be_tried: bool = True) -> Hope:
    """Whether the target can still be thought to be within reach.

    A region whose ends alone were melted is not known in its middle: what a fit says of places far from all melts rests
    on what was assumed before them. The target is therefore not called out of reach before the best guess was tried.

    Parameters
    ----------
    reachable : chance that any setting at all reaches the target. best : (n_factors,) the best setting.
    can_be_tried : whether it keeps the ceiling on the chance of a costly failure.

    Returns
    -------
    "open"; "last try" where only the best guess is left to be tried; "none".
    """
    hope = HOPELESS if reachable >= HOPELESS else max(reachable, reachable_at_even_odds(chain))
    if hope >= HOPELESS:
        return "open"
    return "last try" if can_be_tried and hope >= _FORLORN and not _tried(chain, best) else "none"


def most_worth_knowing(chain: ChainFit, most_gain: float, best: BestSetting) -> float:
    """Gain in the best chance if everything were known, for judging whether a melt is worth its cost.

    The default prior of a long chain holds success to be rare, and what it makes of the gain must not end a series
    before the best guess was tried: where `most_gain` would hardly pay for that melt, it counts for at least the
    even-odds chance that the target can be reached (`reachable_at_even_odds`) times the way from the best chance to it.
    """
    series, worth = chain.series, stake(chain.series)
    if worth is None:
        return most_gain
    price = melt_price(chain, best.raw) + series.costs.firing / series.kiln.melts_per_firing
    if most_gain * worth >= _AMPLE * price or _tried(chain, best.raw):
        return most_gain
    return max(most_gain, reachable_at_even_odds(chain) * max(series.target_chance - best.chance, 0.0))


def _tried(chain: ChainFit, setting: FloatArray) -> bool:
    """Whether a melt on record has the same options and every amount within a part of its range."""
    series = chain.series
    reach = np.array([_NEAR * (f.high - f.low) if isinstance(f, Amount) else 0.0 for f in series.factors])
    return bool((np.abs(chain.log.raw - setting) <= reach + 1e-9).all(axis=1).any())


def verdict(
    chain: ChainFit, *, reaches: float, reachable: float, hope: Hope, gain: float, most_gain: float, cost: float
) -> Verdict:
    """Judge from the posterior whether another melt is worth its cost; parameters as in `Verdict` and `hope_left`."""
    left, worth = left_of_budget(chain.log), stake(chain.series)
    ending: Ending = "go on"
    if reaches >= SURE:
        ending = "reached"
    elif left.melts == 0:
        ending = "melts spent"
    elif left.firings == 0:
        ending = "firings spent"
    elif left.money is not None and cost > left.money:
        ending = "money spent"
    elif hope == "none":
        ending = "out of reach"
    elif worth is not None and most_gain * worth < cost:
        ending = "not worth it"
    last_try = ending == "go on" and hope == "last try"
    return Verdict(ending, reaches, reachable, max(gain, 0.0), most_gain, cost, money_spent(chain.log), last_try)


def reachable_at_even_odds(chain: ChainFit) -> float:
    """Chance that any setting at all reaches the target, had both answers been equally likely before the first melt.

    The default prior of a long chain holds success to be rare before anything is melted, since every stage has to be
    good at one and the same setting. Only what the melts have added to that doubt may end a series: the posterior
    odds are divided by the prior odds (the Bayes factor; Kass & Raftery 1995, J. Am. Stat. Assoc. 90:773).
    """
    series = chain.series
    effort: Effort = "full" if chain.n_draws >= N_DRAWS["full"] else "draft"
    before = _odds_before(
        _Unmelted(repr(replace(series, folder=None)), min(chain.n_draws, _BEFORE_DRAWS), effort, series)
    )
    settings = candidate_settings(series, _LOOKED_AT, series.seed)
    now = _odds_reachable(chain, settings)
    return float(now / (now + before))


@dataclass(frozen=True)
class _Unmelted:
    """What the odds before the first melt depend on; equal where `told` is, which has the whole series in it."""

    told: str
    n_draws: int
    effort: Effort
    series: MeltSeries = field(compare=False)


@lru_cache(maxsize=4)
def _odds_before(unmelted: _Unmelted) -> float:
    """Prior odds that any setting reaches the target; a rehearsal asks for them in every series it plays."""
    series = unmelted.series
    nothing = fit_chain(series, Log(series), seed=series.seed, n_draws=unmelted.n_draws, effort=unmelted.effort)
    return _odds_reachable(nothing, candidate_settings(series, _LOOKED_AT, series.seed))


def _odds_reachable(chain: ChainFit, settings: FloatArray) -> float:
    reaches = chain.n_draws * chance_reachable(chain, chain_views(chain, settings, _FEW_DRAWS, in_full=False))
    return (reaches + 0.5) / (chain.n_draws - reaches + 0.5)


def chance_reachable(chain: ChainFit, views: ChainViews) -> float:
    """Chance that any of the settings looked at reaches the target, from all draws.

    Parameters
    ----------
    views : the settings, with a few draws. Only those that are best for one of these, or best on average, are looked at
        with all draws: a draw that reaches the target anywhere does so at one of them but for rare exceptions.
    """
    success = views.success_draws
    places, times = np.unique(success.argmax(axis=1), return_counts=True)
    often = places[np.argsort(-times, kind="stable")][:_OFTEN_BEST]
    hopeful = np.argsort(-success.mean(axis=0), kind="stable")[:_HOPEFUL]
    close = chain_views(chain, views.raw[np.union1d(often, hopeful)], in_full=False)
    return float((close.success_draws.max(axis=1) >= chain.series.target_chance).mean())
