"""Genealogy of remelted glass: what an earlier melt brings into a later one, over any number of generations.

Glass that is crushed and melted again carries its flux along, so the flux share of a remelt is not the flux that was
weighed into it. A lot is the glass of one earlier melt, given by what was weighed for it; lots may be made of lots.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from types import MappingProxyType

from meltdoe.glass.batch_weights import Batch, batch
from meltdoe.glass.materials import Material, find_material, material_names, plain

__all__ = ["Lot", "LotBook", "lot_book"]


@dataclass(frozen=True, slots=True)
class Lot:
    """Glass of an earlier melt.

    Parameters
    ----------
    name : what later recipes call it.
    parts : what was weighed for it, in parts or grams; names of materials and of other lots.
    analysis : measured composition in wt%, which then stands in place of the computed one.
    """

    name: str
    parts: Mapping[str, float]
    analysis: Mapping[str, float] | None = None


@dataclass(frozen=True, slots=True)
class LotBook:
    """Lots resolved into materials.

    Parameters
    ----------
    materials : the maker's own materials and the glass of every lot, to be handed to `batch`.
    origins : for each lot, kg of each bought material that went into one kg of its glass.
    generations : for each lot, 1 where it was made of bought materials only, else one more than its youngest ancestor.
    """

    materials: Mapping[str, Material]
    origins: Mapping[str, Mapping[str, float]]
    generations: Mapping[str, int]

    def batch(self, parts: Mapping[str, float], mass: float) -> Batch:
        """Weigh out a recipe that may call for lots; raises ValueError as `batch`."""
        return batch(parts, mass, materials=self.materials)

    def traced(self, parts: Mapping[str, float]) -> dict[str, float]:
        """The same recipe in bought materials: each lot replaced by what was weighed for it, losses and all."""
        bought: dict[str, float] = {}
        for name, share in parts.items():
            key = plain(name)
            sources = self.origins[key] if key in self.origins else {self._bought(name): 1.0}
            for source, per_part in sources.items():
                bought[source] = bought.get(source, 0.0) + share * per_part
        return bought

    def flux_share(self, parts: Mapping[str, float], fluxes: Iterable[str] | None = None) -> float:
        """Actual flux, that of earlier melts included, in parts per 100 parts of rock and glass.

        Parameters
        ----------
        parts : the recipe as weighed.
        fluxes : which bought materials count as flux; by default all whose role is "flux".

        Raises
        ------
        ValueError
            Where the recipe holds no rock and no glass.
        """
        bought = self.traced(parts)
        found = {name: find_material(name, self.materials) for name in bought}
        chosen = (
            {name for name, material in found.items() if material.role == "flux"}
            if fluxes is None
            else {self._bought(name) for name in fluxes}
        )
        flux = sum(bought[name] for name in found if name in chosen)
        rock = sum(bought[name] for name, material in found.items() if material.role == "glass" and name not in chosen)
        if rock <= 0.0:
            raise ValueError(
                "the recipe holds no rock and no glass, so a flux share per 100 parts of it has no meaning"
            )
        return 100.0 * flux / rock

    def _bought(self, name: str) -> str:
        """One spelling for one material: the maker's own key, else the id of the table."""
        own = {plain(key): key for key in self.materials}
        return own.get(plain(name)) or find_material(name).id


def lot_book(lots: Iterable[Lot], materials: Mapping[str, Material] = MappingProxyType({})) -> LotBook:
    """Work out every lot from what was weighed for it.

    Raises
    ------
    ValueError
        Where two lots share a name, a lot has the name of a material, a lot goes back to itself (the ring is named), or
        a recipe cannot be weighed.
    """
    book: dict[str, Lot] = {}
    own = {plain(name) for name in materials}
    for lot in lots:
        key = plain(lot.name)
        if key in book:
            raise ValueError(f'two lots are called "{lot.name}"')
        if key in own or key in material_names():
            raise ValueError(f'lot "{lot.name}" has the name of a material; call it something else')
        book[key] = lot
    parents = {key: [plain(name) for name in lot.parts if plain(name) in book] for key, lot in book.items()}
    try:
        order = tuple(TopologicalSorter(parents).static_order())
    except CycleError as error:
        ring = " made of ".join(f'"{book[key].name}"' for key in reversed(error.args[1]))
        raise ValueError(f"a lot cannot go back to itself: {ring}") from None

    known = dict(materials)
    origins: dict[str, Mapping[str, float]] = {}
    generations: dict[str, int] = {}
    for key in order:
        lot = book[key]
        try:
            weighed = batch(lot.parts, 1.0, materials=known)
            glass = (
                weighed.as_material(lot.name)
                if lot.analysis is None
                else Material.from_analysis(lot.name, lot.analysis, role="glass", source="analysis of the glass")
            )
        except ValueError as error:
            raise ValueError(f'lot "{lot.name}": {error}') from None
        partial = LotBook(known, origins, generations)
        bought = partial.traced(weighed.grams)
        origins[key] = {source: grams / weighed.glass for source, grams in bought.items()}
        generations[key] = 1 + max((generations[parent] for parent in parents[key]), default=0)
        known[lot.name] = glass
    return LotBook(known, origins, generations)
