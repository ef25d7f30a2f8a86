"""Quantities of the glass as covariates: viscosity at the pour, gas of the charge, expansion, from settings at once.

Viscosity is log10 Pa s at the temperature of the pour; gas is litres at 1100 °C and 1 atm per litre of loose charge
(1.2 g per ml, common practice, no source); expansion is in 1e-7 per K. Each is scaled to -1..+1 between its lowest and
highest value over the planned region, the limits kept.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meltdoe.charge.glass_at import GlassAt, glass_at
from meltdoe.charge.recipe_shares import shelf_name
from meltdoe.charge.shelf import Shelf, shelf
from meltdoe.charge.weights import BULK_DENSITY
from meltdoe.glass.viscosity_models import Viscosity
from meltdoe.series.chemistry import Columns, Derived, QuantityName
from meltdoe.series.factor import Amount, FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.recipe import Recipe
from meltdoe.units import Quantity, dimension

__all__ = [
    "NoQuantity", "Property", "acting_factors", "derived", "grid_axes", "raw_of", "region_points", "unmade_glass",
    "with_known_glass",
]  # fmt: skip

_UNITS: Mapping[QuantityName, str] = {"viscosity": "Pa s", "gas": "l per l of charge", "expansion": "e-7 per K"}
_LEVELS = {1: 21, 2: 9, 3: 5, 4: 3}  # of each amount on the grid, by the number of amounts; more amounts have 2
_MOST_POINTS = 20_000
_VALUES, _MOST_OUTSIDE = 201, 4_000  # values of an amount at most, and points, of a grid for use outside the program
_UNTOLD = -10.0  # stands for a glass that is not made yet: no ceiling lies below it, and no term is made of it
_NARROWEST: Mapping[QuantityName, float] = {"viscosity": 0.02, "gas": 1.0, "expansion": 0.2}


class NoQuantity(ValueError):
    """A quantity of the glass cannot be worked out for this series; says why in words."""


@dataclass(frozen=True, eq=False)
class Property:
    """A quantity as a function of columns by name; factors that are not given stand in their middle.

    Where an option is glass of an earlier melt, which the series alone does not know, it is as fluid as can be: nothing
    is held against it.

    Parameters
    ----------
    less : how many standard deviations of the viscosity model are taken off.
    """

    series: MeltSeries
    what: QuantityName
    less: float = 0.0

    def __call__(self, columns: Columns) -> FloatArray:
        raw = raw_of(self.series, columns)
        known = with_known_glass(self.series, raw, self._shelf)
        values = np.full(len(raw), _UNTOLD)
        if known.any():
            values[known] = self._of_known(raw[known])
        return values

    def _of_known(self, raw: FloatArray) -> FloatArray:
        try:
            glass = glass_at(self.series, raw, self._shelf)
        except ValueError:  # an odd melt far outside: the nearest end of the planned range stands for it
            for i, factor in enumerate(self.series.factors):
                if isinstance(factor, Amount):
                    raw[:, i] = np.clip(np.nan_to_num(raw[:, i], nan=factor.low), factor.low, factor.high)
            glass = glass_at(self.series, raw, self._shelf)
        return _value(glass, self.what, self.less)

    @cached_property
    def _shelf(self) -> Shelf:
        return shelf(self.series)

    def __reduce__(self) -> tuple[Any, ...]:
        return Property, (self.series, self.what, self.less)


def _value(glass: GlassAt, what: QuantityName, less: float) -> FloatArray:
    if what == "gas":
        return np.asarray(BULK_DENSITY * glass.gas)
    if what == "expansion":
        return np.asarray(glass.expansion().alpha, dtype=float)
    found: Viscosity = glass.viscosity()
    return np.minimum(np.asarray(found.log10 - less * found.sd), 15.0)  # a rigid glass: beyond every limit


def unmade_glass(series: MeltSeries, stocked: Shelf | None = None) -> tuple[str, ...]:
    """Options of the recipe that are glass of an earlier melt, so that only the log can tell what they hold."""
    return tuple(name for _, _, name in _unmade(series, stocked or shelf(series)))


def _unmade(series: MeltSeries, stocked: Shelf) -> list[tuple[int, int, str]]:
    """Column, position and name of such options."""
    recipe = series.recipe or Recipe()
    found = []
    for factor in dict.fromkeys([recipe.base_by, *(part.material_by for part in recipe.parts)]):
        options = getattr(series.factor(factor), "options", ()) if factor else ()
        column = series.factor_names.index(factor) if factor else -1
        found += [(column, i, o) for i, o in enumerate(options) if shelf_name(series, o) in stocked.unknown]
    return found


def with_known_glass(series: MeltSeries, raw: FloatArray, stocked: Shelf | None = None) -> NDArray[np.bool_]:
    """Which of raw settings (n, n_factors) use no option that is glass of an earlier melt, (n,)."""
    known = np.ones(len(raw), dtype=bool)
    for column, position, _ in _unmade(series, stocked or shelf(series)):
        known &= raw[:, column] != position
    return known


def raw_of(series: MeltSeries, columns: Columns) -> FloatArray:
    """Columns by name to a raw table; factors that are not given stand in their middle."""
    given = [np.atleast_1d(values) for name, values in columns.items() if name in series.factor_names]
    raw = np.tile(series.coding.centre(), (max((len(values) for values in given), default=1), 1))
    for i, name in enumerate(series.factor_names):
        if name in columns:
            raw[:, i] = columns[name]
    return raw


def acting_factors(series: MeltSeries, what: QuantityName) -> tuple[str, ...]:
    """The factors that a quantity depends on, in the order of the series."""
    recipe = series.recipe or Recipe()
    named = {name for part in recipe.parts for name in (*part.share.names, part.material_by)} | {recipe.base_by}
    if what == "viscosity" and not isinstance(recipe.pours_at, Quantity):
        hot = [f.name for f in series.factors if isinstance(f, Amount) and dimension(f.unit) == "temperature"]
        named |= {recipe.pours_at} if recipe.pours_at else set(hot)
    return tuple(name for name in series.factor_names if name in named)


def region_points(series: MeltSeries, names: tuple[str, ...], ends_only: bool = False) -> FloatArray:
    """Raw settings over a grid of the named factors, the others in their middle, those within the limits, (n, k)."""
    axes = [np.asarray(axis) for axis in _axes(series, names, ends_only)]
    points = np.array([point for point, _ in zip(product(*axes), range(_MOST_POINTS), strict=False)], dtype=float)
    raw = raw_of(series, {name: points[:, i] for i, name in enumerate(names)})
    return raw[series.allowed(raw)]


def _axes(series: MeltSeries, names: tuple[str, ...], ends_only: bool = False) -> tuple[tuple[float, ...], ...]:
    amounts = sum(isinstance(series.factor(name), Amount) for name in names)
    levels = 2 if ends_only else _LEVELS.get(amounts, 2)
    axes = []
    for name in names:
        factor = series.factor(name)
        even = factor.decoded(np.linspace(-1.0, 1.0, levels)) if isinstance(factor, Amount) else factor.grid()
        axes.append(tuple(float(value) for value in even))
    return tuple(axes)


def grid_axes(series: MeltSeries, names: tuple[str, ...]) -> tuple[tuple[float, ...], ...]:
    """Raw values of each factor on the grid that stands for a quantity outside the program.

    Every value that can be set, where that makes no more than `_MOST_OUTSIDE` points; else fewer, evenly.
    """
    factors = [series.factor(name) for name in names]
    each = _VALUES
    axes = [factor.grid(each) for factor in factors]
    while each > 2 and math.prod(map(len, axes)) > _MOST_OUTSIDE:
        each -= 1
        axes = [
            factor.decoded(np.linspace(-1.0, 1.0, each)) if isinstance(factor, Amount) and len(axis) > each else axis
            for factor, axis in zip(factors, axes, strict=True)
        ]
    return tuple(tuple(float(value) for value in axis) for axis in axes)


def derived(series: MeltSeries, what: QuantityName) -> Derived:
    """A quantity as a covariate.

    Raises
    ------
    NoQuantity
        Where it cannot be worked out, or does not change over the planned region.
    """
    names = acting_factors(series, what)
    if series.recipe is None:
        raise NoQuantity("there is no [recipe] to work it out from")
    if not names:
        raise NoQuantity("no factor of the recipe changes it")
    calculate = Property(series, what)
    unmade = unmade_glass(series)
    if unmade:
        raise NoQuantity(f'"{unmade[0]}" is glass of an earlier melt, which the series alone does not know')
    raw = region_points(series, names)
    if not len(raw):
        raise NoQuantity("no setting around the middle of the ranges keeps every limit")
    try:
        values = calculate({name: raw[:, i] for i, name in enumerate(series.factor_names)})
    except ValueError as fault:
        raise NoQuantity(str(fault)) from None
    least, most = int(np.argmin(values)), int(np.argmax(values))
    if values[most] - values[least] < _NARROWEST[what]:
        raise NoQuantity("it hardly changes over the planned ranges")

    def at(row: int) -> dict[str, float]:
        return {name: float(raw[row, series.factor_names.index(name)]) for name in names}

    return Derived(
        name=what,
        unit=_UNITS[what],
        factors=names,
        amounts=tuple(name for name in names if isinstance(series.factor(name), Amount)),
        low=float(values[least]),
        high=float(values[most]),
        least=at(least),
        most=at(most),
        grid_axes=grid_axes(series, names),
        calculate=calculate,
    )
