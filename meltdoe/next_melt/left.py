"""What is left: of the budget, and of the plan."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from meltdoe.costs.price import cost_of
from meltdoe.log.melt_log import Log
from meltdoe.plans.melt_plan import CONFIRMATION, PlannedMelt
from meltdoe.series.outcome import Unseen

__all__ = ["BoundBy", "Left", "Room", "Unmade", "left_of_budget", "money_spent", "unmade_melts"]

BoundBy: TypeAlias = Literal["melts", "firings", "money"]


@dataclass(frozen=True, slots=True)
class Room:
    """How many more melts the budget allows, all its bounds together.

    Parameters
    ----------
    melts : None where nothing bounds them.
    by : the bounds that allow no more than that; empty where there are none.
    """

    melts: int | None
    by: tuple[BoundBy, ...]


@dataclass(frozen=True, slots=True)
class Left:
    """What the budget still allows; None where it sets no bound.

    Parameters
    ----------
    melts, firings : how many more. money : how much more, below zero where it is overspent.
    """

    melts: int | None
    firings: int | None
    money: float | None

    def melts_payable(self, melt: float, firing: float) -> int | None:
        """How many melts of one more firing the money allows at these expected prices; None where nothing is known."""
        if self.money is None or melt <= 0.0:
            return None
        return max(math.floor((self.money - firing) / melt + 1e-9), 0)

    def room(self, each: int, melt: float, firing: float) -> Room:
        """How many more melts there is room for.

        Parameters
        ----------
        each : melts that a firing holds. melt, firing : expected prices, losses included; 0 where none are known.
        """
        bounds: dict[BoundBy, int | None] = {
            "melts": self.melts,
            "firings": None if self.firings is None else self.firings * each,
            "money": self._payable_in_all(each, melt, firing),
        }
        known = {name: most for name, most in bounds.items() if most is not None}
        least = min(known.values(), default=None)
        return Room(least, tuple(name for name, most in known.items() if most == least))

    def _payable_in_all(self, each: int, melt: float, firing: float) -> int | None:
        if self.money is None or melt <= 0.0:
            return None
        full = max(math.floor(self.money / (firing + each * melt) + 1e-9), 0)
        rest = math.floor((self.money - full * (firing + each * melt) - firing) / melt + 1e-9)
        return full * each + max(rest, 0)


@dataclass(frozen=True, slots=True)
class Unmade:
    """Melts of the plan that are not on record.

    Parameters
    ----------
    melts : their numbers, in the order of the plan.
    in_begun_firing : those of them that belong to the last firing on record, which has room for them by the plan.
    firing : that firing, or None.
    to_confirm : those of them that were planned to confirm a setting.
    """

    melts: tuple[int, ...]
    in_begun_firing: tuple[int, ...]
    firing: int | None
    to_confirm: tuple[int, ...] = ()


def left_of_budget(log: Log) -> Left:
    """What the budget allows beyond the melts on record."""
    budget = log.series.budget
    return Left(
        None if budget.melts is None else max(budget.melts - len(log.melt_numbers), 0),
        None if budget.firings is None else max(budget.firings - len({entry.firing for entry in log.entries}), 0),
        None if budget.money is None else budget.money - money_spent(log),
    )


def unmade_melts(log: Log, planned: Sequence[PlannedMelt]) -> Unmade | None:
    """The planned melts that are still to be made; None where none are.

    A firing has room only where the plan puts more melts into it than were recorded.
    """
    open_melts = [melt for melt in planned if melt.melt not in log.melt_numbers]
    if not open_melts:
        return None
    last = max((entry.firing for entry in log.entries), default=None)
    begun = tuple(melt.melt for melt in open_melts if melt.firing == last)
    to_confirm = tuple(melt.melt for melt in open_melts if melt.purpose == CONFIRMATION)
    return Unmade(tuple(melt.melt for melt in open_melts), begun, last if begun else None, to_confirm)


def money_spent(log: Log) -> float:
    """Money used so far: melts, firings, and the losses of what went wrong, once a melt or, where it is seen per mould,
    once a casting.
    """
    series, failures = log.series, {}
    for outcome in series.outcomes:
        bad = [e for e in log.entries if outcome.is_good(e.seen.get(outcome.name, Unseen.NOT_REACHED)) is False]
        failures[outcome.name] = float(len({(e.melt, e.mould if outcome.seen_per == "mould" else 1) for e in bad}))
    return cost_of(series, len(log.melt_numbers), len({entry.firing for entry in log.entries}), failures).total
