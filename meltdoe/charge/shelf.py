"""The shelf: every material that a series can weigh, with the glass of earlier melts worked out over any generations.

A material that cannot be known yet (glass of a melt that is neither planned nor on record) stands on the shelf with
the reason, and is refused only where a charge really calls for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from meltdoe.charge.earlier_melts import EarlierMelt
from meltdoe.charge.recipe_shares import materials_named, melt_in_name, shares_of_melts, shelf_name
from meltdoe.glass.lots import Lot, LotBook, lot_book
from meltdoe.glass.materials import Material, base_glasses, find_material, material_names, plain
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.recipe import OwnMaterial

__all__ = ["Shelf", "own_material", "shelf"]


@dataclass(frozen=True, slots=True, eq=False)
class Shelf:
    """Materials by name.

    Parameters
    ----------
    book : the maker's own materials and the glass of earlier melts.
    unknown : name of a material to the reason why its composition is not known.
    typical : names of rocks and glasses for which a published analysis of a similar one stands in.
    lots : names of materials that are glass of an earlier melt, with the number of the melt.
    """

    book: LotBook
    unknown: Mapping[str, str]
    typical: frozenset[str]
    lots: Mapping[str, int]

    def material(self, name: str) -> Material:
        """The material of that name.

        Raises
        ------
        ValueError
            Where it is not known, with the reason.
        """
        if name in self.unknown:
            raise ValueError(self.unknown[name])
        return find_material(name, self.book.materials)


def own_material(own: OwnMaterial) -> Material:
    """What a [[material]] block describes, glass of an earlier melt excepted.

    Raises
    ------
    ValueError
        For a faulty formula or analysis, or an unknown name.
    """
    if own.analysis:
        made = Material.from_analysis(own.name, own.analysis)
    elif own.formula and plain(own.formula) not in material_names():
        made = Material.from_formula(own.name, own.formula)
    else:
        # a formula that the tables know keeps its id there, so that cautions find it
        made = replace(find_material(own.formula or own.same_as or own.name), name=own.name)
    return made if own.water is None else made.with_water(own.water)


def shelf(series: MeltSeries, melts: Iterable[EarlierMelt] = ()) -> Shelf:
    """Work out every material of a series.

    Parameters
    ----------
    melts : melts on record or planned, whose glass may be weighed again; of two with one number the first counts.

    Raises
    ------
    ValueError
        Where a [[material]] block is faulty, or remelted glass goes back to itself.
    """
    known: dict[int, EarlierMelt] = {}
    for melt in melts:
        known.setdefault(melt.melt, melt)
    own = {o.name: own_material(o) for o in series.materials if o.from_melt is None}
    unknown: dict[str, str] = {}
    lots: dict[str, int] = {o.name: o.from_melt for o in series.materials if o.from_melt is not None}
    names = set(materials_named(series)) | set(lots) if series.recipe else set()
    for melt in known.values():
        names |= _used(series, melt) if melt.weighed.strip() else set()
    made: dict[str, Lot] = {}
    waiting = sorted(names)
    while waiting:
        name = waiting.pop()
        number = lots[name] if name in lots else melt_in_name(name)
        if number is None or name in made or name in unknown:
            continue
        lots[name] = number
        if number not in known:
            unknown[name] = f"the glass of melt {number} is called for, but that melt is neither planned nor on record"
            continue
        try:
            parts = _parts(series, known[number])
        except ValueError as fault:
            unknown[name] = f"the glass of melt {number} is not known: {fault}"
            continue
        made[name] = Lot(name, parts)
        waiting += [shelf_name(series, part) for part in parts]
    sound = _without_unknown(made, unknown)
    typical = frozenset(
        name
        for name in names
        if name not in lots and (name not in own or _stands_in(series, name)) and _published(name, own)
    )
    return Shelf(lot_book(sound, own), unknown, typical, lots)


def _used(series: MeltSeries, melt: EarlierMelt) -> set[str]:
    try:
        return set(_parts(series, melt))
    except ValueError:
        return set()  # the fault is told where this melt's own charge is asked for


def _parts(series: MeltSeries, melt: EarlierMelt) -> dict[str, float]:
    shares = shares_of_melts(series, [melt])
    return {name: float(values[0]) for name, values in shares.items() if values[0] > 0.0}


def _without_unknown(made: Mapping[str, Lot], unknown: dict[str, str]) -> list[Lot]:
    """The lots that can be worked out; those made of an unknown one are unknown themselves."""
    left = dict(made)
    while True:
        spoilt = {name: part for name, lot in left.items() for part in lot.parts if part in unknown}
        if not spoilt:
            return list(left.values())
        for name, part in spoilt.items():
            unknown[name] = unknown[part]
            del left[name]


def _stands_in(series: MeltSeries, name: str) -> bool:
    """Whether a [[material]] block says no more of what it is than the name of a published glass."""
    return any(o.name == name and not o.analysis and o.from_melt is None for o in series.materials)


def _published(name: str, own: Mapping[str, Material]) -> bool:
    try:
        return find_material(name, own).id in base_glasses()
    except ValueError:
        return False
