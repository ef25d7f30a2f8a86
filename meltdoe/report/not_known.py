"""What the melts do not say: effects mixed up, outcomes unseen, options and ranges never tried, extrapolation."""

from __future__ import annotations

import math

import numpy as np

from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.phrases import capital, listed, melts_phrase
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.log.melt_log import Log
from meltdoe.report.sentences import not_told_apart_sentences
from meltdoe.series.factor import Amount
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Unseen

__all__ = ["unknown_sentences", "waiting_sentences"]


def unknown_sentences(chain: ChainFit, best: BestSetting | None) -> tuple[str, ...]:
    """Effects that cannot be told apart, outcomes unseen, factors and ranges never tried."""
    series, log = chain.series, chain.log
    said = list(not_told_apart_sentences(chain)) if log.entries else []
    said += waiting_sentences(log)
    if log.entries:
        said += [
            f"{capital(o.name)} has never been seen."
            for o, s in zip(series.outcomes, chain.stages, strict=True)
            if not s.n_seen
        ]
        said += _never_tried(series, log)
    if best is not None and log.entries:
        said += _beyond_melts(series, log, best)
    return tuple(said)


def waiting_sentences(log: Log) -> tuple[str, ...]:
    """Which outcomes of which melts are not known yet, or lost."""
    said = []
    for outcome in log.series.outcomes:
        for state in (Unseen.LATER, Unseen.LOST):
            melts = sorted({e.melt for e in log.entries if e.seen.get(outcome.name) is state})
            if melts:
                what = "not known yet" if state is Unseen.LATER else "lost, never to be known"
                said.append(f"{capital(outcome.name)} of {melts_phrase(melts)}: {what}.")
    return tuple(said)


def _never_tried(series: MeltSeries, log: Log) -> list[str]:
    said = []
    for i, factor in enumerate(series.factors):
        used = log.raw[:, i]
        used = used[np.isfinite(used)]
        if not len(used):
            continue
        if isinstance(factor, Amount):
            low, high = float(used.min()), float(used.max())
            third = (factor.high - factor.low) / 3
            if math.isclose(low, high):
                said.append(f"{factor.name} was never changed: it stood at {factor.show(low)} in every melt.")
            elif low > factor.low + third or high < factor.high - third:
                said.append(
                    f"{factor.name} was only tried from {factor.show(low)} to {factor.show(high)}; its range goes from "
                    f"{factor.show(factor.low)} to {factor.show(factor.high)}."
                )
        else:
            missing = [option for k, option in enumerate(factor.options) if not np.any(used == k)]
            if missing:
                said.append(f"{factor.name} was never {listed(missing)}.")
    return said


def _beyond_melts(series: MeltSeries, log: Log, best: BestSetting) -> list[str]:
    """Factors whose recommended setting lies outside everything that was melted."""
    outside = []
    for i, factor in enumerate(series.factors):
        used = log.raw[:, i]
        used = used[np.isfinite(used)]
        if isinstance(factor, Amount) and len(used) and not used.min() <= best.raw[i] <= used.max():
            outside.append(f"{factor.name} {factor.show(float(best.raw[i]))}")
    if not outside:
        return []
    return [f"The recommended setting goes beyond all melts so far in {listed(outside)}: there it is extrapolation."]
