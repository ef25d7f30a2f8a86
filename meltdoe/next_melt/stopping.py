"""Go on or stop: four honest reasons to stop, checked in the order in which a maker would want to hear them.

The figures are here; `meltdoe.report.advice_sentences` puts them into words.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from meltdoe.fit.stage_chain import ChainFit, fit_chain
from meltdoe.log.melt_log import Log
from meltdoe.plans.candidates import candidate_settings

__all__ = ["Ending", "Verdict", "confirmation_melts", "money_spent", "verdict"]

Ending: TypeAlias = Literal["reached", "melts spent", "money spent", "out of reach", "not worth it", "go on"]

_SURE = 0.90  # chance that the best setting reaches the target, enough to stop
_HOPELESS = 0.05  # chance that any setting at all reaches the target, too little to go on
_LOOKED_AT, _THIN = 1500, 4  # settings and share of the draws looked at for it


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
    """

    ending: Ending
    reaches: float
    reachable: float
    gain: float
    most_gain: float
    cost: float
    spent: float

    @property
    def word(self) -> Literal["go on", "stop"]:
        return "go on" if self.ending == "go on" else "stop"


def confirmation_melts(target: float, level: float = 0.90) -> int:
    """Fewest good melts in a row whose exact lower bound lies at or above the target.

    With n of n good the one-sided Clopper-Pearson lower bound is (1 - level)^(1/n).
    """
    return int(np.ceil(np.log(1.0 - level) / np.log(target)))


def verdict(
    chain: ChainFit, *, reaches: float, reachable: float, gain: float, most_gain: float, cost: float
) -> Verdict:
    """Judge from the posterior whether another melt is worth its cost; parameters as in `Verdict`."""
    series, done = chain.series, len(chain.log.melt_numbers)
    budget, spent = series.budget, money_spent(chain.log)
    ending: Ending = "go on"
    if reaches >= _SURE:
        ending = "reached"
    elif budget.melts is not None and done >= budget.melts:
        ending = "melts spent"
    elif budget.money is not None and spent + cost > budget.money:
        ending = "money spent"
    elif reachable < _HOPELESS and reachable_at_even_odds(chain) < _HOPELESS:
        ending = "out of reach"
    elif budget.money is not None and series.costs.known and most_gain * budget.money < cost:
        ending = "not worth it"  # the whole budget is what a sure success is worth to this maker
    return Verdict(ending, reaches, reachable, max(gain, 0.0), most_gain, cost, spent)


def reachable_at_even_odds(chain: ChainFit) -> float:
    """Chance that any setting at all reaches the target, had both answers been equally likely before the first melt.

    The default prior of a long chain holds success to be rare before anything is melted, since every stage has to be
    good at one and the same setting. Only what the melts have added to that doubt may end a series: the posterior
    odds are divided by the prior odds (the Bayes factor; Kass & Raftery 1995, J. Am. Stat. Assoc. 90:773).
    """
    series = chain.series
    before = fit_chain(series, Log(series), seed=chain.seed)
    settings = candidate_settings(series, _LOOKED_AT, chain.seed)
    odds = []
    for fit in (chain, before):
        reaches = fit.success_draws(settings, thin=_THIN).max(axis=1) >= series.target_chance
        odds.append((reaches.sum() + 0.5) / (len(reaches) - reaches.sum() + 0.5))
    return float(odds[0] / (odds[0] + odds[1]))


def money_spent(log: Log) -> float:
    """Money used so far: melts, firings, and the losses of what went wrong."""
    costs, series = log.series.costs, log.series
    spent = costs.melt * len(log.melt_numbers) + costs.firing * len({entry.firing for entry in log.entries})
    for entry in log.entries:
        for name, seen in entry.seen.items():
            if series.outcome(name).is_good(seen) is False:
                spent += costs.loss.get(name, 0.0)
    return spent
