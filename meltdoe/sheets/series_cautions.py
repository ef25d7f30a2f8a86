"""The cautions that a series or one of its melts calls for: from its words, its temperatures and what goes into it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from meltdoe.charge.glass_at import glass_at
from meltdoe.charge.recipe_shares import materials_named
from meltdoe.charge.shelf import Shelf, shelf
from meltdoe.glass.cautions import Caution, all_cautions, cautions_for
from meltdoe.glass.materials import Material
from meltdoe.series.factor import Amount, FloatArray, Setting
from meltdoe.series.melt_series import MeltSeries
from meltdoe.units import convert, dimension

__all__ = ["cautions_of", "cautions_of_melt", "cautions_of_plan", "reached_celsius"]


def cautions_of(series: MeltSeries, also_celsius: Iterable[float] = ()) -> tuple[Caution, ...]:
    """Cautions for a series, from its words and from everything that its recipe can call for.

    The one that defers to local codes and qualified people comes last. Shares are not known here and count as high.

    Parameters
    ----------
    also_celsius : temperatures planned or reached beyond the ranges, °C.
    """
    on_shelf = shelf(series) if series.recipe is not None else None
    names = [name for name in materials_named(series) if name not in on_shelf.unknown] if on_shelf else []
    return cautions_for(
        materials=names,
        words=[*_words(series), *_told(names, on_shelf)],
        temperatures=[*also_celsius, *_hottest(series)],
        steps=_steps(series, names, on_shelf),
        own={} if on_shelf is None else {name: on_shelf.material(name) for name in names},
    )


def cautions_of_melt(
    series: MeltSeries, settings: Mapping[str, Setting], on_shelf: Shelf | None = None
) -> tuple[Caution, ...]:
    """Cautions for one melt: the options and materials that it uses and no others.

    Parameters
    ----------
    on_shelf : the materials; None where the series has no recipe. A charge that cannot be worked out counts as one that
        is known by the words of the series alone.
    """
    row = series.raw(settings)
    parts: dict[str, float] = {}
    if on_shelf is not None:
        try:
            shares = glass_at(series, row, on_shelf).shares
            parts = {name: float(values[0]) for name, values in shares.items() if values[0] > 0.0}
        except ValueError:
            parts = {}
    return cautions_for(
        materials=parts,
        steps=_steps(series, parts, on_shelf),
        words=[*_words(series, settings), *_told(parts, on_shelf)],
        temperatures=[*reached_celsius(series, row), *_ceiling(series)],
        own={} if on_shelf is None else {name: on_shelf.material(name) for name in parts},
    )


def cautions_of_plan(
    series: MeltSeries, melts: Sequence[Mapping[str, Setting]], on_shelf: Shelf | None = None
) -> tuple[Caution, ...]:
    """Everything that any of the melts calls for, each hazard once, in the order of the table.

    Parameters
    ----------
    melts : their settings.
    """
    found = {caution.id: caution for settings in melts for caution in cautions_of_melt(series, settings, on_shelf)}
    reached = reached_celsius(series, series.raw_table(melts)) if melts else []
    for caution in cautions_of(series, reached):
        found.setdefault(caution.id, caution)
    order = [caution.id for caution in all_cautions()]
    return tuple(sorted(found.values(), key=lambda caution: order.index(caution.id)))


def _words(series: MeltSeries, settings: Mapping[str, Setting] | None = None) -> list[str]:
    """Every text of the series; with `settings`, of the options only those that are used.

    Where a recipe says what a melt is made of, title and goal speak of others and are left out.
    """
    words = [] if settings is not None and series.recipe is not None else [series.title, series.goal]
    for factor in series.factors:
        words += [factor.name.replace("_", " "), factor.label]
        if not isinstance(factor, Amount):
            used = None if settings is None else settings.get(factor.name)
            words += list(factor.options) if used is None else [str(used)]
    for outcome in series.outcomes:
        words += [outcome.name.replace("_", " "), outcome.question]
    words += [limit.why for limit in series.limits]
    words += [text for circumstance in series.circumstances for text in (circumstance.name, circumstance.label)]
    words += [supply.name for supply in series.supplies]
    return [word for word in words if word]


def _told(names: Iterable[str], on_shelf: Shelf | None) -> list[str]:
    """Names of materials that may say what no analysis does ("unknown cullet"); the name of a lot is free."""
    return [name for name in names if on_shelf is not None and name not in on_shelf.lots]


def _steps(series: MeltSeries, parts: Iterable[str], on_shelf: Shelf | None) -> list[str]:
    """Steps of the work that the series describes beyond its words."""
    steps, names = [], list(parts)
    if series.recipe is not None:
        steps += ["weighing", "charging", "melting"]
    if series.recipe is not None and (series.mould.volume or series.mould.casting):
        steps += ["mould_making", "pouring", "kiln_opening"]
    if series.cooling is not None:
        steps += ["annealing", "cooling", *(["bed_cooling"] if series.cooling.bed else [])]
    if any(_is_rock(name, on_shelf.material(name), on_shelf) for name in names if on_shelf is not None):
        steps.append("crushing")
    if on_shelf is not None and any(name in on_shelf.lots for name in names):
        steps.append("handling_castings")
    return steps


def _is_rock(name: str, material: Material, on_shelf: Shelf) -> bool:
    """A glass of the maker's own analysis that comes from no earlier melt: it was dug and crushed."""
    return (
        material.role == "glass" and material.id == name and name not in on_shelf.lots and name not in on_shelf.typical
    )


def _ceiling(series: MeltSeries) -> list[float]:
    ceiling = series.kiln.max_temperature
    return [] if ceiling is None else [ceiling.in_unit("°C")]


def _hottest(series: MeltSeries) -> list[float]:
    ends = np.array([[factor.high if isinstance(factor, Amount) else np.nan for factor in series.factors]])
    return [*reached_celsius(series, ends), *_ceiling(series)]


def reached_celsius(series: MeltSeries, raw: FloatArray) -> list[float]:
    """The highest value of every temperature factor in raw settings (n_melts, n_factors), °C."""
    found = []
    for factor, column in zip(series.factors, np.atleast_2d(raw).T, strict=True):
        if isinstance(factor, Amount) and dimension(factor.unit) == "temperature" and np.isfinite(column).any():
            found.append(convert(float(np.nanmax(column)), factor.unit, "°C"))
    return found
