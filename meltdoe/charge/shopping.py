"""What to buy for the melts still to come: materials, crucibles, sand, less what is at hand, with room for bad luck.

Contingency. Melts that are lost where they teach least, at the first outcome, are worth repeating. How many may be
lost is the 90 per cent point of a binomial law with the chances that beliefs (or the default) give that outcome; the
list holds the largest charges so many times over, so that it is enough whichever melts are repeated. On top comes 3 per
cent of each material for spills and dust (common practice, no source). Supplies that are lost with an outcome, such as
crucibles, are counted for the 90 per cent point of that outcome's failures in the same way.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meltdoe.charge.assumed_forms import assumed_forms
from meltdoe.charge.glass_at import glass_at
from meltdoe.charge.shelf import Shelf
from meltdoe.charge.weights import grams_of
from meltdoe.costs.price import expected_failures
from meltdoe.series.factor import FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.recipe import OwnMaterial, Supply

__all__ = ["SPILLS", "ShoppingItem", "ShoppingList", "bad_luck", "shopping_list"]

SPILLS = 0.03
"""Share of every material that is lost in weighing and charging: common practice, no source."""
_SURE = 0.90


@dataclass(frozen=True, slots=True)
class ShoppingItem:
    """One line of the list; amounts in `unit`.

    Parameters
    ----------
    needed : for the planned melts alone.
    spare : contingency on top.
    stock : at hand.
    buy : to buy, in whole packs where there are packs.
    packs : number of packs, or None where any amount can be bought.
    cost : of `buy` in the currency of the budget, or None where no price is given.
    remelted : number of the earlier melt whose glass it is, or None; such glass is not bought.
    """

    name: str
    unit: str
    needed: float
    spare: float
    stock: float
    buy: float
    packs: int | None
    cost: float | None
    remelted: int | None = None

    @property
    def short(self) -> float:
        """What is missing of remelted glass that nobody can buy."""
        return max(self.needed - self.stock, 0.0) if self.remelted is not None else 0.0


@dataclass(frozen=True, slots=True)
class ShoppingList:
    """Everything for the melts still to come.

    Parameters
    ----------
    items : materials in the order of the recipe, then supplies.
    melts, firings : still to come.
    spare_melts : repeats that the list has room for.
    currency : of the costs.
    notes : what the maker must know, one sentence each.
    """

    items: tuple[ShoppingItem, ...]
    melts: int
    firings: int
    spare_melts: int
    currency: str
    notes: tuple[str, ...]

    @property
    def cost(self) -> float:
        """Of everything that has a price."""
        return sum(item.cost or 0.0 for item in self.items)


def bad_luck(count: int, expected: float) -> int:
    """How many of `count` fail at most in nine series of ten, where `expected` fail on average (binomial law)."""
    if count == 0 or expected <= 0.0:
        return 0
    from scipy.special import bdtr

    failures = np.arange(count + 1)
    return int(failures[np.argmax(bdtr(failures, count, min(expected / count, 1.0)) >= _SURE)])


def shopping_list(
    series: MeltSeries, raw: FloatArray, firings: Sequence[int], on_shelf: Shelf | None, spare_melts: int | None = None
) -> ShoppingList:
    """Add up the melts still to come.

    Parameters
    ----------
    raw : (n_melts, n_factors) raw settings of the melts to come.
    firings : firing of each of them.
    on_shelf : the materials, or None where the series has no recipe and only supplies are counted.
    spare_melts : repeats to have room for, by default the bad-luck number of melts lost at the first outcome.

    Raises
    ------
    ValueError
        As `glass_at` and `grams_of`.
    """
    melts, heats = len(raw), len(set(firings))
    failures = expected_failures(series, melts)
    first = next(iter(failures), None)
    spare = bad_luck(melts, failures[first] if first else 0.0) if spare_melts is None else spare_melts
    items: list[ShoppingItem] = []
    if on_shelf is not None and melts:
        for name, grams in grams_of(series, glass_at(series, raw, on_shelf)).items():
            needed = float(np.sum(grams))
            if needed > 0.0:
                repeats = float(np.sum(np.sort(grams)[::-1][: min(spare, melts)])) * max(1.0, spare / melts)
                items.append(_material(series, name, needed, repeats + SPILLS * (needed + repeats), on_shelf))
    items += [_supply(series, supply, melts, heats, spare, failures) for supply in series.supplies if melts]
    return ShoppingList(tuple(items), melts, heats, spare, series.budget.currency, _notes(series, items, spare, melts))


def _material(series: MeltSeries, name: str, needed: float, spare: float, on_shelf: Shelf) -> ShoppingItem:
    own = next((o for o in series.materials if o.name == name), OwnMaterial(name))
    stock = own.stock.in_unit("g") if own.stock is not None else 0.0
    if name in on_shelf.lots:
        return ShoppingItem(name, "g", needed, spare, stock, 0.0, None, 0.0, on_shelf.lots[name])
    wanted = max(needed + spare - stock, 0.0)
    if own.pack is None:
        cost = None if own.price is None else wanted / 1000.0 * own.price
        return ShoppingItem(name, "g", needed, spare, stock, wanted, None, cost)
    packs = math.ceil(wanted / own.pack.in_unit("g") - 1e-9)
    cost = None if own.price is None else packs * own.price
    return ShoppingItem(name, "g", needed, spare, stock, packs * own.pack.in_unit("g"), packs, cost)


def _supply(
    series: MeltSeries, supply: Supply, melts: int, heats: int, spare: int, failures: dict[str, float]
) -> ShoppingItem:
    each = supply.amount.value
    uses = {"melt": melts, "mould": melts * series.moulds_per_melt, "firing": heats}[supply.per]
    again = {"melt": spare, "mould": spare * series.moulds_per_melt, "firing": 0}[supply.per]
    needed = math.ceil(uses / supply.lasts) * each
    lost = bad_luck(melts, failures.get(supply.lost_with, 0.0)) if supply.lost_with else 0
    extra = math.ceil((uses + again) / supply.lasts) * each - needed + lost * each
    wanted = max(needed + extra - supply.stock, 0.0)
    if supply.pack > 0.0:
        packs = math.ceil(wanted / supply.pack - 1e-9)
        cost = None if supply.price is None else packs * supply.price
        return ShoppingItem(
            supply.name, supply.amount.unit, needed, extra, supply.stock, packs * supply.pack, packs, cost
        )
    cost = None if supply.price is None else wanted * supply.price
    return ShoppingItem(supply.name, supply.amount.unit, needed, extra, supply.stock, wanted, None, cost)


def _notes(series: MeltSeries, items: Sequence[ShoppingItem], spare: int, melts: int) -> tuple[str, ...]:
    notes = [] if melts else ["every planned melt is on record, so nothing is to be bought"]
    if spare:
        notes.append(f"with room for {spare} repeat{'s' * (spare != 1)} and {100 * SPILLS:.0f} % for spills")
    priceless = [item.name for item in items if item.cost is None]
    if priceless:
        notes.append(f"no price is given for {', '.join(priceless)}")
    for item in items:
        if item.short > 0.0:
            notes.append(
                f"{item.name}: melt {item.remelted} gave {item.stock:.0f} {item.unit}, {item.needed:.0f} are called for"
            )
    notes += assumed_forms(series)
    money = series.budget.money
    cost = sum(item.cost or 0.0 for item in items)
    if money is not None and cost > money:
        notes.append(
            f"it costs more than the {money:g} {series.budget.currency} of the whole budget".replace("  ", " ")
        )
    return tuple(notes)
