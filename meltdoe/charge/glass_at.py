"""The glass that settings give: composition, gas, flux carried along, viscosity, expansion, density.

Everything is worked out for any number of settings at once. Each property comes with its standard deviation and with
plain warnings where the composition lies outside what the model was made from; an oxide that a model lacks is never
dropped in silence.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from meltdoe.charge.earlier_melts import EarlierMelt
from meltdoe.charge.recipe_shares import Shares, charge_shares, shares_of_melts
from meltdoe.charge.shelf import Shelf, shelf
from meltdoe.glass.batch_weights import gas_per_kg, glass_composition
from meltdoe.glass.expansion_models import Expansion, expansion_estimate, glass_density
from meltdoe.glass.materials import Material
from meltdoe.glass.named_viscosities import PouringRange, pouring_range
from meltdoe.glass.oxides import to_mole_percent
from meltdoe.glass.viscosity_models import Viscosity, viscosity
from meltdoe.series.factor import Amount, FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.units import Quantity, convert, dimension

__all__ = ["GlassAt", "glass_at", "glass_of_melts", "glass_of_shares", "pour_celsius"]

USUAL_DENSITY = 2.4
"""g/cm3 where the model has no factor for an oxide: between 2.35 and 2.5 of obsidian with soda and soda-lime glass."""


@dataclass(frozen=True, slots=True, eq=False)
class GlassAt:
    """The glass of `n` charges.

    Parameters
    ----------
    shares : per cent of the charge by material, each (n,).
    composition, mole_percent : wt% and mol% of the glass by oxide, each (n,).
    loss : loss on firing in wt% of the charge, (n,).
    gas : litres of gas per kg of charge at 1100 °C and 1 atm, (n,).
    flux : actual flux, that of remelted glass included, on the basis of the recipe: per cent of everything bought, or
        parts per 100 of rock and bought glass, (n,).
    celsius : temperature of the pour, (n,), or None where the series does not say it.
    known_analysis : False where a published analysis stands in for that of the rock.
    raw : (n, n_factors) the settings themselves.
    """

    shares: Shares
    composition: Mapping[str, FloatArray]
    mole_percent: Mapping[str, FloatArray]
    loss: FloatArray
    gas: FloatArray
    flux: FloatArray
    celsius: FloatArray | None
    known_analysis: bool
    raw: FloatArray

    def viscosity(self, celsius: ArrayLike | None = None) -> Viscosity:
        """Viscosity at `celsius`, by default at the pour.

        Raises
        ------
        ModelRefuses
            Where no model has a term for an oxide of the glass.
        ValueError
            Where neither the call nor the series names a temperature.
        """
        degrees = self.celsius if celsius is None else celsius
        if degrees is None:
            raise ValueError("the series does not say at which temperature it pours")
        return viscosity(self.composition, degrees, known_analysis=self.known_analysis)

    def pouring(self) -> PouringRange:
        """Temperatures from which these melts pour; raises ModelRefuses as `viscosity`."""
        return pouring_range(self.composition, known_analysis=self.known_analysis)

    def expansion(self) -> Expansion:
        """Expansion in 1e-7 per K; raises ValueError where more than a trace has no factor."""
        return expansion_estimate(self.composition)

    def density(self) -> FloatArray:
        """Density of the cold glass in g/cm3, the usual one where more than a trace has no factor, (n,)."""
        try:
            return np.asarray(glass_density(self.composition))
        except ValueError:
            return np.full(len(self.loss), USUAL_DENSITY)

    def one(self, row: int = 0) -> dict[str, float]:
        """Composition of one glass in wt%, oxides that it does not hold left out."""
        return {oxide: float(values[row]) for oxide, values in self.composition.items() if values[row] > 0.0}


def glass_at(series: MeltSeries, raw: FloatArray, on_shelf: Shelf | None = None) -> GlassAt:
    """The glass at raw settings.

    Parameters
    ----------
    raw : (n_melts, n_factors) raw settings.
    on_shelf : the materials of the series; by default those that need no earlier melt.

    Raises
    ------
    ValueError
        As `charge_shares`, or where a charge calls for a material that is not known.
    """
    table = np.atleast_2d(np.asarray(raw, dtype=float))
    return glass_of_shares(series, charge_shares(series, table), table, on_shelf or shelf(series))


def glass_of_melts(series: MeltSeries, melts: Sequence[EarlierMelt], on_shelf: Shelf | None = None) -> GlassAt:
    """The glass of melts as they really were, from what was weighed where the log says so; raises as `glass_at`.

    Parameters
    ----------
    on_shelf : by default a shelf with the glass of these melts.
    """
    raw = series.raw_table(melt.settings for melt in melts)
    return glass_of_shares(series, shares_of_melts(series, melts), raw, on_shelf or shelf(series, melts))


def glass_of_shares(series: MeltSeries, shares: Shares, raw: FloatArray, on_shelf: Shelf) -> GlassAt:
    """The glass of charges given by their shares, (n,) each; raises as `glass_at`."""
    used = {name: values for name, values in shares.items() if np.any(values > 0.0)}
    materials: dict[str, Material] = {name: on_shelf.material(name) for name in used}
    weight = {oxide: np.atleast_1d(values) for oxide, values in glass_composition(used, materials).items()}
    loss = sum(
        (values * material.loss_on_firing for values, material in zip(used.values(), materials.values(), strict=True)),
        start=np.zeros(len(raw)),
    )
    return GlassAt(
        shares=shares,
        composition=weight,
        mole_percent=dict(to_mole_percent(weight)),
        loss=np.asarray(loss),
        gas=np.atleast_1d(gas_per_kg(used, materials)),
        flux=_flux(series, used, materials, on_shelf),
        celsius=pour_celsius(series, raw),
        known_analysis=not _stands_in(used, on_shelf),
        raw=np.atleast_2d(raw),
    )


def _stands_in(used: Iterable[str], on_shelf: Shelf) -> bool:
    """Whether a published analysis stands in for any of these, or for what was bought for their earlier melts."""
    bought = {source for name in used for source in on_shelf.book.traced({name: 1.0})}
    return any(name in bought or on_shelf.material(name).id in bought for name in on_shelf.typical)


def _flux(series: MeltSeries, used: Shares, materials: Mapping[str, Material], on_shelf: Shelf) -> FloatArray:
    """Actual flux on the basis of the recipe; remelted glass counts as what was bought for it."""
    flux = rock = whole = np.zeros(len(next(iter(used.values()))))
    for name, values in used.items():
        # per part of a bought material itself; of remelted glass what was bought for one part of it, losses and all
        for source, per_part in on_shelf.book.traced({name: 1.0}).items():
            role = (materials[name] if name not in on_shelf.lots else on_shelf.material(source)).role
            whole = whole + values * per_part
            flux = flux + (values * per_part if role == "flux" else 0.0)
            rock = rock + (values * per_part if role == "glass" else 0.0)
    total = series.recipe is None or series.recipe.shares_of == "total"
    with np.errstate(all="ignore"):
        return np.asarray(100.0 * flux / (whole if total else np.where(rock > 0.0, rock, np.nan)))


def pour_celsius(series: MeltSeries, raw: FloatArray) -> FloatArray | None:
    """Temperature of the pour at raw settings in °C, (n,), or None where the series does not say it.

    It is what the recipe names as `pours_at`, else the only temperature among the factors.
    """
    table = np.atleast_2d(raw)
    said = series.recipe.pours_at if series.recipe else ""
    if isinstance(said, Quantity):
        return np.full(len(table), said.in_unit("°C"))
    hot = [f for f in series.factors if isinstance(f, Amount) and dimension(f.unit) == "temperature"]
    named = [f for f in hot if f.name == said] if said else hot
    if len(named) != 1:
        return None
    column = table[:, series.factor_names.index(named[0].name)]
    return np.array([convert(float(value), named[0].unit, "°C") for value in column])
