"""A published orthogonal array for a series of factors at two, three and four settings.

Amounts and long scales take three settings (low, middle, high) where the array has a column for them, else two; every
option of a choice must have its level. The smallest array is taken that holds the factors and fits the room.
"""

from __future__ import annotations

import numpy as np

from meltdoe.plans.families.orthogonal_arrays import array_names, orthogonal_array
from meltdoe.plans.patterns import Pattern, raw_settings, refuse_firings
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.plans.room import Room
from meltdoe.series.factor import Amount, Choice, Factor
from meltdoe.series.melt_series import MeltSeries

__all__ = ["array_pattern"]

_MOST_LEVELS = 4


def array_pattern(series: MeltSeries, melts: int | None, room: Room) -> Pattern:
    """The smallest published array with a column for each factor."""
    needs = [_levels_needed(factor) for factor in series.factors]
    problem: PlanImpossible | None = None
    for name in array_names():
        table = orthogonal_array(name)
        if melts is not None and len(table) != melts:
            continue
        columns = _columns(table, needs)
        if columns is None:
            continue
        raw = np.column_stack([_settings(series, i, table[:, column]) for i, column in enumerate(columns)])
        try:
            refuse_firings(series, raw, room)
        except PlanImpossible as impossible:
            problem = problem or impossible
            continue
        return Pattern(
            raw,
            (f"array {name}",) * len(raw),
            f"the orthogonal array {name} in {len(raw)} melts: main effects are independent of each other and partly "
            "mixed up with the interactions of other factors",
        )
    sizes = ", ".join(f"{name} in {len(orthogonal_array(name))}" for name in array_names())
    raise problem or PlanImpossible(
        f"no published array{'' if melts is None else f' in {melts} melts'} holds factors of "
        f"{', '.join('/'.join(map(str, need)) for need in needs)} settings; there are {sizes}",
        'take design "optimal", or vary fewer factors',
    )


def _levels_needed(factor: Factor) -> tuple[int, ...]:
    """Numbers of levels that serve a factor, the best first."""
    if isinstance(factor, Amount):
        return (3, 2)
    options = len(factor.options)
    if options > _MOST_LEVELS:
        raise PlanImpossible(
            f'factor "{factor.name}" has {options} options and published arrays take at most {_MOST_LEVELS}',
            'take design "optimal", or keep fewer options',
        )
    return (options,) if isinstance(factor, Choice) or options < 3 or options % 2 == 0 else (options, 2)


def _columns(table: np.ndarray[tuple[int, int], np.dtype[np.int64]], needs: list[tuple[int, ...]]) -> list[int] | None:
    """A column for each factor; those that can take one kind only are served first."""
    levels = table.max(axis=0)
    free = list(range(table.shape[1]))
    chosen: dict[int, int] = {}
    for i in sorted(range(len(needs)), key=lambda i: len(needs[i])):
        place = next((c for wanted in needs[i] for c in free if levels[c] == wanted), None)
        if place is None:
            return None
        chosen[i] = place
        free.remove(place)
    return [chosen[i] for i in range(len(needs))]


def _settings(
    series: MeltSeries, i: int, column: np.ndarray[tuple[int], np.dtype[np.int64]]
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    factor = series.factors[i]
    if isinstance(factor, Choice):
        return np.asarray(column - 1, dtype=float)
    coded = np.zeros((len(column), len(series.factors)))
    coded[:, i] = 2.0 * (column - 1) / (column.max() - 1) - 1.0
    return np.asarray(raw_settings(series, coded)[:, i])
