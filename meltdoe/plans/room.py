"""What the budget and the kiln leave for a plan."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

from meltdoe.plans.layout import even_sizes
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.series.factor import Choice
from meltdoe.series.melt_series import MeltSeries
from meltdoe.wording import counted

__all__ = ["Room", "firing_sizes", "per_firing_width", "room_left"]

# firings beyond those that the per-firing effects need, from which the difference between firings is judged
_SPARE_FIRINGS = 2


@dataclass(frozen=True, slots=True)
class Room:
    """Melts, firings and money left; None where the series sets no bound."""

    series: MeltSeries
    melts: int | None
    firings: int | None
    money: float | None

    def most_melts(self, otherwise: int) -> int:
        """Melts that fit melts, firings and money together; at most `otherwise` where nothing bounds them."""
        kiln, costs = self.series.kiln.melts_per_firing, self.series.costs
        bounds = [otherwise]
        if self.melts is not None:
            bounds.append(self.melts)
        if self.firings is not None:
            bounds.append(self.firings * kiln)
        most = max(0, min(bounds))
        while most > 0 and not self.affords(most, ceil(most / kiln)):
            most -= 1
        return most if costs.known or self.money is None else max(0, min(bounds))

    def affords(self, melts: int, firings: int) -> bool:
        """Whether the money covers melts and firings, without losses."""
        costs = self.series.costs
        return self.money is None or costs.melt * melts + costs.firing * firings <= self.money + 1e-9

    def first_part(self) -> Room:
        """Two thirds of what is left, so that the rest can follow up and confirm what the first part finds.

        Spending the whole budget in the first round is a classic mistake (Coleman & Montgomery 1993, Technometrics
        35, 1-12, from memory); the share is common practice, no source.
        """
        return Room(
            self.series,
            None if self.melts is None else ceil(2 * self.melts / 3),
            None if self.firings is None else ceil(2 * self.firings / 3),
            None if self.money is None else 2 * self.money / 3,
        )

    def refuse(self, melts: int, firings: int) -> None:
        """Raise PlanImpossible where so many melts or firings are more than is left."""
        if self.melts is not None and melts > self.melts:
            fewer = f"ask for at most {counted(self.melts, 'melt')} or " if self.melts else ""
            raise PlanImpossible(
                f"the plan takes {counted(melts, 'melt')} and the budget leaves {self.melts or 'none'}",
                f"{fewer}raise the budget",
            )
        if self.firings is not None and firings > self.firings:
            raise PlanImpossible(
                f"the plan takes {firings} firings of at most {counted(self.series.kiln.melts_per_firing, 'melt')} "
                f"and the budget leaves {self.firings}",
                'take design "optimal", fewer melts or more firings',
            )
        if not self.affords(melts, firings):
            costs, budget = self.series.costs, self.series.budget
            raise PlanImpossible(
                f"{counted(melts, 'melt')} in {firings} firings cost {costs.melt * melts + costs.firing * firings:g} "
                f"{budget.currency}".rstrip()
                + f" and the budget leaves {self.money:g}",
                "ask for fewer melts or raise the budget",
            )


def room_left(series: MeltSeries, melts_made: int = 0, firings_made: int = 0) -> Room:
    """The budget less what was made before, at the series' prices and without its losses."""
    budget, costs = series.budget, series.costs
    return Room(
        series,
        None if budget.melts is None else max(0, budget.melts - melts_made),
        None if budget.firings is None else max(0, budget.firings - firings_made),
        None if budget.money is None else budget.money - costs.melt * melts_made - costs.firing * firings_made,
    )


def per_firing_width(series: MeltSeries) -> int:
    """Columns of the main effects that are set per firing."""
    factors = (series.factors[i] for i in series.per_firing)
    return sum(len(f.options) - 1 if isinstance(f, Choice) else 1 for f in factors)


def firing_sizes(series: MeltSeries, melts: int, room: Room, firings_made: int = 0) -> tuple[int, ...]:
    """Melts in each firing of a plan that is free to choose them.

    As few firings as hold the melts; with per-firing factors at least one more than their effects have columns, and
    two spare where the budget has them. Firings already made count towards these.

    Parameters
    ----------
    firings_made : firings of melts already made.

    Raises
    ------
    PlanImpossible
        Where the firings left are too few.
    """
    fewest = ceil(melts / series.kiln.melts_per_firing)
    width = per_firing_width(series)
    needed = max(fewest, width + 1 - firings_made) if width else fewest
    if needed > melts:
        enough = room.melts is None or needed <= room.melts
        raise PlanImpossible(
            f"{counted(melts, 'melt')} cannot show {width} effects of factors that are set per firing",
            f"ask for at least {needed} melts"
            if enough
            else f"raise the budget of melts to leave {needed}, or vary fewer factors per firing",
        )
    if room.firings is not None and needed > room.firings:
        why = f"{counted(melts, 'melt')} fill {fewest} firings" if needed == fewest else (
            f"{width} effects of factors that are set per firing need at least {needed} firings"
        )  # fmt: skip
        raise PlanImpossible(
            f"{why} and the budget leaves {room.firings}", "ask for fewer melts, vary less per firing or add firings"
        )
    wanted = max(fewest, width + 1 + _SPARE_FIRINGS - firings_made) if width else fewest
    firings = min(wanted, melts, room.firings if room.firings is not None else wanted)
    while firings > needed and not room.affords(melts, firings):
        firings -= 1
    return even_sizes(melts, firings)
