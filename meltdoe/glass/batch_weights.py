"""From a recipe to weighed batch: grams of each material, the glass they give and the gas that leaves on the way.

Glass is the sum of the oxide yields; no loss by volatilisation is included, so the crucible is weighed again after
the melt. Gas volume is ideal, V = n R T / p, at 1 atm and by default at 1100 °C (112.68 litres per mol).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from meltdoe.glass.materials import Material, find_material
from meltdoe.glass.oxides import Array, molar_mass, normalise

__all__ = ["Batch", "Gas", "batch", "gas_per_kg", "glass_composition", "litres_per_mole", "round_to_total"]

GAS_CONSTANT = 8.314462618  # J/(mol K), exact since the SI of 2019
ATMOSPHERE = 101325.0  # Pa, exact
_TOO_COARSE = (
    0.02  # a weight that rounding changes by more than 2 % is worth a finer balance: common practice, no source
)


def litres_per_mole(celsius: float = 1100.0) -> float:
    """Litres that one mole of gas takes up at 1 atm."""
    return 1000.0 * GAS_CONSTANT * (celsius + 273.15) / ATMOSPHERE


@dataclass(frozen=True, slots=True)
class Gas:
    """Gas that a charge gives off.

    Parameters
    ----------
    moles : mol by species.
    """

    moles: Mapping[str, float]

    @property
    def mol(self) -> float:
        """All species together, in mol."""
        return sum(self.moles.values())

    @property
    def litres(self) -> float:
        """Volume in litres at 1100 °C and 1 atm."""
        return self.litres_at(1100.0)

    @property
    def grams(self) -> float:
        """Mass in g."""
        return sum(moles * molar_mass(gas) for gas, moles in self.moles.items())

    def litres_at(self, celsius: float) -> float:
        """Volume in litres at another temperature and 1 atm."""
        return self.mol * litres_per_mole(celsius)


@dataclass(frozen=True, slots=True)
class Batch:
    """A weighed charge.

    Parameters
    ----------
    parts : parts by weight as asked for.
    grams : grams of each material before rounding, adding up to the charge.
    composition : the glass in wt%, adding up to 100.
    gas : what leaves.
    glass : grams of glass.
    """

    parts: Mapping[str, float]
    grams: Mapping[str, float]
    composition: Mapping[str, float]
    gas: Gas
    glass: float

    @property
    def mass(self) -> float:
        """Grams of the whole charge as weighed."""
        return self.glass + self.gas.grams

    @property
    def loss(self) -> float:
        """Loss on firing in wt% of the charge."""
        return 100.0 * self.gas.grams / self.mass

    @property
    def gas_per_kg(self) -> float:
        """Litres of gas at 1100 °C per kg of charge, the boil-over number."""
        return 1000.0 * self.gas.litres / self.mass

    def weighed(self, step: float = 1.0) -> dict[str, float]:
        """Grams rounded to what the balance shows, still adding up to the charge (`round_to_total`)."""
        return round_to_total(self.grams, step)

    def needs_finer_balance(self, step: float = 1.0) -> tuple[str, ...]:
        """Materials whose weight changes by more than 2 % when it is rounded to `step` grams."""
        rounded = self.weighed(step)
        return tuple(name for name, grams in self.grams.items() if abs(rounded[name] - grams) > _TOO_COARSE * grams)

    def as_material(self, id: str, name: str = "") -> Material:
        """The glass of this melt as a material of a later one: dry, with its flux in it."""
        oxides = {oxide: share / 100.0 for oxide, share in self.composition.items()}
        return Material(id=id, name=name or id, oxides=oxides, role="glass", source="computed from its own batch")


def batch(
    parts: Mapping[str, float],
    mass: float,
    *,
    of: Literal["charge", "glass"] = "charge",
    materials: Mapping[str, Material] = MappingProxyType({}),
) -> Batch:
    """Weigh out a recipe.

    Parameters
    ----------
    parts : parts by weight of each material, on any base (100 parts of rock, or a total of 100). A name is one of the
        maker's own `materials`, a raw material, a base glass or a chemical formula.
    mass : grams wanted.
    of : whether `mass` is the charge as weighed or the glass that is to come of it.
    materials : the maker's own materials and earlier melts, by name.

    Raises
    ------
    ValueError
        For an unknown or refused material, parts that are negative or add up to nothing, or a mass that is not above 0.
    """
    if not (math.isfinite(mass) and mass > 0.0):
        raise ValueError(f"the mass must be above 0 g, not {mass}")
    oxides, gases, whole = _pooled(parts, materials)
    kg_of_glass = float(sum(oxides.values()))
    if of == "glass" and kg_of_glass <= 0.0:
        raise ValueError("no part of this recipe stays as glass")
    scale = mass / float(whole) if of == "charge" else mass / kg_of_glass
    if kg_of_glass <= 0.0:
        raise ValueError("no part of this recipe stays as glass")
    return Batch(
        parts={name: float(share) for name, share in parts.items()},
        grams={name: float(share) * scale for name, share in parts.items()},
        composition={oxide: float(value) for oxide, value in normalise(oxides).items()},
        gas=Gas({gas: float(value) * scale / 1000.0 for gas, value in gases.items() if value > 0.0}),
        glass=kg_of_glass * scale,
    )


def glass_composition(
    parts: Mapping[str, ArrayLike], materials: Mapping[str, Material] = MappingProxyType({})
) -> dict[str, Array]:
    """Composition in wt% of many recipes at once: parts are arrays that broadcast, one element a recipe.

    Raises
    ------
    ValueError
        As `batch`.
    """
    oxides, _, _ = _pooled(parts, materials)
    return normalise(oxides)


def gas_per_kg(
    parts: Mapping[str, ArrayLike], materials: Mapping[str, Material] = MappingProxyType({}), celsius: float = 1100.0
) -> Array:
    """Litres of gas per kg of charge of many recipes at once, at 1 atm; raises ValueError as `batch`."""
    _, gases, whole = _pooled(parts, materials)
    moles = np.asarray(sum(gases.values(), start=np.zeros_like(whole)))
    return np.asarray(moles / whole * litres_per_mole(celsius))[()]


def round_to_total(amounts: Mapping[str, float], step: float = 1.0) -> dict[str, float]:
    """Round to multiples of `step` so that the total is the rounded total: largest remainder (Hamilton's method).

    Raises
    ------
    ValueError
        For a step that is not above 0 or an amount that is negative.
    """
    if not step > 0.0:
        raise ValueError(f"the step of the balance must be above 0 g, not {step}")
    if any(not amount >= 0.0 for amount in amounts.values()):
        raise ValueError("weights must be 0 or more")
    # 1e-9 of a step: 57.99999999999999 is 58 with a rounding error of the computer, not 57 and a large remainder
    steps = {name: math.floor(amount / step + 1e-9) for name, amount in amounts.items()}
    short = math.floor(sum(amounts.values()) / step + 0.5) - sum(steps.values())
    by_remainder = sorted(amounts, key=lambda name: steps[name] - amounts[name] / step)
    for name in by_remainder[:short]:
        steps[name] += 1
    decimals = max(0, 3 - math.floor(math.log10(step)))
    return {name: round(count * step, decimals) for name, count in steps.items()}


def _pooled(
    parts: Mapping[str, ArrayLike], materials: Mapping[str, Material]
) -> tuple[dict[str, Array], dict[str, Array], Array]:
    """Oxides in parts, gas in mol per kilopart, and the total of the parts."""
    if not parts:
        raise ValueError("the recipe names no material")
    shares: dict[str, Array] = {}
    for name, share in parts.items():
        shares[name] = np.asarray(share, dtype=float)
        if not np.all(np.isfinite(shares[name])) or np.any(shares[name] < 0.0):
            raise ValueError(f'parts of "{name}" must be a number of 0 or more, not {shares[name]}')
    whole = np.asarray(sum(shares.values()), dtype=float)
    if np.any(whole <= 0.0):
        raise ValueError("the parts of the recipe add up to nothing")
    oxides: dict[str, Array] = {}
    gases: dict[str, Array] = {}
    for name, share in shares.items():
        material = find_material(name, materials)
        for pool, yields in ((oxides, material.oxides), (gases, material.gas)):
            for part, per_kg in yields.items():
                pool[part] = pool.get(part, np.zeros_like(whole)) + share * per_kg
    return oxides, gases, whole
