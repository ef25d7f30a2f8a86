"""The glass as the maker writes it down: recipe, materials of their own, what is used up, the mould and the cooling.

Only what `series.toml` says; what it means for the glass is worked out in the rooms above.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from meltdoe.series.limit_parser import Expression
from meltdoe.units import Quantity

__all__ = [
    "NOTHING", "Bed", "Cooling", "Mould", "OwnMaterial", "Part", "Recipe", "SharesOf", "Supply", "UsedPer",
]  # fmt: skip

SharesOf: TypeAlias = Literal["total", "base"]
UsedPer: TypeAlias = Literal["melt", "mould", "firing"]
Bed: TypeAlias = Literal["vermiculite", "ash", "sand"]

NOTHING = "none"
"""The option of a choice factor that stands for no material at all."""


@dataclass(frozen=True, slots=True)
class Part:
    """One material that is added to the base glass.

    Parameters
    ----------
    share : number, factor or arithmetic over factors, on the basis that the recipe states.
    material : which material, or empty where a factor chooses it.
    material_by : choice factor whose options are names of materials ("none" adds nothing).
    """

    share: Expression
    material: str = ""
    material_by: str = ""


@dataclass(frozen=True, slots=True)
class Recipe:
    """How a charge is made up.

    Parameters
    ----------
    base : rock or glass that makes up the rest, or empty where the factor `base_by` chooses it.
    shares_of : "total": shares are per cent of the whole charge and the base is what is left of 100; "base": shares are
        parts by weight added to 100 parts of the base.
    charge : mass weighed for each melt; None where it follows from the mould.
    pour_loss : per cent of the glass that stays in crucible and ladle.
    crucible : what the crucible holds when brimful.
    balance : smallest step of the balance.
    pours_at : factor or temperature of the pour, empty where it is the only temperature among the factors.
    held_for : factor or time of the hold at that temperature.
    weighed : circumstance in which the log says what really went in, such as "obsidian 640 g, soda ash 150 g".
    """

    base: str = ""
    base_by: str = ""
    shares_of: SharesOf = "total"
    parts: tuple[Part, ...] = ()
    charge: Quantity | None = None
    pour_loss: float = 0.0
    crucible: Quantity | None = None
    balance: Quantity = field(default_factory=lambda: Quantity(1.0, "g"))
    pours_at: str | Quantity = ""
    held_for: str | Quantity = ""
    weighed: str = ""


@dataclass(frozen=True, slots=True)
class OwnMaterial:
    """A material of the maker: what it is, what it costs and how much is at hand.

    At most one of `formula`, `analysis`, `same_as` and `from_melt` says what it is; without any, the name itself is
    that of a known material, and the block only adds price or stock.

    Parameters
    ----------
    analysis : oxide to wt%.
    same_as : name of a known material.
    from_melt : number of the earlier melt whose glass it is.
    water : wt% of water in it as weighed, in place of what its composition says.
    price : of one pack, in the currency of the budget.
    pack : mass of one pack; None where any amount can be bought and `price` is per kg.
    stock : at hand, or for remelted glass recovered.
    """

    name: str
    formula: str = ""
    analysis: Mapping[str, float] = field(default_factory=dict)
    same_as: str = ""
    from_melt: int | None = None
    water: float | None = None
    price: float | None = None
    pack: Quantity | None = None
    stock: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Supply:
    """Something used up beside the charge: crucibles, moulding sand, release agent.

    Parameters
    ----------
    amount : used per melt, mould or firing, as a mass, a volume or a number of pieces (unit "").
    lasts : melts, moulds or firings that one amount serves.
    lost_with : outcome whose failure costs one amount more, or empty.
    price : of one pack.
    pack, stock : in the unit of `amount`; a pack of 0 means that any amount can be bought at `price` per unit.
    """

    name: str
    amount: Quantity
    per: UsedPer = "melt"
    lasts: int = 1
    lost_with: str = ""
    price: float | None = None
    pack: float = 0.0
    stock: float = 0.0


@dataclass(frozen=True, slots=True)
class Mould:
    """What one mould takes: its volume, or the mass of the casting.

    Parameters
    ----------
    volume : of the casting, or the factor that is its volume.
    casting : mass, where that is what was measured.
    at_thickness : thickness of the casting of which volume or mass were measured. Where a factor sets the thickness
        ([cooling]), both grow in proportion to it; where this is None they are the same for every thickness.
    """

    volume: str | Quantity | None = None
    casting: Quantity | None = None
    at_thickness: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Cooling:
    """The casting and where it cools.

    Parameters
    ----------
    thickness : of the thickest part, or its diameter; or the factor that sets it.
    shape : "slab" (cooled on both faces), "slab one face", "cylinder" or "sphere"; or the choice factor that sets it.
    in_mould : whether it is annealed in its mould.
    furnace_rate : fastest fall of the annealer by itself, or None where it is not known.
    bed, cover : bed of insulation that it is compared with, and how much of it lies around the casting.
    """

    thickness: str | Quantity
    shape: str = "slab"
    in_mould: bool = False
    furnace_rate: Quantity | None = None
    bed: Bed | None = None
    cover: Quantity = field(default_factory=lambda: Quantity(150.0, "mm"))
