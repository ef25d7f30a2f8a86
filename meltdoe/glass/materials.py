"""Materials of a charge: raw materials, base glasses, and the maker's own by formula or by analysis.

A material is the kilograms of each oxide, and the moles of each gas, that one kilogram gives on firing. Oxides and gas
always add up to the kilogram. Raw materials are computed from their formula (``data/raw_materials.csv``), base
glasses from their analysis (``data/base_glasses.csv``); no loss by volatilisation of B2O3, Na2O or K2O is included.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from types import MappingProxyType

from meltdoe.glass.formula import fired, is_formula
from meltdoe.glass.oxides import VOLATILE, checked, molar_mass, nearest
from meltdoe.glass.reference_tables import Row, number, table

__all__ = ["Material", "base_glass", "base_glasses", "find_material", "material_names", "plain"]

_NOT_OXIDES = frozenset({"id", "name", "aliases", "kind", "source", "how_obtained", "note"})
_FLUXES = frozenset({"Na2O", "K2O", "Li2O", "B2O3"})
_FORMERS = frozenset({"SiO2", "B2O3", "P2O5"})
_GLASS_FORMING = 0.3  # share of formers: slag holds 0.35, lead crystal 0.55, obsidian 0.75 (common practice, no source)
_CLOSES = (90.0, 110.0)  # an analysis that adds up to less or more has lost an oxide or gained a slip of the pen


@dataclass(frozen=True, slots=True)
class Material:
    """What one kilogram of a material gives on firing.

    Parameters
    ----------
    id : the name that parts are given under.
    name : the name printed for a person.
    oxides : kg of each oxide that stays, per kg.
    gas : mol of each gas that leaves, per kg.
    role : "glass", "flux", "stabiliser", "former", "colourant", "fining agent", "opacifier" or "water".
    refused : why a melt with it is refused, empty where it is not.
    note : what the maker should know of it.
    source : where the numbers come from.
    """

    id: str
    name: str
    oxides: Mapping[str, float]
    gas: Mapping[str, float] = field(default_factory=dict)
    role: str = "glass"
    refused: str = ""
    note: str = ""
    source: str = ""

    @property
    def glass_share(self) -> float:
        """kg of glass per kg of material."""
        return sum(self.oxides.values())

    @property
    def loss_on_firing(self) -> float:
        """kg that leave as gas per kg of material."""
        return sum(moles * molar_mass(gas) for gas, moles in self.gas.items()) / 1000.0

    @classmethod
    def from_formula(cls, id: str, formula: str, *, name: str = "", role: str = "", note: str = "") -> Material:
        """A pure compound, for example ``Material.from_formula("borax", "Na2B4O7.10H2O")``; raises ValueError.

        Without a `role` it is a flux where alkali and boric oxide are most of what stays, else a stabiliser.
        """
        oxides, gases = fired(formula)
        unit = sum(moles * molar_mass(part) for part, moles in (oxides | gases).items())
        stays = {oxide: moles * molar_mass(oxide) / unit for oxide, moles in oxides.items()}
        return cls(
            id=id,
            name=name or id,
            oxides=stays,
            gas={gas: 1000.0 * moles / unit for gas, moles in gases.items()},
            role=role or ("flux" if _is_flux(stays) else "stabiliser"),
            note=note,
            source=f"computed from the formula {formula}",
        )

    @classmethod
    def from_analysis(
        cls,
        id: str,
        analysis: Mapping[str, float],
        *,
        name: str = "",
        role: str = "",
        note: str = "",
        source: str = "",
    ) -> Material:
        """A material by its analysis in wt%, water and carbon dioxide among the oxides where they are known.

        The analysis is closed to 100. Without a `role` it is a flux where alkali and boric oxide are most of what stays
        (plant ash, a borax frit), else a glass where enough of it can make one, else a stabiliser.

        Raises
        ------
        ValueError
            For an unknown oxide, a negative amount, or a sum outside 90 to 110 wt%.
        """
        amounts = {oxide: float(value) for oxide, value in checked(analysis).items()}
        whole = sum(amounts.values())
        if not _CLOSES[0] <= whole <= _CLOSES[1]:
            raise ValueError(
                f'the analysis of "{id}" adds up to {whole:.1f} wt%; give every oxide, also water, to near 100'
            )
        if "F" in amounts or "F2O_1" in amounts:
            raise ValueError(
                f'"{id}" holds fluorine, which leaves as poisonous gas in an amount that cannot be computed'
            )
        stays = {oxide: value / whole for oxide, value in amounts.items() if oxide not in VOLATILE}
        forming = sum(share for oxide, share in stays.items() if oxide in _FORMERS)
        other = "glass" if forming > _GLASS_FORMING * sum(stays.values()) else "stabiliser"
        return cls(
            id=id,
            name=name or id,
            oxides=stays,
            gas={gas: 1000.0 * value / whole / molar_mass(gas) for gas, value in amounts.items() if gas in VOLATILE},
            role=role or ("flux" if _is_flux(stays) else other),
            note=note,
            source=source or "analysis given by the maker",
        )

    def with_water(self, weight_percent: float) -> Material:
        """The same material with its water content replaced, in wt% of the material as weighed.

        Raises
        ------
        ValueError
            Where the share is not from 0 up to 100.
        """
        if not 0.0 <= weight_percent < 100.0:
            raise ValueError(f'water in "{self.id}" must be from 0 up to 100 wt%, not {weight_percent}')
        dry_gas = {gas: moles for gas, moles in self.gas.items() if gas != "H2O"}
        dry = self.glass_share + sum(moles * molar_mass(gas) for gas, moles in dry_gas.items()) / 1000.0
        scale = (1.0 - weight_percent / 100.0) / dry
        gas = {gas: moles * scale for gas, moles in dry_gas.items()}
        if weight_percent:
            gas["H2O"] = 10.0 * weight_percent / molar_mass("H2O")
        oxides = {oxide: share * scale for oxide, share in self.oxides.items()}
        return replace(self, oxides=oxides, gas=gas)


def plain(name: str) -> str:
    """A name as it is compared: lower case, one blank for blanks, underscores and hyphens."""
    return re.sub(r"[\s_\-]+", " ", name.strip().lower())


def _names(row: Row) -> Iterable[str]:
    aliases = row["aliases"].split(";") if row["aliases"] else []
    return (row["id"], row["name"], row.get("formula", row["name"]), *aliases)


@cache
def _index() -> Mapping[str, str]:
    """Every known name to the id that it stands for."""
    index: dict[str, str] = {}
    for row in (*table("raw_materials"), *table("base_glasses")):
        for name in _names(row):
            index.setdefault(plain(name), row["id"])
    return MappingProxyType(index)


def material_names() -> Mapping[str, str]:
    """Every known name of a material, as `plain` writes it, to its id."""
    return _index()


@cache
def base_glasses() -> Mapping[str, Material]:
    """Published glasses and rocks by id, from ``data/base_glasses.csv``."""
    glasses = {}
    for row in table("base_glasses"):
        analysis = {column: float(cell) for column, cell in row.items() if column not in _NOT_OXIDES and cell}
        glasses[row["id"]] = Material.from_analysis(
            row["id"],
            analysis,
            name=row["name"],
            role="glass",
            note=row["note"],
            source=f"{row['source']}; {row['how_obtained']}",
        )
    return MappingProxyType(glasses)


@cache
def _raw_materials() -> Mapping[str, Material]:
    materials = {}
    for row in table("raw_materials"):
        if row["refused"]:
            materials[row["id"]] = Material(
                row["id"], row["name"], {}, role=row["role"], refused=row["refused"], note=row["note"]
            )
        else:
            materials[row["id"]] = Material.from_formula(
                row["id"], row["formula"], name=row["name"], role=row["role"], note=row["note"]
            )
    return MappingProxyType(materials)


def base_glass(name: str) -> dict[str, float]:
    """Composition of a published glass in wt% as analysed, water and all; raises ValueError for an unknown name."""
    row = next((row for row in table("base_glasses") if row["id"] == _index().get(plain(name))), None)
    if row is None:
        raise ValueError(
            f'no base glass is called "{name}"{nearest(name, (row["id"] for row in table("base_glasses")))}'
        )
    return {column: number(row, column) for column in row if column not in _NOT_OXIDES and row[column]}


def _is_flux(stays: Mapping[str, float]) -> bool:
    return 2.0 * sum(share for oxide, share in stays.items() if oxide in _FLUXES) > sum(stays.values())


def find_material(name: str, own: Mapping[str, Material] = MappingProxyType({})) -> Material:
    """The material of this name: the maker's own first, then raw materials and base glasses, then a chemical formula.

    Raises
    ------
    ValueError
        Where nothing of that name is known (the nearest name is suggested) or the material is refused.
    """
    own_names = {plain(key): material for key, material in own.items()}
    wanted = plain(name)
    if wanted in own_names:
        material = own_names[wanted]
    elif wanted in _index():
        id = _index()[wanted]
        material = _raw_materials()[id] if id in _raw_materials() else base_glasses()[id]
    elif is_formula(name):
        material = Material.from_formula(name, name)
    else:
        hint = nearest(wanted, (*own_names, *_index())) or "; give its analysis in wt% or its chemical formula"
        raise ValueError(f'material "{name}" is not known{hint}')
    if material.refused:
        raise ValueError(f'"{name}" is refused: {material.refused}')
    return material
