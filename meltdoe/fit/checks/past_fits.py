"""The series as it stood after so many firings, fitted once for all who ask: forecasts of the past, the way up so far.

A short series is fitted again before each firing. A longer one would take long, so from the sixth firing on it is
fitted again whenever a third more firings have been made. Where that is depends on the firings before it alone: what
comes later changes nothing of what is said about the past.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TypeAlias

from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.fit.stages.stage_data import stage_data
from meltdoe.fit.stages.stage_fit import StageFit, fit_stage
from meltdoe.log.melt_log import Entry, Log

__all__ = ["PastFits", "firings_in_order"]

_EACH, _GROWTH = 6, 4 / 3  # firings up to which each has its fit; growth from one fit to the next beyond (our choice)
_DRAWS = 800
_Name: TypeAlias = tuple[int, int]  # melt and mould


def firings_in_order(entries: tuple[Entry, ...]) -> tuple[int, ...]:
    """Numbers of the firings as they followed each other: by date where every entry has one, else by number."""
    firings = sorted({entry.firing for entry in entries})
    dates = {entry.firing: entry.date for entry in entries}
    if any(entry.date is None for entry in entries):
        return tuple(firings)
    return tuple(sorted(firings, key=lambda firing: (dates[firing], firing)))


@dataclass(frozen=True, eq=False)
class PastFits:
    """Quick fits of the past of a series, made when they are first asked for.

    Attributes
    ----------
    chain : the fit of the whole series.
    """

    chain: ChainFit
    _made: dict[int, ChainFit] = field(default_factory=dict, init=False, repr=False)
    _stages: dict[tuple[int, frozenset[_Name]], StageFit] = field(default_factory=dict, init=False, repr=False)

    @cached_property
    def order(self) -> tuple[int, ...]:
        """The firings as they followed each other."""
        return firings_in_order(self.chain.log.entries)

    @cached_property
    def stops(self) -> tuple[int, ...]:
        """After how many firings the series is fitted again: 0 first, all less than the firings made."""
        found, stop = [], 0
        while stop < len(self.order):
            found.append(stop)
            stop = max(stop + 1, round(_GROWTH * stop)) if stop >= _EACH else stop + 1
        return tuple(found)

    def after(self, firings: int) -> ChainFit:
        """The series as it stood after the first `firings` of them; outcomes that are only described are left out."""
        if firings not in self._made:
            then = set(self.order[:firings])
            log = Log(self.chain.series, tuple(e for e in self.chain.log.entries if e.firing in then))
            judged = [i for i, stage in enumerate(self.chain.stages) if stage.outcome.counts]
            stages = tuple(self._stage(i, log) for i in judged)
            self._made[firings] = replace(self.chain, log=log, stages=stages, n_draws=_DRAWS)
        return self._made[firings]

    def _stage(self, position: int, log: Log) -> StageFit:
        """An outcome of which a firing showed nothing is as it was: it need not be fitted again."""
        chain, outcome = self.chain, self.chain.stages[position].outcome
        rows = stage_data(chain.series, log, outcome).rows
        key = position, frozenset((log.entries[row].melt, log.entries[row].mould) for row in rows)
        if key not in self._stages:
            self._stages[key] = fit_stage(
                chain.series,
                log,
                outcome,
                level=chain.level,
                seed=(abs(chain.seed), position),
                n_draws=_DRAWS,
                beliefs=True,
                effort="draft",
            )
        return self._stages[key]
