"""The setting with the best chance of success, among those that can be set and that keep every limit.

Every combination of steps is tried where there are few enough. Otherwise seeded random settings and those already
melted are scored, and the best of them are improved one factor at a time until no single step helps (coordinate
search). The same series and fit give the same setting.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from meltdoe.errors import Inestimable
from meltdoe.series.factor import FloatArray, Setting
from meltdoe.series.melt_series import MeltSeries

__all__ = ["BestSetting", "best_setting", "settable_candidates"]

_GRID_AT_MOST = 4096  # combinations that are tried one by one
_RANDOM = 2048
_STARTS = 4  # how many good settings are improved by coordinate search
_FINALISTS = 64  # scored once more with every draw
_SCREEN = 16  # screening uses every sixteenth draw


class SuccessDraws(Protocol):
    """Draws of the chance of success at raw settings: (n, n_factors) to (n_draws, n), every `thin`-th draw."""

    def __call__(self, raw: FloatArray, *, thin: int = 1) -> FloatArray: ...


@dataclass(frozen=True, slots=True, eq=False)
class BestSetting:
    """The setting with the largest posterior mean chance of success.

    Attributes
    ----------
    settings : by name, on their steps. raw : (n_factors,) the same as numbers.
    chance, low, high : posterior mean and interval of the chance of success there.
    chance_reaches_target : posterior chance that the chance of success there is at least the target of the series.
    """

    settings: Mapping[str, Setting]
    raw: FloatArray
    chance: float
    low: float
    high: float
    chance_reaches_target: float


def settable_candidates(series: MeltSeries, seen: FloatArray | None = None) -> tuple[FloatArray, bool]:
    """Settings on their steps that keep every limit, shape (n, n_factors), and whether they are all there are.

    Parameters
    ----------
    seen : (n_rows, n_factors) settings already melted, brought on to the steps and added where not all are listed.

    Raises
    ------
    Inestimable
        Where no setting was found that keeps every limit.
    """
    grids = _grids(series)
    complete = float(np.prod([float(len(grid)) for grid in grids])) <= _GRID_AT_MOST
    if complete:
        table = np.array(list(itertools.product(*grids)), dtype=float).reshape(-1, len(grids))
    else:
        rng = np.random.default_rng([series.seed, 0x5E77])
        table = np.column_stack([rng.choice(grid, _RANDOM) for grid in grids])
        corners = itertools.islice(itertools.product(*((grid[0], grid[-1]) for grid in grids)), _RANDOM)
        table = np.concatenate([table, np.array(list(corners), dtype=float)])
        if seen is not None and len(seen):
            usable = seen[np.isfinite(seen).all(axis=1)]
            snapped = [factor.snap(usable[:, i]) for i, factor in enumerate(series.factors)]
            table = np.concatenate([table, np.column_stack(snapped)])
        table = np.unique(table, axis=0)
    table = table[series.allowed(table)]
    if not len(table):
        raise Inestimable("no setting was found that keeps every limit")
    return table, complete


def _grids(series: MeltSeries) -> list[FloatArray]:
    """The values that each factor can be set to, without the last digits that a logarithm leaves."""
    return [np.round(factor.grid(), 10) for factor in series.factors]


def best_setting(
    series: MeltSeries,
    success: SuccessDraws,
    level: float,
    candidates: FloatArray | None = None,
    seen: FloatArray | None = None,
) -> BestSetting:
    """Search for the largest posterior mean chance of success.

    Parameters
    ----------
    candidates : (n, n_factors) raw settings to choose from as they are; all settable ones where None.
    seen : (n_rows, n_factors) settings already melted, as starts of the search.

    Raises
    ------
    Inestimable
        Where no candidate keeps every limit.
    """
    if candidates is None:
        table, complete = settable_candidates(series, seen)
    else:
        table = np.atleast_2d(np.asarray(candidates, dtype=float))
        table, complete = table[series.allowed(table)], True
        if not len(table):
            raise Inestimable("none of the candidates keeps every limit")
    score = success(table, thin=_SCREEN).mean(axis=0)
    if not complete:
        first = _ranked(series, table, score)[:_STARTS]
        tops, top_scores = _climbed(series, success, table[first], score[first])
        table, score = np.concatenate([table, tops]), np.concatenate([score, top_scores])
    finalists = table[_ranked(series, table, score)[:_FINALISTS]]
    draws = success(finalists)
    winner = int(_ranked(series, finalists, draws.mean(axis=0))[0])
    chosen = draws[:, winner]
    low, high = np.quantile(chosen, [(1 - level) / 2, (1 + level) / 2])
    return BestSetting(
        settings=series.settings(finalists[winner]),
        raw=finalists[winner],
        chance=float(chosen.mean()),
        low=float(low),
        high=float(high),
        chance_reaches_target=float((chosen >= series.target_chance).mean()),
    )


def _ranked(series: MeltSeries, table: FloatArray, score: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """Best first; equal scores by the distance from the middle, then by the settings: nothing is left to chance."""
    middle = series.coding.centre()
    span = np.array([np.ptp(factor.grid()) or 1.0 for factor in series.factors])
    distance = np.round((((table - middle) / span) ** 2).sum(axis=1), 9)
    return np.lexsort((*table.T[::-1], distance, -np.round(score, 12)))


def _climbed(
    series: MeltSeries, success: SuccessDraws, starts: FloatArray, scores: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """From every start, turn one factor at a time to its best step until no factor helps; settings and their scores."""
    grids = _grids(series)
    here, best = starts.copy(), scores.copy()
    climbing = list(range(len(starts)))
    for _ in range(10 * len(series.factors)):
        if not climbing:
            break
        moves = {i: _moves(series, grids, here[i]) for i in climbing}
        climbing = [i for i in climbing if len(moves[i])]
        if not climbing:
            break
        score = success(np.concatenate([moves[i] for i in climbing]), thin=_SCREEN).mean(
            axis=0
        )  # one look at all moves
        ends = np.cumsum([len(moves[i]) for i in climbing])
        better = []
        for i, part in zip(climbing, np.split(score, ends[:-1]), strict=True):
            top = int(_ranked(series, moves[i], part)[0])
            if part[top] > best[i] + 1e-12:
                here[i], best[i] = moves[i][top], part[top]
                better.append(i)
        climbing = better
    return here, best


def _moves(series: MeltSeries, grids: list[FloatArray], here: FloatArray) -> FloatArray:
    """All settings that differ from one in a single factor and keep the limits, and itself."""
    tables = []
    for i, grid in enumerate(grids):
        table = np.tile(here, (len(grid), 1))
        table[:, i] = grid
        tables.append(table)
    moves = np.concatenate(tables)
    return moves[series.allowed(moves)]
