"""Reading [recipe], [[part]] and [[material]]: what goes into the crucible. Every material is looked up at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product
from typing import cast

import numpy as np

from meltdoe.charge.recipe_shares import melt_in_name
from meltdoe.charge.shelf import own_material
from meltdoe.files.quoting import listed, quoted
from meltdoe.files.series.series_block import Block
from meltdoe.files.series.series_keys import nearest
from meltdoe.glass.materials import find_material, plain
from meltdoe.series.belief import Circumstance
from meltdoe.series.factor import Amount, Choice, Factor, FloatArray
from meltdoe.series.limit import Limit
from meltdoe.series.limit_parser import Expression, LimitSyntax, parse_expression
from meltdoe.series.recipe import NOTHING, OwnMaterial, Part, Recipe, SharesOf
from meltdoe.units import Quantity, dimension, parse_quantity

__all__ = ["read_materials", "read_recipe", "refuse_shares"]

_CLOSES = (
    95.0,
    102.0,
)  # an analysis that adds up to less has lost an oxide or the water, to more has a slip of the pen
_LEVELS = 3  # of every factor, where the sum of the shares is looked at
_MOST_POINTS = 20_000
_IS = ("formula", "analysis", "same_as", "from_melt")

_Factors = Mapping[str, Factor | None]


def read_materials(blocks: Sequence[Block]) -> tuple[OwnMaterial, ...]:
    """All [[material]] blocks without faults."""
    found: dict[str, OwnMaterial] = {}
    lines: dict[str, int] = {}
    melts: dict[int, str] = {}
    for block in blocks:
        own = _material(block)
        name = block.table.get("name")
        if isinstance(name, str):
            line = block.notes.document.line((*block.path, "name"))
            first = lines.setdefault(plain(name), line)
            if first != line:
                block.fault("name", f"the name {quoted(name)} is given already in line {first}", "rename one")
                continue
        if own is None:
            continue
        if own.from_melt is not None and melts.setdefault(own.from_melt, own.name) != own.name:
            other = quoted(melts[own.from_melt])
            block.fault("from_melt", f"the glass of melt {own.from_melt} is {other} already", "keep one of the two")
            continue
        found[own.name] = own
    return tuple(found.values())


def _material(block: Block) -> OwnMaterial | None:
    name = block.text("name", required=True)
    said = [key for key in _IS if key in block]
    if len(said) > 1:
        block.fault(said[1], f"has both {listed(said[:2])}", "keep the one that says best what it is")
    if name and melt_in_name(name) is not None:
        block.fault("name", f"{quoted(name)} is the name of a melt", f'name it "old glass", with from_{plain(name)}')
    if name and plain(name) == NOTHING:
        block.fault("name", f'"{NOTHING}" stands for no material', "give it another name")
    water = block.between("water", 0.0, 100.0, ends=True)
    own = OwnMaterial(
        name=name or "",
        formula=block.text("formula") or "",
        analysis=_analysis(block.table_of_names("analysis")),
        same_as=block.text("same_as") or "",
        from_melt=block.whole("from_melt"),
        water=water,
        price=block.between("price", 0.0, ends=True),
        pack=block.quantity("pack", "mass", least=0.0),
        stock=block.quantity("stock", "mass", least=-1e-12),
    )
    if "analysis" in block and not own.analysis:
        block.sound = False  # the table of names has told why
    if water is not None and own.from_melt is not None:
        block.fault("water", "remelted glass is dry", "take the line out")
    if not block.sound or name is None:
        return None
    if own.from_melt is None:
        try:
            own_material(own)
        except ValueError as fault:
            key = said[0] if said else "name"
            what, _, mend = str(fault).partition("; ")
            block.fault(key, what, _as_order(mend) or "say what it is with formula, analysis or same_as")
            return None
    return own


def _as_order(hint: str) -> str:
    """'did you mean "soda ash"?' as something to do."""
    return "write " + hint.removeprefix("did you mean ").rstrip("?") if hint.startswith("did you mean ") else hint


def _analysis(block: Block | None) -> Mapping[str, float]:
    if block is None:
        return {}
    amounts: dict[str, float] = {}
    for oxide in block.table:
        number = block.number(oxide)
        if number is not None and number < 0.0:
            block.fault(oxide, f'"{oxide}" is {number:g}', "write a share of 0 or more")
        elif number is not None:
            amounts[oxide] = number
    if not block.sound:
        return {}
    whole = sum(amounts.values())
    if not _CLOSES[0] <= whole <= _CLOSES[1]:
        side = "check the numbers" if whole > _CLOSES[1] else "give every oxide, also water as H2O"
        block.fault(None, f"the analysis adds up to {whole:.1f} wt%", f"{side}: it should come near 100")
        return {}
    return amounts


def read_recipe(
    block: Block | None,
    part_blocks: Sequence[Block],
    factors: _Factors,
    materials: Sequence[OwnMaterial],
    circumstances: Sequence[Circumstance | None],
) -> Recipe | None:
    """[recipe] with its [[part]] blocks, or None where there is none or it has faults.

    Parameters
    ----------
    factors : by name, every factor that the file names; None for one that has faults of its own.
    materials : of the maker, those without faults.
    """
    if block is None:
        for part in part_blocks:
            part.fault(None, "there is no [recipe] that it is a part of", 'add [recipe] with base = "obsidian"')
        return None
    base, base_by = _material_or_choice(block, "base", "base_by", factors, materials)
    recipe = Recipe(
        base=base,
        base_by=base_by,
        shares_of=cast(SharesOf, block.word("shares_of", ("total", "base"), "total")),
        parts=_parts(part_blocks, base, factors, materials),
        charge=block.quantity("charge", "mass", least=0.0),
        pour_loss=block.between("pour_loss", 0.0, 95.0, ends=True) or 0.0,
        crucible=block.quantity("crucible", "volume", least=0.0),
        balance=block.quantity("balance", "mass", least=0.0) or Quantity(1.0, "g"),
        pours_at=_factor_or_quantity(block, "pours_at", "temperature", factors),
        held_for=_factor_or_quantity(block, "held_for", "time", factors),
        weighed=_weighed(block, circumstances),
    )
    return recipe if block.sound and all(part.sound for part in part_blocks) else None


def _parts(blocks: Sequence[Block], base: str, factors: _Factors, materials: Sequence[OwnMaterial]) -> tuple[Part, ...]:
    parts: list[Part] = []
    taken = {plain(base): "the base"} if base else {}
    for block in blocks:
        material, by = _material_or_choice(block, "material", "material_by", factors, materials)
        share = _share(block, factors)
        if material and plain(material) in taken:
            block.fault("material", f"{quoted(material)} is {taken[plain(material)]} already", "write one share for it")
        elif material:
            taken[plain(material)] = "a part"
        if share is not None and block.sound:
            parts.append(Part(share, material, by))
    return tuple(parts)


def _material_or_choice(
    block: Block, key: str, by_key: str, factors: _Factors, materials: Sequence[OwnMaterial]
) -> tuple[str, str]:
    """A material by its name, or the choice factor whose options are materials."""
    if key in block and by_key in block:
        block.fault(by_key, f'has both "{key}" and "{by_key}"', f'keep "{by_key}" where a factor chooses the material')
        return "", ""
    if by_key not in block:
        name = block.text(key, required=True) or ""
        return (name, "") if name and _known(block, key, name, materials) else ("", "")
    name = block.text(by_key, required=True) or ""
    if not name or not _is_factor(block, by_key, name, factors):
        return "", ""
    factor = factors[name]
    if factor is None:
        return "", name
    if not isinstance(factor, Choice):
        block.fault(by_key, f"{quoted(name)} is no choice of materials", 'name a factor of kind = "choice"')
        return "", ""
    for option in factor.options:
        if plain(option) == NOTHING and key == "base":
            block.fault(by_key, f'{quoted(name)} has the option "{NOTHING}"', "every charge needs a base; rename it")
        elif plain(option) != NOTHING:
            _known(block, by_key, option, materials)
    return "", name


def _known(block: Block, key: str, name: str, materials: Sequence[OwnMaterial]) -> bool:
    if plain(name) in {plain(own.name) for own in materials} or melt_in_name(name) is not None:
        return True
    if any(plain(str(other.get("name"))) == plain(name) for other in _all_materials(block)):
        return True  # a [[material]] with faults of its own, which are told there
    try:
        find_material(name)
    except ValueError as fault:
        meant = nearest(name, [own.name for own in materials])
        what, _, hint = str(fault).partition("; ")
        what = what.replace(": ", ", because it ", 1) if "is refused" in what else what
        mend = f"write {quoted(meant)}" if meant else _as_order(hint) or "leave it out or take another material"
        block.fault(key, what, f"{mend}, or describe it in a [[material]] block" if "not known" in what else mend)
        return False
    return True


def _all_materials(block: Block) -> list[Mapping[str, object]]:
    tables = block.notes.document.data.get("material")
    return [table for table in tables if isinstance(table, dict)] if isinstance(tables, list) else []


def _is_factor(block: Block, key: str, name: str, factors: _Factors) -> bool:
    if name in factors:
        return True
    meant = nearest(name, factors)
    mend = f"write {quoted(meant)}" if meant else f"the factors are {listed(factors)}"
    block.fault(key, f'"{key}" names {quoted(name)}, which is no factor', mend)
    return False


def _share(block: Block, factors: _Factors) -> Expression | None:
    value = block.table.get("share")
    if isinstance(value, str):
        text = block.text("share", required=True) or ""
    else:
        number = block.number("share", required=True)
        if number is None:
            return None
        if number < 0.0:
            block.fault("share", f'"share" is {number:g}', "write a share of 0 or more")
            return None
        text = f"{number:.12g}"
    if not text:
        return None
    try:
        share = parse_expression(text)
    except LimitSyntax as fault:
        block.fault("share", f"{quoted(text)} is no share: {fault}", 'write a number, "flux" or "0.6 * flux"')
        return None
    for name in sorted(share.names):
        if not _is_factor(block, "share", name, factors):
            return None
        factor = factors[name]
        if factor is not None and not isinstance(factor, Amount):
            block.fault("share", f"{quoted(name)} is no amount", 'name a factor of kind = "amount"')
            return None
        if isinstance(factor, Amount) and dimension(factor.unit) not in (None, "share"):
            block.fault("share", f"{quoted(name)} is in {factor.unit}, which is no share", 'use a factor in "wt%"')
            return None
    return share


def _factor_or_quantity(block: Block, key: str, kind: str, factors: _Factors) -> str | Quantity:
    text = block.text(key) or ""
    if not text or text in factors:
        factor = factors.get(text)
        if (isinstance(factor, Amount) and dimension(factor.unit) == kind) or factor is None:
            return text
        block.fault(key, f'"{key}" names {quoted(text)}, which is no {kind}', f"name a factor with a unit of {kind}")
        return ""
    try:
        quantity = parse_quantity(text)
    except ValueError:
        quantity = None
    if quantity is not None and dimension(quantity.unit) == kind:
        return quantity
    meant = nearest(text, factors)
    what = f"names {quoted(text)}, which is neither a factor nor a {kind} with its unit"
    block.fault(key, f'"{key}" {what}', f"write {quoted(meant)}" if meant else "name a factor of the series")
    return ""


def _weighed(block: Block, circumstances: Sequence[Circumstance | None]) -> str:
    name = block.text("weighed") or ""
    if not name:
        return ""
    known = {circumstance.name: circumstance for circumstance in circumstances if circumstance is not None}
    if name not in known:
        block.fault("weighed", f"{quoted(name)} is no circumstance", f'add [[circumstance]] with name = "{name}"')
    elif known[name].unit or known[name].options:
        block.fault("weighed", f"the circumstance {quoted(name)} holds no text", "take its unit or options out")
    return name


def refuse_shares(
    block: Block, recipe: Recipe, part_blocks: Sequence[Block], factors: Sequence[Factor], limits: Sequence[Limit]
) -> None:
    """Fault shares that are negative, or leave nothing for the base, at a setting that keeps every limit."""
    used = {name for part in recipe.parts for name in part.share.names}
    amounts = [f for f in factors if isinstance(f, Amount)]
    levels = [np.linspace(f.low, f.high, _LEVELS if f.name in used else 2) for f in amounts]
    points = np.array([point for point, _ in zip(product(*levels), range(_MOST_POINTS), strict=False)], dtype=float)
    columns: dict[str, FloatArray] = {f.name: points[:, i] for i, f in enumerate(amounts)} if amounts else {}
    keeps = np.ones(max(len(points), 1), dtype=bool)
    for limit in limits:
        keeps &= np.broadcast_to(limit.holds(columns), keeps.shape)
    if not np.any(keeps):
        return
    whole = np.zeros(int(np.sum(keeps)))
    for part, place in zip(recipe.parts, part_blocks, strict=True):
        share = np.broadcast_to(part.share.value(columns), keeps.shape)[keeps]
        if not np.all(np.isfinite(share)):
            place.fault("share", f"{quoted(part.share.text)} has no value at some setting", "mend the arithmetic")
        elif np.min(share) < 0.0:
            place.fault("share", f"{quoted(part.share.text)} falls to {np.min(share):.4g}", "keep it at 0 or more")
        else:
            whole = whole + share
    if recipe.shares_of == "total" and np.max(whole) >= 100.0 and all(place.sound for place in part_blocks):
        block.fault(
            None,
            f"the shares of the parts add up to {np.max(whole):.4g} per cent, which leaves nothing for the base",
            'lower them, or write shares_of = "base" where they are parts added to 100 of the base',
        )
