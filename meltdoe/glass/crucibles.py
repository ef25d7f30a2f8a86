"""How far a crucible may be filled, from what the charge gives off (common practice, no source).

At most two thirds with dry, melted glass in mind; one half with carbonates and other fluxes that gas; one third with
hydrated borax, boric acid or glass that holds more than 1 wt% of water. Crucible bodies stand in
``data/crucibles.csv``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from meltdoe.glass.materials import Material, find_material
from meltdoe.glass.oxides import molar_mass
from meltdoe.glass.reference_tables import Row, table

__all__ = ["FillLimit", "crucible_bodies", "fill_limit"]

_MUCH_WATER = 1.0  # wt%: perlite and pumice hold 1 to 5, obsidian 0.1 to 0.6


@dataclass(frozen=True, slots=True)
class FillLimit:
    """How far the crucible may be filled with cold charge, and why.

    Parameters
    ----------
    share : of the crucible's volume.
    why : the material that sets it, in words.
    """

    share: float
    why: str


def fill_limit(parts: Mapping[str, float], materials: Mapping[str, Material] = MappingProxyType({})) -> FillLimit:
    """The fill limit of a recipe; raises ValueError for an unknown or refused material."""
    present = [find_material(name, materials) for name, share in parts.items() if share > 0.0]
    wet = next((m for m in present if 0.1 * m.gas.get("H2O", 0.0) * molar_mass("H2O") > _MUCH_WATER), None)
    if wet is not None:
        return FillLimit(1.0 / 3.0, f"{wet.name} gives off much steam")
    gassing = next((m for m in present if set(m.gas) - {"H2O"}), None)
    if gassing is not None:
        return FillLimit(1.0 / 2.0, f"{gassing.name} foams as it gives off gas")
    return FillLimit(2.0 / 3.0, "nothing in the charge gives off much gas")


def crucible_bodies() -> tuple[Row, ...]:
    """Crucible bodies with upper use, thermal shock and corrosion, as text, with how each was obtained."""
    return table("crucibles")
