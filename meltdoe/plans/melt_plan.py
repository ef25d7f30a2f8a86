"""The plan: which melts, in which firings, in which order, and what each is for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meltdoe.series.factor import FloatArray, Setting
from meltdoe.series.melt_series import MeltSeries

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["CONFIRMATION", "MELT_BY_MELT", "PROPOSED", "Plan", "PlannedMelt"]

PROPOSED = "proposed"
"""Purpose of a melt that was chosen in the light of those before it."""
CONFIRMATION = "confirmation"
"""Purpose of a melt that is to confirm a setting."""
MELT_BY_MELT = "melt by melt"
"""Design of a plan that no pattern stands behind: each firing was chosen from what was known before it."""


@dataclass(frozen=True, slots=True)
class PlannedMelt:
    """One row of the plan.

    Parameters
    ----------
    melt : number of the melt, counted from 1 through the whole series.
    firing : number of the firing that it belongs to.
    order : place in the order of the work, from 1.
    settings : every factor's setting, in the units of the series.
    purpose : what the melt is for, in a few words ("fraction", "centre point", "repeat of melt 3", ...).
    """

    melt: int
    firing: int
    order: int
    settings: Mapping[str, Setting]
    purpose: str


@dataclass(frozen=True)
class Plan:
    """Planned melts in the order of the work.

    Parameters
    ----------
    design : short name of the pattern, such as "fraction".
    reason : one sentence: what the pattern is and why it was drawn up.
    seed : the seed that gave the order of the work.
    """

    series: MeltSeries
    melts: tuple[PlannedMelt, ...]
    design: str
    reason: str = ""
    seed: int = 1

    @property
    def by_lot(self) -> tuple[PlannedMelt, ...]:
        """Melts of a pattern, whose order was drawn by lot; not those chosen since, nor any of a plan made by hand."""
        if not self.reason or self.design == MELT_BY_MELT:
            return ()
        return tuple(melt for melt in self.melts if melt.purpose not in (PROPOSED, CONFIRMATION))

    @property
    def raw(self) -> FloatArray:
        """Raw settings, shape (n_melts, n_factors)."""
        return self.series.raw_table(melt.settings for melt in self.melts)

    @property
    def firings(self) -> tuple[int, ...]:
        """Firing number of each melt."""
        return tuple(melt.firing for melt in self.melts)

    def to_frame(self) -> pd.DataFrame:
        """One row per melt, in the columns of plan.csv."""
        import pandas as pd

        columns = ["melt", "firing", "order", *self.series.factor_names, "purpose"]
        rows = [
            {"melt": m.melt, "firing": m.firing, "order": m.order, **m.settings, "purpose": m.purpose}
            for m in self.melts
        ]
        return pd.DataFrame(rows, columns=columns)
