"""The curve of all three viscosity models: log10 eta = a + b/(T - c), T in kelvin (Vogel, Fulcher, Tammann, Hesse).

All logarithms are log10 of Pa s; 1 Pa s is 10 poise or 10 dPa s.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meltdoe.glass.oxides import Array

__all__ = ["KELVIN", "TRACE", "Curve", "Mask", "ModelRefuses", "left_out"]

Mask = NDArray[np.bool_]

KELVIN = 273.15  # 0 °C in K, exact
TRACE = 1.0
"""wt%: oxides that a model does not know may be left out, by name, up to this; judgement, no source."""


class ModelRefuses(ValueError):
    """A model was asked about oxides that it does not know.

    Parameters
    ----------
    model : the model that refuses.
    oxides : the oxides that it has no term for.
    """

    def __init__(self, model: str, oxides: tuple[str, ...], advice: str) -> None:
        self.model = model
        self.oxides = oxides
        super().__init__(f"the {model} viscosity model has no {', '.join(oxides)}: {advice}")


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Constants of the curve, one element a glass.

    Parameters
    ----------
    a : log10 Pa s at infinite temperature.
    b : K.
    c : K, the temperature at which the curve has no end.
    """

    a: Array
    b: Array
    c: Array

    def log10_at(self, celsius: ArrayLike) -> Array:
        """log10 Pa s at temperatures that broadcast against the glasses; inf at and below `c`: rigid."""
        above = np.asarray(celsius, dtype=float) + KELVIN - self.c
        rigid = above <= 0.0
        return np.where(rigid, np.inf, self.a + self.b / np.where(rigid, 1.0, above))

    def celsius_at(self, log10: ArrayLike) -> Array:
        """Temperature in °C at which the melt has this log10 Pa s; nan where the curve never comes down to it."""
        over = np.asarray(log10, dtype=float) - self.a
        return np.where(over > 0.0, self.c + self.b / np.where(over > 0.0, over, 1.0) - KELVIN, np.nan)

    def towards(self, other: Curve, share: Array) -> Curve:
        """A curve that lies the given share of the way to another, 0 this one and 1 the other.

        Between are taken a, the temperature of 10^12 Pa s and the steepness there, as which all curves are alike; the
        constants b and c of two like curves may lie far apart.
        """
        a, t12, m = (
            (1.0 - share) * own + share * theirs for own, theirs in zip(self._shape(), other._shape(), strict=True)
        )
        return Curve(a, t12 * (12.0 - a) ** 2 / m, t12 * (1.0 - (12.0 - a) / m))

    def _shape(self) -> tuple[Array, Array, Array]:
        t12 = self.c + self.b / (12.0 - self.a)
        return self.a, t12, (12.0 - self.a) * t12 / (t12 - self.c)

    def kelvin_per_log10(self, celsius: ArrayLike) -> Array:
        """How many K one decade of viscosity is worth at a temperature, above 0."""
        above = np.asarray(celsius, dtype=float) + KELVIN - self.c
        return above**2 / self.b


def left_out(
    amounts: dict[str, Array], model: str, knows: frozenset[str], never_without: frozenset[str], advice: str
) -> tuple[str, ...]:
    """Names of the traces that a model leaves out.

    Raises
    ------
    ModelRefuses
        Where an oxide of `never_without` is present at all, or the unknown oxides add up to more than 1 wt%.
    """
    unknown = tuple(oxide for oxide in amounts if oxide not in knows)
    vital = tuple(oxide for oxide in unknown if oxide in never_without)
    if vital:
        raise ModelRefuses(model, vital, advice)
    whole = sum(amounts.values())
    share = 100.0 * np.asarray(sum(amounts[oxide] for oxide in unknown)) / whole
    if np.any(share > TRACE):
        raise ModelRefuses(model, unknown, advice)
    return unknown
