"""What stands on a melt's sheet: its settings, outcomes, weights and cautions, before any page is set."""

from __future__ import annotations

from dataclasses import dataclass

from meltdoe.glass.cautions import Caution
from meltdoe.plans.melt_plan import PlannedMelt
from meltdoe.sheets.bench_glass import BenchGlass

__all__ = ["MeltSheet", "OutcomeBox", "SettingLine"]


@dataclass(frozen=True, slots=True)
class SettingLine:
    """One factor on a sheet.

    Parameters
    ----------
    planned : the planned setting with its unit.
    unit : unit to write the actual setting in.
    shared : whether it is set once for the whole firing.
    """

    title: str
    planned: str
    unit: str
    shared: bool


@dataclass(frozen=True, slots=True)
class OutcomeBox:
    """One outcome on a sheet: words to tick, or a line to write a number on.

    Parameters
    ----------
    only_if : when it can be seen at all, in words; empty for the first.
    words : what to tick; empty for a measurement.
    good : what counts as good, in words.
    """

    title: str
    only_if: str
    words: tuple[str, ...]
    unit: str
    good: str

    @property
    def small(self) -> str:
        """What stands below the title."""
        return "; ".join(part for part in (self.only_if, f"good: {self.good}" if self.good else "") if part)


@dataclass(frozen=True, slots=True)
class MeltSheet:
    """One page.

    Parameters
    ----------
    beside : the other melts of the same firing.
    done : whether the melt is in the log already.
    glass : weights and what is expected of the glass, or None where the series has no recipe.
    cautions : for what this melt uses, the one that defers last.
    """

    melt: PlannedMelt
    beside: tuple[int, ...]
    settings: tuple[SettingLine, ...]
    outcomes: tuple[OutcomeBox, ...]
    circumstances: tuple[str, ...]
    done: bool
    glass: BenchGlass | None
    cautions: tuple[Caution, ...]

    def about(self, with_page: bool) -> str:
        """What the melt is for and what it shares; `with_page` where its firing has a page of its own."""
        said = [f"Planned as: {self.melt.purpose}."] if self.melt.purpose else []
        shared = "; ".join(f"{line.title} {line.planned}" for line in self.settings if line.shared)
        if with_page:
            said.append(f"Whole firing: {shared}; schedule on its page." if shared else "Schedule: page of the firing.")
        elif self.beside:
            others = ", ".join(map(str, self.beside))
            said.append(f"Shares its firing with melt{'s' if len(self.beside) > 1 else ''} {others}.")
        return " ".join(said)

    @property
    def beware(self) -> str:
        """Its cautions in a line."""
        named = ", ".join(caution.short for caution in self.cautions[:-1])
        return (
            f"{named}{'. ' if named else ''}What to do stands on the last page; "
            "follow local codes and ask qualified people."
        )
