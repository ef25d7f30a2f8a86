"""Moving the melts of a pattern that would break a limit to the nearest settings that keep it.

Nearest is meant in coded units. Factors set per melt are moved first, so that a firing stays as it is; where that is
not enough the per-firing settings of the whole group of melts are moved together. Only amounts that stand in a limit
move.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.series.factor import Amount, FloatArray
from meltdoe.series.melt_series import MeltSeries

__all__ = ["Moved", "limits_in_words", "move_into_limits"]

_MOST_PLACES = 10_000
_MOST_GROUP_PLACES = 1_000
_MOST_MELT_PLACES = 200


@dataclass(frozen=True, eq=False)
class Moved:
    """A table that keeps every limit, and which of its rows were moved for that, shape (n_melts,)."""

    raw: FloatArray
    moved: npt.NDArray[np.bool_]


def move_into_limits(series: MeltSeries, raw: FloatArray, groups: npt.NDArray[np.int64]) -> Moved:
    """Move the rows that break a limit, as little as the steps allow.

    Parameters
    ----------
    raw : (n_melts, n_factors) raw settings.
    groups : (n_melts,) numbers of the groups of melts that share their per-firing settings.

    Raises
    ------
    PlanImpossible
        Where a row has no setting that keeps the limits.
    """
    keeps = series.allowed(raw)
    if keeps.all():
        return Moved(raw, np.zeros(len(raw), dtype=bool))
    named = frozenset().union(*(limit.comparison.names for limit in series.limits))
    movable = [i for i, f in enumerate(series.factors) if isinstance(f, Amount) and f.name in named]
    per_melt = [i for i in movable if i not in series.per_firing]
    per_firing = [i for i in movable if i in series.per_firing]
    result = raw.copy()
    for group in np.unique(groups[~keeps]):
        rows = np.flatnonzero(groups == group)
        settled = _group_in_place(series, raw[rows], per_melt)
        if settled is None and per_firing:
            settled = _group_elsewhere(series, raw[rows], per_melt, per_firing)
        if settled is None:
            broken = series.settings(raw[rows[int(np.argmin(keeps[rows]))]])
            raise PlanImpossible(
                f"no setting near {series.show(broken)} keeps the limit {limits_in_words(series, raw[rows])}",
                "narrow the ranges or ease the limit",
            )
        result[rows] = settled
    return Moved(result, (result != raw).any(axis=1))


def limits_in_words(series: MeltSeries, raw: FloatArray) -> str:
    """The limits that rows of a table break, with the user's reasons."""
    broken = dict.fromkeys(limit for row in raw for limit in series.broken_limits(series.settings(row)))
    return " and ".join(f'"{limit.keep}"' + (f" ({limit.why})" if limit.why else "") for limit in broken)


def _group_in_place(series: MeltSeries, rows: FloatArray, per_melt: list[int]) -> FloatArray | None:
    """The rows of a group, moved in their per-melt amounts only; None where one cannot be."""
    settled = rows.copy()
    for k in np.flatnonzero(~series.allowed(rows)):
        places = _places(series, rows[k], per_melt, _MOST_PLACES)
        allowed = np.flatnonzero(series.allowed(places))
        if not len(allowed):
            return None
        settled[k] = places[allowed[0]]
    return settled


def _group_elsewhere(
    series: MeltSeries, rows: FloatArray, per_melt: list[int], per_firing: list[int]
) -> FloatArray | None:
    """The rows of a group at the nearest per-firing setting at which all of them can be moved into the limits."""
    kilns = _places(series, rows[0], per_firing, _MOST_GROUP_PLACES)
    melts = _places(series, rows[0], per_melt, _MOST_MELT_PLACES)
    # limits hold amounts only, all of them free here: whether a setting of the kiln can do is the same for every row
    table = np.repeat(kilns, len(melts), axis=0)
    table[:, per_melt] = np.tile(melts[:, per_melt], (len(kilns), 1))
    can_do = series.allowed(table).reshape(len(kilns), len(melts)).any(axis=1)
    for place in kilns[can_do]:
        shifted = rows.copy()
        shifted[:, per_firing] = place[per_firing]
        settled = _group_in_place(series, shifted, per_melt)
        if settled is not None:
            return settled
    return None


def _places(series: MeltSeries, row: FloatArray, free: list[int], most: int) -> FloatArray:
    """The row with its free amounts at all values on the steps, nearest first (thinned to at most `most` places)."""
    if not free:
        return row[None, :]
    each = max(2, int(most ** (1.0 / len(free)) + 1e-9))
    grids, distances = [], []
    for i in free:
        factor = series.factors[i]
        assert isinstance(factor, Amount)
        grid = np.unique(np.append(np.clip(factor.grid(min(each, 401)), factor.low, factor.high), row[i]))
        grids.append(grid)
        distances.append((factor.coded(grid) - factor.coded(row[i : i + 1])) ** 2)
    mesh = np.meshgrid(*grids, indexing="ij")
    total = sum(np.meshgrid(*distances, indexing="ij"))
    nearest = np.argsort(np.asarray(total).ravel(), kind="stable")
    places = np.tile(row, (len(nearest), 1))
    for i, values in zip(free, mesh, strict=True):
        places[:, i] = values.ravel()[nearest]
    return places
