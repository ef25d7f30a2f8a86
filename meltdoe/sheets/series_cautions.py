"""The cautions that a series calls for, from every word that it is written in and from its temperatures."""

from __future__ import annotations

from collections.abc import Iterable

from meltdoe.glass.cautions import Caution, cautions_for
from meltdoe.series.factor import Amount
from meltdoe.series.melt_series import MeltSeries
from meltdoe.units import convert, dimension

__all__ = ["cautions_of"]


def cautions_of(series: MeltSeries, also_celsius: Iterable[float] = ()) -> tuple[Caution, ...]:
    """Cautions for a series, the one that defers to local codes and qualified people last.

    Parameters
    ----------
    also_celsius : further temperatures of the work, °C.
    """
    words = [series.title, series.goal]
    hottest = list(also_celsius)
    for factor in series.factors:
        words += [factor.name, factor.title]
        if isinstance(factor, Amount):
            if dimension(factor.unit) == "temperature":
                hottest.append(convert(factor.high, factor.unit, "°C"))
        else:
            words += factor.options
    for outcome in series.outcomes:
        words += [outcome.name, outcome.title, *outcome.grades]
    words += [limit.why for limit in series.limits]
    if series.kiln.max_temperature is not None:
        hottest.append(series.kiln.max_temperature.in_unit("°C"))
    return cautions_for(words=" . ".join(words), temperatures=hottest)
