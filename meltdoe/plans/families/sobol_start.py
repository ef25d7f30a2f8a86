"""A start by the Sobol sequence: points that fill the region evenly wherever they are stopped.

Sobol (1967), USSR Comput. Math. Math. Phys. 7, scrambled after Owen (from memory); the sequence itself comes with
scipy. Points that break a limit are passed over, per-firing factors take the points of a sequence over firings.
"""

from __future__ import annotations

import numpy as np

from meltdoe.plans.keep_limits import move_into_limits
from meltdoe.series.factor import Amount, Factor, FloatArray
from meltdoe.series.melt_series import MeltSeries

__all__ = ["sobol_spread"]

_MOST_POINTS = 4096


def sobol_spread(series: MeltSeries, sizes: tuple[int, ...], rng: np.random.Generator) -> FloatArray:
    """Melts by a scrambled Sobol sequence, on the steps, within the limits, constant per firing where they must be.

    Parameters
    ----------
    sizes : melts in each firing.

    Returns
    -------
    (sum(sizes), n_factors) raw settings, firing by firing.

    Raises
    ------
    PlanImpossible
        Where the limits leave nothing near a setting.
    """
    from scipy.stats import qmc  # inside: it takes half a second to load

    firing = np.repeat(np.arange(len(sizes)), sizes)
    points = qmc.Sobol(len(series.factors), scramble=True, rng=rng).random(_MOST_POINTS)
    raw = np.column_stack([_settings(factor, points[:, i]) for i, factor in enumerate(series.factors)])
    shared = list(series.per_firing)
    if not shared:
        good = raw[series.allowed(raw)]
        if len(good) >= len(firing):
            return good[: len(firing)]
        return move_into_limits(series, raw[: len(firing)], firing).raw
    table = np.empty((len(firing), raw.shape[1]))
    table[:, shared] = raw[: len(sizes)][firing][:, shared]
    place = len(sizes)
    for row in range(len(table)):
        trial = raw[place:].copy()
        trial[:, shared] = table[row, shared]
        kept = np.flatnonzero(series.allowed(trial))
        step = int(kept[0]) if len(kept) else 0
        table[row] = trial[step]
        place += step + 1 if place + step + 1 < len(raw) - 1 else 0
    return move_into_limits(series, table, firing).raw


def _settings(factor: Factor, share: FloatArray) -> FloatArray:
    if isinstance(factor, Amount):
        return np.clip(factor.snap(factor.decoded(2.0 * share - 1.0)), factor.low, factor.high)
    return np.minimum(np.floor(share * len(factor.options)), len(factor.options) - 1.0)
