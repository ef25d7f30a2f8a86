"""Melts on record and planned, as far as their charges are concerned."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

from meltdoe.series.factor import Setting
from meltdoe.series.melt_series import MeltSeries

__all__ = ["EarlierMelt", "Planned", "Recorded", "earlier_melts"]


@dataclass(frozen=True, slots=True)
class EarlierMelt:
    """A melt on record or planned.

    Parameters
    ----------
    weighed : what the log says was weighed, or empty where it was weighed as the settings say.
    """

    melt: int
    settings: Mapping[str, Setting]
    weighed: str = ""


class Planned(Protocol):
    """A row of the plan."""

    @property
    def melt(self) -> int: ...
    @property
    def settings(self) -> Mapping[str, Setting]: ...


class Recorded(Planned, Protocol):
    """A row of the log."""

    @property
    def circumstances(self) -> Mapping[str, Setting]: ...


def earlier_melts(
    series: MeltSeries, recorded: Iterable[Recorded], planned: Iterable[Planned] = ()
) -> tuple[EarlierMelt, ...]:
    """One for every row of the log, in its order, and behind them the planned melts that are not in it.

    Parameters
    ----------
    recorded : rows of the log; their actual settings count, and what they say was weighed.
    planned : rows of the plan.
    """
    column = series.recipe.weighed if series.recipe else ""
    made = [
        EarlierMelt(row.melt, row.settings, str(row.circumstances.get(column, "") or "") if column else "")
        for row in recorded
    ]
    done = {melt.melt for melt in made}
    return (*made, *(EarlierMelt(row.melt, row.settings) for row in planned if row.melt not in done))
