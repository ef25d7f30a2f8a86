"""What is weighed for one melt: grams of each material in the order of weighing, the glass and the gas they give.

The mass follows from what the series says: the charge itself, or the casting (its mass, or the volume of the mould
times the density of the glass) times the moulds of one pour, plus what stays in crucible and ladle. Order of weighing:
base first, then the rest from the largest to the smallest, colourants last (common practice, no source). Cold charge
lies at about 1.2 g per ml (common practice, no source), which with the fill limit of the crucible gives the portions.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from meltdoe.charge.casting_size import casting_volume, relative_size
from meltdoe.charge.glass_at import GlassAt, glass_at
from meltdoe.charge.recipe_shares import shelf_name
from meltdoe.charge.shelf import Shelf
from meltdoe.glass.batch_weights import Batch, Gas, batch, round_to_total
from meltdoe.glass.crucibles import FillLimit, fill_limit
from meltdoe.glass.oxides import to_mole_percent
from meltdoe.series.factor import FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.units import Quantity

__all__ = ["BULK_DENSITY", "MeltWeights", "WeighingLine", "glass_wanted", "grams_of", "melt_weights"]

BULK_DENSITY = 1.2  # g/ml of loose cold charge: common practice, no source
_MELT_DENSITY = 2.34  # g/ml: 2.31 to 2.35 of every melt of obsidian with soda at 1100 °C
_FALSE = 0.2  # beyond it a rounded weight would make another glass: 1 g for 0.5 g, or nothing at all
_COARSE = 0.02  # a weight that rounding changes by more than 2 % is worth a finer balance: common practice, no source


@dataclass(frozen=True, slots=True)
class WeighingLine:
    """One material on the balance.

    Parameters
    ----------
    weight : as read off the balance, in its unit; of a pinch that it cannot show, what a finer one must.
    running : what the balance shows when it is not set to zero in between.
    share : wt% of the charge.
    """

    material: str
    weight: Quantity
    running: Quantity
    share: float


@dataclass(frozen=True, slots=True, eq=False)
class MeltWeights:
    """The charge of one melt.

    Parameters
    ----------
    lines : in the order of weighing; they add up to `charge`.
    charge : as weighed.
    glass : grams of glass that come of it.
    loss : loss on firing, wt% of the charge.
    gas : what leaves.
    composition, mole_percent : of the glass by oxide, wt% and mol%.
    portions : in how many portions it goes into the crucible, or None where the crucible is not known.
    fill : how far the crucible may be filled.
    warnings : what the maker must know, one sentence each.
    """

    lines: tuple[WeighingLine, ...]
    charge: Quantity
    glass: float
    loss: float
    gas: Gas
    composition: Mapping[str, float]
    mole_percent: Mapping[str, float]
    portions: int | None
    fill: FillLimit
    warnings: tuple[str, ...]

    @property
    def gas_litres(self) -> float:
        """Litres at 1100 °C and 1 atm."""
        return self.gas.litres


def glass_wanted(series: MeltSeries, density: FloatArray, raw: FloatArray) -> FloatArray:
    """Grams of glass that one melt must give, (n,); NaN where no casting is said.

    Parameters
    ----------
    density : (n,) of the cold glass, g/cm3.
    raw : (n, n_factors) raw settings, of which some may set the size of the casting.
    """
    volume = casting_volume(series, raw)
    if series.mould.casting is not None:
        casting = series.mould.casting.in_unit("g") * relative_size(series, raw)
    elif volume is not None:
        casting = volume * density
    else:
        return np.full(np.shape(density), np.nan)
    loss = series.recipe.pour_loss if series.recipe else 0.0
    return np.asarray(casting * series.moulds_per_melt / (1.0 - loss / 100.0))


def grams_of(series: MeltSeries, glass: GlassAt) -> dict[str, FloatArray]:
    """Grams of each material for each melt before rounding, (n,) by name.

    Raises
    ------
    ValueError
        Where the series says neither how much is weighed nor what is cast.
    """
    if series.recipe is not None and series.recipe.charge is not None:
        charge = np.full(len(glass.loss), series.recipe.charge.in_unit("g"))
    else:
        charge = glass_wanted(series, glass.density(), glass.raw) / (1.0 - glass.loss / 100.0)
    if not np.all(np.isfinite(charge)):
        raise ValueError("the series says neither how much is weighed nor what is cast")
    return {name: share / 100.0 * charge for name, share in glass.shares.items()}


def melt_weights(series: MeltSeries, row: FloatArray, on_shelf: Shelf) -> MeltWeights:
    """Weigh out one melt.

    Parameters
    ----------
    row : (n_factors,) raw settings.

    Raises
    ------
    ValueError
        As `glass_at` and `grams_of`.
    """
    glass = glass_at(series, row, on_shelf)
    grams = {name: float(values[0]) for name, values in grams_of(series, glass).items() if values[0] > 0.0}
    materials = {name: on_shelf.material(name) for name in grams}
    weighed = batch(grams, sum(grams.values()), materials=materials)
    balance = series.recipe.balance if series.recipe else Quantity(1.0, "g")
    rounded = _to_the_balance({name: mass / _grams(balance.unit) for name, mass in grams.items()}, balance.value)
    lines: list[WeighingLine] = []
    running = 0.0
    for name in _order(series, grams, {name: material.role for name, material in materials.items()}):
        running += rounded[name]
        share = 100.0 * grams[name] / weighed.mass
        shown = round(round(running / balance.value) * balance.value, 9)
        lines.append(WeighingLine(name, Quantity(rounded[name], balance.unit), Quantity(shown, balance.unit), share))
    fill = fill_limit(grams, materials)
    portions, warnings = _crucible(series, weighed, fill)
    return MeltWeights(
        lines=tuple(lines),
        charge=Quantity(round(running, 9), balance.unit),
        glass=weighed.glass,
        loss=weighed.loss,
        gas=weighed.gas,
        composition=weighed.composition,
        mole_percent={oxide: float(value) for oxide, value in to_mole_percent(weighed.composition).items()},
        portions=portions,
        fill=fill,
        warnings=(*warnings, *_coarse(grams, rounded, balance), *_short(series, grams)),
    )


def _grams(unit: str) -> float:
    return Quantity(1.0, unit).in_unit("g")


def _to_the_balance(amounts: Mapping[str, float], step: float) -> dict[str, float]:
    """Weights in steps of the balance that add up to the rounded total; of a pinch its own weight to three digits."""
    pinches: dict[str, float] = {}
    while True:
        rest = {name: amount for name, amount in amounts.items() if name not in pinches}
        if rest:  # what three digits leave of the pinches goes with the largest, so that the total stays
            largest = max(rest, key=lambda name: rest[name])
            rest[largest] += sum(amounts[name] - weight for name, weight in pinches.items())
        rounded = pinches | round_to_total(rest, step)
        false = {name for name in rest if abs(rounded[name] - amounts[name]) > _FALSE * amounts[name]}
        if not false:
            return rounded
        pinches |= {name: float(f"{amounts[name]:.3g}") for name in false}


def _order(series: MeltSeries, grams: Mapping[str, float], roles: Mapping[str, str]) -> list[str]:
    recipe = series.recipe
    base = shelf_name(series, recipe.base) if recipe and recipe.base else ""
    by = getattr(series.factor(recipe.base_by), "options", ()) if recipe and recipe.base_by else ()
    bases = {base, *(shelf_name(series, option) for option in by)}
    return sorted(grams, key=lambda name: (name not in bases, roles[name] == "colourant", -grams[name], name))


def _crucible(series: MeltSeries, weighed: Batch, fill: FillLimit) -> tuple[int | None, list[str]]:
    """Portions in which the charge goes in, and what does not fit."""
    held = series.recipe.crucible if series.recipe else None
    if held is None:
        return None, []
    brimful = held.in_unit("ml")
    warnings = []
    level = weighed.glass / _MELT_DENSITY / brimful
    if level > fill.share + 1e-9:
        # the last portion still foams on top of what is molten already
        warnings.append(
            f"the melt alone fills {100 * level:.0f} % of the crucible, where {100 * fill.share:.0f} % is the most "
            f"({fill.why}): take a larger crucible or make less"
        )
    return max(1, math.ceil(weighed.mass / BULK_DENSITY / (fill.share * brimful) - 1e-9)), warnings


def _coarse(grams: Mapping[str, float], rounded: Mapping[str, float], balance: Quantity) -> list[str]:
    unit = _grams(balance.unit)
    return [
        f"{name} needs a finer balance than {balance}: {mass / unit:.3g} {balance.unit} are called for"
        for name, mass in grams.items()
        if abs(round(rounded[name] / balance.value) * balance.value * unit - mass) > _COARSE * mass
    ]


def _short(series: MeltSeries, grams: Mapping[str, float]) -> list[str]:
    """Remelted glass of which one melt alone takes more than was recovered."""
    return [
        f"{own.name}: {grams[own.name]:.0f} g are called for, and {own.stock} were recovered"
        for own in series.materials
        if own.from_melt is not None and own.stock is not None and grams.get(own.name, 0.0) > own.stock.in_unit("g")
    ]
