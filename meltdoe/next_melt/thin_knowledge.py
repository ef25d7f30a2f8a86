"""Where knowledge is thin: for each factor, the part of its range where the chance of success is least known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.series.factor import Amount, FloatArray

__all__ = ["ThinSpot", "thin_spots"]

_STEPS = 5  # settings of each factor that are looked at
_BACKGROUNDS = 40  # settings of the other factors, averaged over
_THIN = 4  # an interval's width needs no more than every fourth draw


@dataclass(frozen=True, slots=True)
class ThinSpot:
    """Where along one factor the chance of success is least known.

    Parameters
    ----------
    factor : its name. at, known_best_at : raw settings where the interval is widest and narrowest.
    width, least_width : mean width of the interval of the chance of success there, over settings of the others.
    melts_near : melts on record within a tenth of the range of `at`, or with that option.
    """

    factor: str
    at: float
    known_best_at: float
    width: float
    least_width: float
    melts_near: int


def thin_spots(chain: ChainFit, backgrounds: FloatArray) -> tuple[ThinSpot, ...]:
    """One spot a factor, the widest first; a factor whose settings no limit allows is left out.

    Parameters
    ----------
    backgrounds : (n, n_factors) allowed settings, spread over the region.
    """
    series, raw = chain.series, chain.log.raw
    step = max(len(backgrounds) // _BACKGROUNDS, 1)
    others = backgrounds[::step][:_BACKGROUNDS]
    found = []
    for i, factor in enumerate(series.factors):
        spots = []
        for value in factor.grid(_STEPS):
            table = others.copy()
            table[:, i] = value
            table = table[series.allowed(table)]
            if len(table):
                draws = chain.success_draws(table, thin=_THIN if chain.n_draws > 400 else 1)
                low, high = np.quantile(draws, [(1 - chain.level) / 2, (1 + chain.level) / 2], axis=0)
                spots.append((float((high - low).mean()), float(value)))
        if not spots:
            continue
        (width, at), (least, known_at) = max(spots), min(spots)
        used = raw[:, i][np.isfinite(raw[:, i])]
        if isinstance(factor, Amount):
            near = np.abs(factor.coded(used) - factor.coded(np.array([at]))) <= 0.2 + 1e-9
        else:
            near = used == at
        found.append(ThinSpot(factor.name, at, known_at, width, least, int(near.sum())))
    return tuple(sorted(found, key=lambda spot: -spot.width))
