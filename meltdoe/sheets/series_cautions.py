"""The cautions that a series calls for, from every word that it is written in and from its temperatures."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from meltdoe.glass.cautions import Caution, cautions_for
from meltdoe.series.factor import Amount, FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.units import convert, dimension

__all__ = ["cautions_of", "reached_celsius"]


def cautions_of(series: MeltSeries, also_celsius: Iterable[float] = ()) -> tuple[Caution, ...]:
    """Cautions for a series, the one that defers to local codes and qualified people last.

    Parameters
    ----------
    also_celsius : temperatures planned or reached beyond the ranges, °C.
    """
    words = [series.title, series.goal]
    for factor in series.factors:
        words += [factor.name.replace("_", " "), factor.label]
        words += [] if isinstance(factor, Amount) else list(factor.options)
    for outcome in series.outcomes:
        words += [outcome.name.replace("_", " "), outcome.question]
    words += [limit.why for limit in series.limits]
    words += [text for circumstance in series.circumstances for text in (circumstance.name, circumstance.label)]
    ends = np.array([[factor.high if isinstance(factor, Amount) else np.nan for factor in series.factors]])
    hottest = [*also_celsius, *reached_celsius(series, ends)]
    if series.kiln.max_temperature is not None:
        hottest.append(series.kiln.max_temperature.in_unit("°C"))
    return cautions_for(words=[word for word in words if word], temperatures=hottest)


def reached_celsius(series: MeltSeries, raw: FloatArray) -> list[float]:
    """The highest value of every temperature factor in raw settings (n_melts, n_factors), °C."""
    found = []
    for factor, column in zip(series.factors, np.atleast_2d(raw).T, strict=True):
        if isinstance(factor, Amount) and dimension(factor.unit) == "temperature" and np.isfinite(column).any():
            found.append(convert(float(np.nanmax(column)), factor.unit, "°C"))
    return found
