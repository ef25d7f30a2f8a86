"""Viscosity of soda-lime glass: Lakatos, Johansson & Simmingskold 1972, Glass Technol 13:88-95.

Oxides as x = mol per mol SiO2, T in °C: log10 eta (poise) = -A + B/(T - T0), with A, B and T0 linear in x; less 1 for
Pa s. Coefficients from memory, tested on the authors' own 45 glasses (rmse 0.053) and 3481 soda-lime points (rmse
0.16). It has no term for B2O3, Li2O, ZnO, BaO or SrO and refuses them.
"""

from __future__ import annotations

import numpy as np

from meltdoe.glass.oxides import Array, Composition, checked, molar_mass
from meltdoe.glass.reference_tables import number, table
from meltdoe.glass.viscosity_curve import KELVIN, TRACE, Curve, Mask, left_out

__all__ = ["LAKATOS_KNOWS", "lakatos_curve", "lakatos_outside", "lakatos_share"]

LAKATOS_KNOWS = frozenset({"SiO2", "Na2O", "K2O", "CaO", "MgO", "Al2O3"})
_NEVER_WITHOUT = frozenset({"B2O3", "Li2O", "ZnO", "BaO", "SrO", "PbO"})
_ADVICE = 'use model="fluxfit", or "auto"'
_RAMP = 0.1  # of the range of an oxide: this project's choice
# mol per mol SiO2 over the authors' glasses: computed from their entries in the open SciGlass database (ODbL)
_RANGE = {
    "Na2O": (0.151, 0.218),
    "K2O": (0.0, 0.083),
    "CaO": (0.080, 0.208),
    "MgO": (0.0, 0.165),
    "Al2O3": (0.0, 0.073),
}


def lakatos_curve(composition: Composition) -> tuple[Curve, tuple[str, ...]]:
    """Curve of a composition in wt%, and the trace oxides that were left out.

    Raises
    ------
    ModelRefuses
        With boron, lithium, zinc, barium, strontium or lead, or more than 1 wt% of other oxides without a term.
    ValueError
        For an unusable composition or one without silica.
    """
    amounts = checked(composition)
    traces = left_out(amounts, "Lakatos", LAKATOS_KNOWS, _NEVER_WITHOUT, _ADVICE)
    x = _per_silica(amounts)
    sums = {}
    for name in ("A_coefficient", "B_coefficient", "T0_coefficient_C"):
        sums[name] = np.asarray(
            sum(
                number(row, name) * x.get(row["oxide_mol_per_mol_SiO2"], np.ones(()))
                for row in table("viscosity_lakatos")
            ),
            dtype=float,
        )
    return Curve(-sums["A_coefficient"] - 1.0, sums["B_coefficient"], sums["T0_coefficient_C"] + KELVIN), traces


def lakatos_outside(composition: Composition) -> dict[str, Mask]:
    """For each oxide of the model, whether the glass lies outside the range of the authors' glasses."""
    x = _per_silica(checked(composition))
    # the authors print three decimals, so half a unit of the last one is inside
    return {oxide: (x[oxide] < low - 5e-4) | (x[oxide] > high + 5e-4) for oxide, (low, high) in _RANGE.items()}


def lakatos_share(composition: Composition) -> Array:
    """How far this is the model's own kind of glass: 1 inside the authors' range, 0 outside it or with other oxides.

    Over the last tenth of the range, at each end that is not 0, it falls in proportion, so that nothing jumps.
    """
    amounts = checked(composition)
    x = _per_silica(amounts)
    share = np.ones(())
    for oxide, (low, high) in _RANGE.items():
        ramp = _RAMP * (high - low)
        share = np.minimum(share, (high - x[oxide]) / ramp)
        share = share if low == 0.0 else np.minimum(share, (x[oxide] - low) / ramp)
    others = {oxide: values for oxide, values in amounts.items() if oxide not in LAKATOS_KNOWS}
    missed = np.asarray(sum(others.values(), start=np.zeros(()))) / np.asarray(sum(amounts.values()))
    vital = np.asarray(sum((others.get(oxide, np.zeros(())) for oxide in _NEVER_WITHOUT), start=np.zeros(())))
    return np.where((vital > 0.0) | (100.0 * missed > TRACE), 0.0, np.clip(share, 0.0, 1.0))


def _per_silica(amounts: dict[str, Array]) -> dict[str, Array]:
    silica = amounts.get("SiO2", np.zeros(())) / molar_mass("SiO2")
    if np.any(silica <= 0.0):
        raise ValueError("the Lakatos viscosity model needs silica")
    return {oxide: amounts.get(oxide, np.zeros(())) / molar_mass(oxide) / silica for oxide in _RANGE}
