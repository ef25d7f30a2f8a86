"""Thermal expansion and density of a glass from its composition.

Appen (Chemistry of Glass, 1974): alpha = sum x_i a_i over mole fractions, mean linear coefficient 20 to 400 °C.
Winkelmann & Schott (1894): one third of the sum of cubic factors over weight per cent; rougher. Factors from memory,
then confirmed on open data: measured minus Appen has median -3.5 and rmse 7.5 for soda-lime (1341 glasses), -2.1 and
6.3 for obsidian with alkali (511), -1.5 and 4.6 with B2O3 (630), -4.6 and 9.6 with Li2O (723), all in 1e-7 per K.
Density of the melt: partial molar volumes of Lange & Carmichael 1987, Lange 1997, Ochs & Lange 1999 without the
pressure term; of the glass: Appen's partial molar volumes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from meltdoe.glass.oxides import VOLATILE, Array, Composition, checked, molar_mass, normalise, to_mole_percent, total
from meltdoe.glass.reference_tables import number, table
from meltdoe.glass.viscosity_curve import KELVIN

__all__ = ["Expansion", "expansion", "expansion_estimate", "glass_density", "melt_density"]

_TRACE = 1.0  # wt% of oxides without a factor that may be left out; judgement, no source
# 1e-7 per K, rmse of Appen by what the glass holds (see the head of the module); Winkelmann & Schott 9 to 12
_SD = {"lithia": 9.6, "soda-lime": 7.5, "alkali": 6.3, "borate": 4.6}
_SD_WINKELMANN_SCHOTT = 12.0


@dataclass(frozen=True, slots=True, eq=False)
class Expansion:
    """Mean linear expansion of one or many glasses.

    Parameters
    ----------
    alpha : 1e-7 per K.
    sd : standard deviation in 1e-7 per K, the rmse of the model on open data.
    model : "appen" or "winkelmann_schott".
    warnings : oxides that were left out.
    """

    alpha: Array
    sd: Array
    model: str
    warnings: tuple[str, ...]


def expansion(composition: Composition) -> Array:
    """Mean linear expansion by Appen in 1e-7 per K (90 for usual casting glass); wt% in, arrays allowed.

    Raises
    ------
    ValueError
        For an unusable composition or more than 1 wt% of oxides without a factor.
    """
    return expansion_estimate(composition).alpha


def expansion_estimate(composition: Composition, model: Literal["appen", "winkelmann_schott"] = "appen") -> Expansion:
    """Expansion with its standard deviation and what was left out; parameters and errors as `expansion`."""
    if model not in ("appen", "winkelmann_schott"):
        raise ValueError(f'expansion model "{model}" is not known; use "appen" or "winkelmann_schott"')
    known = _factors(model)
    amounts, warnings = _with_factors(
        composition, frozenset(known) | ({"B2O3"} if model == "appen" else set()), "expansion"
    )
    if model == "winkelmann_schott":
        weights = normalise(amounts)
        cubic = np.asarray(sum(known[oxide] * share for oxide, share in weights.items()), dtype=float)
        return Expansion((cubic / 3.0)[()], np.full_like(cubic, _SD_WINKELMANN_SCHOTT)[()], model, warnings)

    percent = to_mole_percent(amounts)
    silica = percent.get("SiO2", np.zeros(()))
    factors: dict[str, Array] = {oxide: np.asarray(known.get(oxide, 0.0)) for oxide in percent}
    factors["SiO2"] = known["SiO2"] - np.maximum(silica - 67.0, 0.0)
    factors["TiO2"] = known["TiO2"] - 1.5 * (np.clip(silica, 50.0, 80.0) - 50.0)
    factors["K2O"] = np.where(percent.get("Na2O", np.zeros(())) <= 1.0, 425.0, known["K2O"])
    factors["B2O3"] = -12.5 * np.minimum(_psi(percent), 4.0)
    alpha = np.asarray(sum(share / 100.0 * factors[oxide] for oxide, share in percent.items()), dtype=float)
    return Expansion(alpha[()], _appen_sd(percent)[()], model, warnings)


def glass_density(composition: Composition) -> Array:
    """Density of the annealed glass at 20 °C in g/cm3, within about 0.04 (Appen's volumes); wt% in, arrays allowed.

    Raises
    ------
    ValueError
        For an unusable composition or more than 1 wt% of oxides without a volume.
    """
    volumes = _volumes("glass")
    amounts, _ = _with_factors(composition, frozenset(volumes) | {"B2O3"}, "density")
    percent = to_mole_percent(amounts)
    cm3: dict[str, Array] = {oxide: np.asarray(volumes.get(oxide, (0.0, 0.0, 0.0))[0]) for oxide in percent}
    cm3["SiO2"] = volumes["SiO2"][0] + 0.035 * np.maximum(percent.get("SiO2", np.zeros(())) - 67.0, 0.0)
    cm3["B2O3"] = 34.0 - 15.5 * np.minimum(_psi(percent), 4.0) / 4.0
    return _density(percent, cm3)


def melt_density(composition: Composition, celsius: ArrayLike) -> Array:
    """Density of the melt at 1 atm in g/cm3; wt% in, arrays allowed.

    Raises
    ------
    ValueError
        For an unusable composition or more than 1 wt% of oxides without a volume, among them B2O3 and Li2O.
    """
    volumes = _volumes("melt")
    amounts, _ = _with_factors(composition, frozenset(volumes), "melt density")
    percent = to_mole_percent(amounts)
    kelvin = np.asarray(celsius, dtype=float) + KELVIN
    cm3 = {}
    for oxide in percent:
        reference, slope, at = volumes[oxide]
        cm3[oxide] = reference + slope * (kelvin - at)
    return _density(percent, cm3)


@cache
def _factors(column: str) -> dict[str, float]:
    return {row["oxide"]: number(row, column) for row in table("expansion_factors") if row[column]}


@cache
def _volumes(state: str) -> dict[str, tuple[float, float, float]]:
    """cm3 per mol at the reference temperature, its slope per K, and that temperature in K."""
    return {
        row["oxide"]: (number(row, "cm3_per_mol"), number(row, "cm3_per_mol_K"), number(row, "T_ref_K"))
        for row in table("volume_factors")
        if row["state"] == state and row["cm3_per_mol"]
    }


def _with_factors(
    composition: Composition, known: frozenset[str], what: str
) -> tuple[dict[str, Array], tuple[str, ...]]:
    """The oxides that a model can use, and a warning for traces that it cannot; gases do not count."""
    amounts = {oxide: values for oxide, values in checked(composition).items() if oxide not in VOLATILE}
    unknown = [oxide for oxide in amounts if oxide not in known]
    if not amounts or len(unknown) == len(amounts):
        raise ValueError(f"the composition holds no oxide that the {what} model knows")
    share = np.asarray(100.0 * sum(amounts[oxide] for oxide in unknown) / total(amounts))
    if np.any(share > _TRACE):
        raise ValueError(
            f"the {what} model has no factor for {', '.join(unknown)}, {np.max(share):.1f} wt% of the glass"
        )
    named = "it" if len(unknown) == 1 else "them"
    warnings = (f"{', '.join(unknown)} left out of the {what}: no factor for {named}",) if unknown else ()
    return {oxide: values for oxide, values in amounts.items() if oxide in known}, warnings


def _psi(percent: dict[str, Array]) -> Array:
    """Appen's psi: modifier left over per mole of B2O3, not below 0; it moves boron from threefold to fourfold."""

    def summed(*oxides: str) -> Array:
        return np.asarray(sum(percent.get(oxide, np.zeros(())) for oxide in oxides), dtype=float)

    spare = (
        summed("Na2O", "K2O", "BaO")
        + 0.7 * summed("CaO", "SrO", "PbO")
        + 0.3 * summed("Li2O", "MgO", "ZnO")
        - summed("Al2O3")
    )
    boron = summed("B2O3")
    return np.maximum(spare, 0.0) / np.where(boron > 0.0, boron, 1.0)


def _appen_sd(percent: dict[str, Array]) -> Array:
    """rmse of the family: lithia first, as the worst, then boric oxide, then soda-lime by its little alumina."""
    lithia, boron, alumina = (np.asarray(percent.get(oxide, 0.0)) for oxide in ("Li2O", "B2O3", "Al2O3"))
    return np.select(
        [lithia > 1.0, boron > 0.5, alumina < 2.5],
        [_SD["lithia"], _SD["borate"], _SD["soda-lime"]],
        default=_SD["alkali"],
    )


def _density(percent: dict[str, Array], cm3: dict[str, Array]) -> Array:
    grams = sum(share * molar_mass(oxide) for oxide, share in percent.items())
    return np.asarray(grams / sum(share * cm3[oxide] for oxide, share in percent.items()))[()]
