"""Oxides of a glass: molar masses, weight per cent to mole per cent and back.

A composition is a mapping of oxide to amount. Amounts may be arrays that broadcast against each other, one element
a glass, so that hundreds of candidate recipes are converted at once; scalars in, scalars out.
Molar masses are sums of the IUPAC abridged atomic weights (``data/oxides.csv``).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meltdoe.glass.reference_tables import number, table

__all__ = [
    "VOLATILE",
    "Array",
    "Composition",
    "checked",
    "molar_mass",
    "molar_masses",
    "nearest",
    "normalise",
    "to_mole_percent",
    "to_weight_percent",
]

Array = NDArray[np.float64]
Composition = Mapping[str, ArrayLike]

VOLATILE = frozenset({"H2O", "CO2", "SO2", "O2", "N2", "NO2"})
"""What leaves as gas on firing. SO3 counts as glass: dissolved sulphate stays below about 1200 °C (from memory)."""


@cache
def molar_masses() -> Mapping[str, float]:
    """Molar mass in g/mol of every oxide, gas and anion that meltdoe knows."""
    return MappingProxyType({row["oxide"]: number(row, "molar_mass_g_mol") for row in table("oxides")})


def molar_mass(oxide: str) -> float:
    """Molar mass in g/mol; raises ValueError for an unknown oxide."""
    masses = molar_masses()
    if oxide not in masses:
        raise ValueError(f'oxide "{oxide}" is not known{nearest(oxide, masses)}')
    return masses[oxide]


def nearest(word: str, known: Iterable[str]) -> str:
    """``'; did you mean "Na2O"?'`` for the nearest known word, or nothing where none is near."""
    spelled = {name.lower(): name for name in known}
    close = get_close_matches(word.lower(), spelled, n=1, cutoff=0.6)
    return f'; did you mean "{spelled[close[0]]}"?' if close else ""


def checked(composition: Composition) -> dict[str, Array]:
    """The composition as arrays of one common shape, oxides that are nowhere present left out.

    Raises
    ------
    ValueError
        For an unknown oxide, an amount that is negative or not finite, shapes that do not fit, or nothing at all.
    """
    amounts: dict[str, Array] = {}
    for oxide, amount in composition.items():
        molar_mass(oxide)
        values = np.asarray(amount, dtype=float)
        if not np.all(np.isfinite(values)) or np.any(values < 0.0):
            raise ValueError(f"{oxide} must be a number of 0 or more, not {values}")
        amounts[oxide] = values
    if not amounts:
        raise ValueError("the composition names no oxide")
    try:
        shape = np.broadcast_shapes(*(values.shape for values in amounts.values()))
    except ValueError as error:
        raise ValueError("the oxides of the composition are arrays of different lengths") from error
    present = {oxide: np.broadcast_to(values, shape) for oxide, values in amounts.items() if np.any(values > 0.0)}
    if not present or np.any(total(present) <= 0.0):
        raise ValueError("the composition adds up to nothing")
    return present


def total(amounts: Mapping[str, Array]) -> Array:
    """Sum over the oxides, one element a glass."""
    return np.asarray(sum(amounts.values()), dtype=float)


def normalise(composition: Composition, to: float = 100.0) -> dict[str, Array]:
    """The same proportions, adding up to `to`."""
    amounts = checked(composition)
    whole = total(amounts)
    return {oxide: (to * values / whole)[()] for oxide, values in amounts.items()}


def to_mole_percent(composition: Composition) -> dict[str, Array]:
    """Weight per cent (or any weights) to mole per cent, adding up to 100."""
    moles = {oxide: values / molar_mass(oxide) for oxide, values in checked(composition).items()}
    return normalise(moles)


def to_weight_percent(composition: Composition) -> dict[str, Array]:
    """Mole per cent (or any moles) to weight per cent, adding up to 100."""
    weights = {oxide: values * molar_mass(oxide) for oxide, values in checked(composition).items()}
    return normalise(weights)
