"""Viscosity of obsidian with alkali, borate, lime, magnesia, zinc or barium: a fit to open measurements (FLUXFIT).

Mole fractions x over SiO2, TiO2, Al2O3, B2O3, Fe (FeO + 2 Fe2O3 + MnO), MgO, CaO, Na2O, K2O, Li2O, ZnO, BaO, SrO.
E = Na2O + K2O + Li2O + 0.6 (CaO + MgO + BaO + SrO) + 0.3 Fe - Al2O3: modifier left over after it has charged the
alumina; Es = 0.005 ln(1 + exp(E/0.005)) keeps it above 0; L = ln(1 + Es/e0). T12 = const + sum t_i x_i + terms in L,
Al2O3 L, B2O3 L, CaO L, ln(1 + B2O3/0.01), in K: the temperature of 10^12 Pa s. The steepness m has a column of its
own. C = T12 (1 - (12 - A)/m); B = T12 (12 - A)^2/m; log10 eta = A + B/(T - C). Computed on 52 268 points of 841
publications (``data/viscosity_fluxfit.csv``); one implementation. Water and P2O5 are left out: at 1 atm the melt
dries out. ZnO and SrO rest on few obsidian-like glasses: their sign at low temperature is unknown.
"""

from __future__ import annotations

import numpy as np

from meltdoe.glass.oxides import Array, Composition, checked, molar_mass, total
from meltdoe.glass.reference_tables import number, table
from meltdoe.glass.viscosity_curve import Curve, Mask, left_out

__all__ = ["fluxfit_curve", "fluxfit_outside"]

_BASIS = ("SiO2", "TiO2", "Al2O3", "B2O3", "MgO", "CaO", "Na2O", "K2O", "Li2O", "ZnO", "BaO", "SrO")
_IRON = {"FeO": 1.0, "Fe2O3": 2.0, "MnO": 1.0}  # mol of Fe or Mn per mol
_DRIES_OUT = frozenset({"H2O", "CO2"})
_KNOWS = frozenset({*_BASIS, *_IRON, *_DRIES_OUT})
_NEVER_WITHOUT = frozenset({"PbO", "F", "F2O_1"})
_ADVICE = "no model of meltdoe can take them together with this glass"
# mole per cent of the glasses behind the fit
_BOX = {
    "SiO2": (50.0, 87.0), "Al2O3": (0.0, 13.0), "B2O3": (0.0, 16.0), "Na2O + K2O + Li2O": (4.0, 30.0),
    "CaO + MgO + BaO + SrO + ZnO": (0.0, 20.0), "iron": (0.0, 10.0),
}  # fmt: skip


def fluxfit_curve(composition: Composition) -> tuple[Curve, tuple[str, ...]]:
    """Curve of a composition in wt%, and the oxides that were left out (traces, P2O5, water).

    Raises
    ------
    ModelRefuses
        With lead or fluorine, or more than 1 wt% of other oxides without a term.
    ValueError
        For an unusable composition.
    """
    amounts = checked(composition)
    dry = {oxide: values for oxide, values in amounts.items() if oxide not in _DRIES_OUT}
    x = _fractions(amounts)
    traces = left_out(dry, "FLUXFIT", _KNOWS, _NEVER_WITHOUT, _ADVICE)
    coefficients = {row["term"]: row for row in table("viscosity_fluxfit")}
    a = number(coefficients["A"], "T12_coefficient_K")
    e0 = number(coefficients["e0"], "T12_coefficient_K")
    excess = (
        x["Na2O"]
        + x["K2O"]
        + x["Li2O"]
        + 0.6 * (x["CaO"] + x["MgO"] + x["BaO"] + x["SrO"])
        + 0.3 * x["Fe"]
        - x["Al2O3"]
    )  # E
    L = np.log1p(0.005 * np.logaddexp(0.0, excess / 0.005) / e0)
    terms = {
        **x,
        "const": np.ones(()),
        "L": L,
        "Al2O3*L": x["Al2O3"] * L,
        "B2O3*L": x["B2O3"] * L,
        "CaO*L": x["CaO"] * L,
        "ln(1+B2O3/0.01)": np.log1p(x["B2O3"] / 0.01),
    }
    rows = [row for name, row in coefficients.items() if name not in ("A", "e0")]
    t12 = np.asarray(sum(number(row, "T12_coefficient_K") * terms[row["term"]] for row in rows), dtype=float)
    m = np.asarray(sum(number(row, "m_coefficient") * terms[row["term"]] for row in rows), dtype=float)
    b = t12 * (12.0 - a) ** 2 / m
    c = t12 * (1.0 - (12.0 - a) / m)
    return Curve(np.full_like(b, a), b, c), traces + tuple(oxide for oxide in amounts if oxide in _DRIES_OUT)


def fluxfit_outside(composition: Composition) -> dict[str, Mask]:
    """For each side of the box that the fit was made in, whether the glass lies outside it."""
    x = {name: 100.0 * values for name, values in _fractions(checked(composition)).items()}
    sums = {
        "SiO2": x["SiO2"],
        "Al2O3": x["Al2O3"],
        "B2O3": x["B2O3"],
        "Na2O + K2O + Li2O": x["Na2O"] + x["K2O"] + x["Li2O"],
        "CaO + MgO + BaO + SrO + ZnO": x["CaO"] + x["MgO"] + x["BaO"] + x["SrO"] + x["ZnO"],
        "iron": x["Fe"],
    }
    return {name: (sums[name] < low) | (sums[name] > high) for name, (low, high) in _BOX.items()}


def _fractions(amounts: dict[str, Array]) -> dict[str, Array]:
    moles = {oxide: amounts.get(oxide, np.zeros(())) / molar_mass(oxide) for oxide in _BASIS}
    moles["Fe"] = np.asarray(
        sum(count * amounts[oxide] / molar_mass(oxide) for oxide, count in _IRON.items() if oxide in amounts),
        dtype=float,
    )
    whole = total(moles)
    if np.any(whole <= 0.0):
        raise ValueError("the composition holds no oxide that the FLUXFIT viscosity model knows")
    return {name: values / whole for name, values in moles.items()}
