"""Chemical formulas of raw materials, turned into the oxides that stay and the gases that leave.

Formulas are written as on the bag: ``Na2CO3``, ``Na2B4O7.10H2O``, ``CaMg(CO3)2``, ``K2CO3·1.5H2O``. On firing in air
with silica, hydrogen leaves as H2O, carbon as CO2, nitrogen as N2, sulphur as SO2, and oxygen left over as O2.
Nitrogen oxides are the real gas of a nitrate below about 700 °C and are counted here as N2 + O2 (as in
``data/raw_materials.csv``). Iron takes the mix of FeO and Fe2O3 that uses up the oxygen of the formula.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping

__all__ = ["fired", "is_formula", "parse_formula"]

# element: (oxide, atoms of the element in it, atoms of oxygen in it)
_STAYS = {
    "Si": ("SiO2", 1, 2), "Ti": ("TiO2", 1, 2), "Al": ("Al2O3", 2, 3), "Mn": ("MnO", 1, 1), "Mg": ("MgO", 1, 1),
    "Ca": ("CaO", 1, 1), "Na": ("Na2O", 2, 1), "K": ("K2O", 2, 1), "Li": ("Li2O", 2, 1), "P": ("P2O5", 2, 5),
    "B": ("B2O3", 2, 3), "Zn": ("ZnO", 1, 1), "Ba": ("BaO", 1, 1), "Sr": ("SrO", 1, 1), "Pb": ("PbO", 1, 1),
    "Ni": ("NiO", 1, 1), "Cr": ("Cr2O3", 2, 3), "Co": ("CoO", 1, 1), "Cu": ("CuO", 1, 1), "Zr": ("ZrO2", 1, 2),
}  # fmt: skip
_LEAVES = {"H": ("H2O", 2, 1), "C": ("CO2", 1, 2), "N": ("N2", 2, 0), "S": ("SO2", 1, 2)}
_Atoms = defaultdict[str, float]
_SUBSCRIPTS = str.maketrans("₀₁₂₃₄₅₆₇₈₉", "0123456789")
_COUNT = r"(0\.\d+|\d+|)"
_TOKEN = re.compile(rf"([A-Z][a-z]?){_COUNT}|(\()|\){_COUNT}|([.·•*])(\d+(?:\.\d+)?|)")
_LEADING = re.compile(r"\d+(?:\.\d+)?")


def parse_formula(formula: str) -> dict[str, float]:
    """Atoms of each element in one formula unit.

    Raises
    ------
    ValueError
        Where the text is no formula, with the spot marked.
    """
    text = "".join(formula.split()).translate(_SUBSCRIPTS)
    atoms: _Atoms = defaultdict(float)
    open_groups: list[_Atoms] = [defaultdict(float)]
    leading = _LEADING.match(text)
    factor = float(leading.group()) if leading else 1.0
    place = leading.end() if leading else 0
    while place < len(text):
        token = _TOKEN.match(text, place)
        if token is None:
            raise _faulty(formula, text, place)
        element, count, opening, group_count, separator, coefficient = token.groups()
        if element:
            open_groups[-1][element] += float(count or 1)
        elif opening:
            open_groups.append(defaultdict(float))
        elif separator:
            if len(open_groups) > 1 or token.end() == len(text):
                raise _faulty(formula, text, place)
            _add(atoms, open_groups.pop(), factor)
            open_groups.append(defaultdict(float))
            factor = float(coefficient or 1)
        else:
            if len(open_groups) == 1:
                raise _faulty(formula, text, place)
            group = open_groups.pop()
            _add(open_groups[-1], group, float(group_count or 1))
        place = token.end()
    if len(open_groups) > 1:
        raise _faulty(formula, text, len(text))
    _add(atoms, open_groups.pop(), factor)
    if not atoms or min(atoms.values()) <= 0:
        raise _faulty(formula, text, 0)
    return dict(atoms)


def fired(formula: str) -> tuple[dict[str, float], dict[str, float]]:
    """Moles of each oxide that stays and of each gas that leaves, per mole of formula.

    Raises
    ------
    ValueError
        Where an element has no place in the glass, or the formula is short of oxygen (metals, carbon, sugar).
    """
    atoms = parse_formula(formula)
    oxygen = atoms.pop("O", 0.0)
    iron = atoms.pop("Fe", 0.0)
    oxides: dict[str, float] = {}
    gases: dict[str, float] = {}
    for element, count in atoms.items():
        known = _STAYS.get(element) or _LEAVES.get(element)
        if known is None:
            raise ValueError(
                f'"{formula}" holds {element}, which meltdoe cannot place in a glass; give an analysis instead'
            )
        name, each, oxygens = known
        (oxides if element in _STAYS else gases)[name] = count / each
        oxygen -= count / each * oxygens
    if iron:
        ferric = min(max(oxygen - iron, 0.0), iron / 2)  # Fe2O3 takes half an oxygen more than 2 FeO, per iron
        oxides |= {name: moles for name, moles in (("Fe2O3", ferric), ("FeO", iron - 2 * ferric)) if moles > 1e-12}
        oxygen -= iron + ferric
    if oxygen < -1e-9:
        raise ValueError(
            f'"{formula}" burns or reduces: it is short of oxygen, so its yield depends on the air in the kiln'
        )
    if oxygen > 1e-9:
        gases["O2"] = gases.get("O2", 0.0) + oxygen / 2
    return oxides, gases


def is_formula(text: str) -> bool:
    """Whether the text reads as a formula of elements that meltdoe knows or of one that it knows to refuse."""
    try:
        atoms = parse_formula(text)
    except ValueError:
        return False
    return set(atoms) <= {*_STAYS, *_LEAVES, "O", "Fe", "F", "Cl"}


def _add(into: _Atoms, group: Mapping[str, float], times: float) -> None:
    for element, count in group.items():
        into[element] += count * times


def _faulty(formula: str, text: str, place: int) -> ValueError:
    marked = f"{text[:place]} >> {text[place:]}" if 0 < place < len(text) else text or formula
    return ValueError(f'"{marked}" is no chemical formula; write it as "Na2CO3" or "Na2B4O7.10H2O"')
