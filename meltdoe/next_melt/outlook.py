"""What the answers about going on are worked out from, once they are asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meltdoe.fit.stages.stage_chain import BestSetting, ChainFit
from meltdoe.next_melt.firing_search import within_risk
from meltdoe.next_melt.suggestion import Suggestion
from meltdoe.next_melt.views import ChainViews
from meltdoe.series.factor import FloatArray

__all__ = ["Outlook"]

_SHARED, _OWN = 6, 24  # settings of a firing's factors, and of the others, that a forecast plays with


@dataclass(frozen=True, eq=False)
class Outlook:
    """What the answers that are worked out on demand are made of.

    Parameters
    ----------
    views : all candidates, with few draws. targets : the settings that may come out as the best.
    learn_weight : part of learning in the aim. most_risk : ceiling on the chance of a costly failure, or None.
    """

    chain: ChainFit
    views: ChainViews
    targets: ChainViews
    learn_weight: float
    seed: int
    most_risk: float | None = None

    def played_settings(self, best: BestSetting, melts: Sequence[Suggestion]) -> FloatArray:
        """Settings for a forecast: those that are best for some draw, their own factors crossed with shared ones.

        Where a ceiling on risk was set, only settings that keep it are melted there, or recommended.
        """
        series, raw = self.chain.series, self.views.raw
        places, times = np.unique(self.views.success_draws.argmax(axis=1), return_counts=True)
        often = raw[places[np.argsort(-times, kind="stable")]][: 8 * _OWN]
        if self.most_risk is not None:
            often = often[within_risk(self.chain, often, self.most_risk)]
        own = np.vstack([best.raw, *(melt.raw for melt in melts), often[:_OWN], self.targets.raw[: _OWN // 3]])
        shared = list(series.per_firing)
        if not shared:
            table = np.unique(own, axis=0)
            return table[within_risk(self.chain, table, self.most_risk)]
        _, first = np.unique(own[:, shared], axis=0, return_index=True)
        crossed = [own]
        for place in np.sort(first)[:_SHARED]:
            table = own.copy()
            table[:, shared] = own[place, shared]
            crossed.append(table)
        table = np.unique(np.vstack(crossed), axis=0)
        table = table[series.allowed(table)]
        return table[within_risk(self.chain, table, self.most_risk)]
