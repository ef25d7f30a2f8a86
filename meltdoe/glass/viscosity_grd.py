"""Viscosity of natural silicate melts: Giordano, Russell & Dingwell 2008, Earth Planet Sci Lett 271:123-134 (GRD).

log10 eta = A + B/(T - C), with B = sum b_i M_i and C = sum c_i N_i over mole per cent of
SiO2, TiO2, Al2O3, FeO (all iron), MnO, MgO, CaO, Na2O, K2O, P2O5, H2O, F2O-1.
V = H2O + F2O-1; TA = TiO2 + Al2O3; FM = FeO + MnO + MgO; NK = Na2O + K2O.
Published on more than 1770 measurements, 10^-1 to 10^14 Pa s, rmse 0.40 (from memory of the abstract).
It has no term for B2O3, Li2O, ZnO, BaO or SrO and refuses them.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from meltdoe.glass.oxides import Array, Composition, checked, molar_masses, total
from meltdoe.glass.reference_tables import number, table
from meltdoe.glass.viscosity_curve import Curve, Mask, left_out

__all__ = ["grd_curve", "grd_curve_from_mole_percent", "grd_outside"]

_BASIS = ("SiO2", "TiO2", "Al2O3", "FeO", "MnO", "MgO", "CaO", "Na2O", "K2O", "P2O5", "H2O", "F")
_KNOWS = frozenset({*_BASIS, "Fe2O3", "F2O_1"})
_NEVER_WITHOUT = frozenset({"B2O3", "Li2O", "ZnO", "BaO", "SrO", "PbO"})
_ADVICE = 'use model="fluxfit", or "auto"'
_FERROUS = 0.89981  # 2 FeO per Fe2O3 by weight, as in the paper
# wt% of the glasses behind the model: from memory of the paper
_RANGE = {
    "SiO2": (41.0, 79.0), "TiO2": (0.0, 3.0), "Al2O3": (0.0, 23.0), "FeO": (0.0, 12.0), "MnO": (0.0, 0.3),
    "MgO": (0.0, 32.0), "CaO": (0.0, 26.0), "Na2O": (0.0, 11.0), "K2O": (0.0, 9.0),
    "P2O5": (0.0, 1.2), "H2O": (0.0, 8.0), "F": (0.0, 4.0),
}  # fmt: skip


@cache
def _coefficients() -> dict[str, float]:
    return {row["coefficient"]: number(row, "value") for row in table("viscosity_grd")}


def grd_curve(composition: Composition) -> tuple[Curve, tuple[str, ...]]:
    """Curve of a composition in wt%, and the trace oxides that were left out.

    The dry oxides are scaled to 100 - H2O, the water left as given, then turned into mole per cent.

    Raises
    ------
    ModelRefuses
        With boron, lithium, zinc, barium, strontium or lead, or more than 1 wt% of other oxides without a term.
    ValueError
        For an unusable composition, or 100 wt% of water.
    """
    amounts = checked(composition)
    traces = left_out(amounts, "GRD", _KNOWS, _NEVER_WITHOUT, _ADVICE)
    weights = _weights(amounts)
    masses = molar_masses()
    moles = {oxide: values / (masses["F2O_1"] if oxide == "F" else masses[oxide]) for oxide, values in weights.items()}
    whole = total(moles)
    return grd_curve_from_mole_percent({oxide: 100.0 * values / whole for oxide, values in moles.items()}), traces


def grd_curve_from_mole_percent(x: dict[str, Array]) -> Curve:
    """Curve from mole per cent, iron as FeO and fluorine as F2O-1 under the key ``"F"``."""
    k = _coefficients()
    si, ti, al, fe, mn, mg, ca, na, ka, p, water, fluorine = (
        np.asarray(x.get(oxide, 0.0), dtype=float) for oxide in _BASIS
    )
    V = water + fluorine
    TA = ti + al
    FM = fe + mn + mg
    NK = na + ka
    b = (
        k["b1"] * (si + ti) + k["b2"] * al + k["b3"] * (fe + mn + p) + k["b4"] * mg + k["b5"] * ca
        + k["b6"] * (na + V) + k["b7"] * (V + np.log1p(water))
        + k["b11"] * (si + ti) * FM + k["b12"] * (si + TA + p) * (NK + water) + k["b13"] * al * NK
    )  # fmt: skip
    c = (
        k["c1"] * si + k["c2"] * TA + k["c3"] * FM + k["c4"] * ca + k["c5"] * NK + k["c6"] * np.log1p(V)
        + k["c11"] * (al + FM + ca - p) * (NK + V)
    )  # fmt: skip
    return Curve(np.full_like(b, k["A"]), b, c)


def grd_outside(composition: Composition) -> dict[str, Mask]:
    """For each oxide of the model, whether the glass lies outside the weight per cent that the model was made from."""
    weights = _weights(checked(composition))
    outside = {}
    for oxide, (low, high) in _RANGE.items():
        share = np.asarray(weights.get(oxide, 0.0))
        outside[oxide] = (share < low) | (share > high)
    return outside


def _weights(amounts: dict[str, Array]) -> dict[str, Array]:
    """wt% on the basis of the model: iron as FeO, dry oxides scaled to 100 - H2O."""
    dry = {oxide: values for oxide, values in amounts.items() if oxide in _KNOWS - {"H2O", "Fe2O3", "F2O_1"}}
    for given, basis, factor in (("Fe2O3", "FeO", _FERROUS), ("F2O_1", "F", 1.0)):
        if given in amounts:
            dry[basis] = dry.get(basis, np.zeros(())) + factor * amounts[given]
    water = amounts.get("H2O", np.zeros(()))
    if not dry or np.any(water >= 100.0):
        raise ValueError("water alone is no melt")
    scale = (100.0 - water) / total(dry)
    return {"H2O": water, **{oxide: values * scale for oxide, values in dry.items()}}
