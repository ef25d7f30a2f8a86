"""Reading [mould], [[supply]] and [cooling]: the casting, what is used up beside the charge, and how it cools."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import cast

from meltdoe.files.quoting import listed, quoted
from meltdoe.files.series.series_block import Block
from meltdoe.files.series.series_keys import nearest
from meltdoe.glass.annealing import SHAPES
from meltdoe.glass.materials import plain
from meltdoe.series.factor import Amount, Choice, Factor
from meltdoe.series.outcome import Outcome
from meltdoe.series.recipe import Bed, Cooling, Mould, Supply, UsedPer
from meltdoe.units import Quantity, dimension, parse_quantity

__all__ = ["read_cooling", "read_mould", "read_supplies"]

_BEDS = ("vermiculite", "ash", "sand")


def read_mould(block: Block | None, factors: Mapping[str, Factor | None], thickness: str | Quantity | None) -> Mould:
    """What [mould] says of one casting.

    Parameters
    ----------
    factors : by name, every factor that the file names.
    thickness : what [cooling] says of it.
    """
    if block is None:
        return Mould()
    if "volume" in block and "casting" in block:
        block.fault("casting", 'has both "volume" and "casting"', "keep the one that was measured")
    if "at_thickness" in block and not isinstance(thickness, str):
        block.fault("at_thickness", "no factor sets the thickness of the casting", "take the line out")
    volume = _factor_named(block, "volume", "volume", factors)
    return Mould(
        volume or block.quantity("volume", "volume", least=0.0),
        block.quantity("casting", "mass", least=0.0),
        block.quantity("at_thickness", "length", least=0.0),
    )


def _factor_named(block: Block, key: str, kind: str, factors: Mapping[str, Factor | None]) -> str:
    """The factor that a key names, or empty where it names none; one of another dimension is a fault."""
    name = block.table.get(key)
    if not isinstance(name, str) or name not in factors:
        return ""
    factor = factors[name]
    if factor is not None and not (isinstance(factor, Amount) and dimension(factor.unit) == kind):
        block.fault(key, f'"{key}" names {quoted(name)}, which is no {kind}', f"name a factor with a unit of {kind}")
    elif factor is not None and factor.low <= 0.0:
        block.fault(key, f"{quoted(name)} begins at {factor.low:g} {factor.unit}", "begin it above 0")
    return name


def read_supplies(blocks: Sequence[Block], outcomes: Mapping[str, Outcome | None]) -> tuple[Supply, ...]:
    """All [[supply]] blocks without faults.

    Parameters
    ----------
    outcomes : by name, every outcome that the file names.
    """
    found: dict[str, Supply] = {}
    for block in blocks:
        supply = _supply(block, outcomes)
        if supply is None:
            continue
        if plain(supply.name) in found:
            block.fault("name", f"the supply {quoted(supply.name)} is given twice", "rename one or take it out")
        found.setdefault(plain(supply.name), supply)
    return tuple(found.values())


def _supply(block: Block, outcomes: Mapping[str, Outcome | None]) -> Supply | None:
    name = block.text("name", required=True)
    amount = _amount(block, "amount", required=True)
    per = cast(UsedPer, block.word("per", ("melt", "mould", "firing"), "melt"))
    lasts = block.whole("lasts", most=1000) or 1
    lost_with = block.text("lost_with") or ""
    if lost_with and lost_with not in outcomes:
        meant = nearest(lost_with, outcomes)
        mend = f"write {quoted(meant)}" if meant else f"the outcomes are {listed(outcomes)}"
        block.fault("lost_with", f"{quoted(lost_with)} is no outcome", mend)
    price = block.between("price", 0.0, ends=True)
    pack, stock = _amount(block, "pack"), _amount(block, "stock")
    if amount is not None and amount.value <= 0.0:
        block.fault("amount", f'"amount" is {amount.value:g}', "write more than 0")
    if amount is None or not block.sound or name is None:
        return None
    in_unit = {}
    for key, given in (("pack", pack), ("stock", stock)):
        if given is None:
            in_unit[key] = 0.0
        elif (given.unit == "") != (amount.unit == "") or dimension(given.unit) != dimension(amount.unit):
            other = f"in {amount.unit}" if amount.unit else "as a number of pieces"
            block.fault(key, f'"{key}" does not go with the amount', f"write it {other}, as the amount")
            return None
        else:
            in_unit[key] = given.in_unit(amount.unit) if amount.unit else given.value
    return Supply(name, amount, per, lasts, lost_with, price, in_unit["pack"], in_unit["stock"])


def _amount(block: Block, key: str, *, required: bool = False) -> Quantity | None:
    """A number of pieces, or text with a unit of mass or volume."""
    value = block.table.get(key)
    if not isinstance(value, str):
        number = block.between(key, 0.0, required=required, ends=True)
        return None if number is None else Quantity(number, "")
    try:
        quantity = parse_quantity(value)
    except ValueError:
        quantity = None
    if quantity is None or dimension(quantity.unit) not in ("mass", "volume") or quantity.value < 0.0:
        block.fault(key, f'"{key}" is {quoted(value)}', 'write a number of pieces, or a mass or volume such as "3 kg"')
        return None
    return quantity


def read_cooling(block: Block | None, factors: Mapping[str, Factor | None]) -> Cooling | None:
    """[cooling], or None where there is none or it has faults.

    Parameters
    ----------
    factors : by name, every factor that the file names.
    """
    if block is None:
        return None
    thickness = _factor_named(block, "thickness", "length", factors) or block.quantity(
        "thickness", "length", least=0.0, required=True
    )
    shapes = [f.name for f in factors.values() if isinstance(f, Choice) and set(f.options) <= set(SHAPES)]
    shape = block.word("shape", (*SHAPES, *shapes), "slab") or "slab"
    in_mould = block.table.get("in_mould", False)
    if not isinstance(in_mould, bool):
        block.fault("in_mould", f'"in_mould" is {quoted(in_mould)}', "write true or false")
    furnace_rate = block.quantity("furnace_rate", "temperature rate", least=0.0)
    bed = cast(Bed, block.word("bed", _BEDS, "vermiculite")) if "bed" in block else None
    cover = block.quantity("cover", "length", least=0.0)
    if not block.sound or thickness is None:
        return None
    return Cooling(thickness, shape, bool(in_mould), furnace_rate, bed, cover or Quantity(150.0, "mm"))
