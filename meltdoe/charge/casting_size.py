"""How large and of what shape the casting of a melt is: what the series says, or the factors that it names for it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from meltdoe.series.factor import FloatArray, Setting
from meltdoe.series.melt_series import MeltSeries
from meltdoe.units import Quantity, convert

__all__ = ["casting_shape", "casting_thickness", "casting_volume", "relative_size"]


def casting_thickness(series: MeltSeries, raw: FloatArray) -> FloatArray | None:
    """Thickness in mm at raw settings (n, n_factors), (n,); None where the series does not speak of it."""
    return None if series.cooling is None else _sized(series, series.cooling.thickness, raw, "mm")


def casting_volume(series: MeltSeries, raw: FloatArray) -> FloatArray | None:
    """Volume of one mould in ml at raw settings (n, n_factors), (n,); None where the series does not speak of it."""
    volume = series.mould.volume
    return None if volume is None else _sized(series, volume, raw, "ml") * relative_size(series, raw)


def relative_size(series: MeltSeries, raw: FloatArray) -> FloatArray:
    """How much larger a casting is than the one that was measured for [mould], (n,)."""
    measured, thickness = series.mould.at_thickness, casting_thickness(series, raw)
    if measured is None or thickness is None:
        return np.ones(len(np.atleast_2d(raw)))
    return thickness / measured.in_unit("mm")


def casting_shape(series: MeltSeries, settings: Mapping[str, Setting]) -> str:
    """Shape of the casting, as `meltdoe.glass.cooling_rate` calls it; empty where that is not known."""
    said = "" if series.cooling is None else series.cooling.shape
    return str(settings.get(said) or "") if said in series.factor_names else said


def _sized(series: MeltSeries, said: str | Quantity, raw: FloatArray, unit: str) -> FloatArray:
    table = np.atleast_2d(np.asarray(raw, dtype=float))
    if isinstance(said, Quantity):
        return np.full(len(table), said.in_unit(unit))
    column = table[:, series.factor_names.index(said)]
    own = getattr(series.factor(said), "unit", "")
    return np.array([convert(float(value), own, unit) for value in column])
