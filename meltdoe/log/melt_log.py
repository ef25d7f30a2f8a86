"""What happened: one `Entry` per melt (or per mould's casting), with actual settings and outcomes."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from meltdoe.charge.actual_shares import ActualSettings, actual_settings
from meltdoe.log.cell_words import outcome_cell, text_cell
from meltdoe.series.factor import FloatArray, Setting
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome, Seen, Unseen

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Entry", "Log"]


@dataclass(frozen=True, slots=True)
class Entry:
    """One row of the log.

    Parameters
    ----------
    settings : actual settings, not the planned ones; a factor that is left out was set in a way that nobody knows.
    seen : a value or an `Unseen` for every outcome of the series.
    mould : which casting of the pour, from 1; always 1 where a melt fills one mould.
    """

    melt: int
    firing: int
    settings: Mapping[str, Setting]
    seen: Mapping[str, Seen]
    date: datetime.date | None = None
    circumstances: Mapping[str, Setting] = field(default_factory=dict)
    note: str = ""
    mould: int = 1


@dataclass(frozen=True)
class Log:
    """Every melt so far, in the order recorded. The order has no influence on any estimate."""

    series: MeltSeries
    entries: tuple[Entry, ...] = ()

    @property
    def raw(self) -> FloatArray:
        """Actual raw settings, (n_rows, n_factors); shares of the recipe with what remelted glass brought along."""
        return self.actual.raw.copy()

    @cached_property
    def actual(self) -> ActualSettings:
        """Settings as they really were, with the melts where that is not what is written as the setting."""
        return actual_settings(self.series, self.entries)

    @property
    def firings(self) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
        """Firing number of each row."""
        return np.array([entry.firing for entry in self.entries], dtype=np.int64)

    @property
    def melt_numbers(self) -> frozenset[int]:
        return frozenset(entry.melt for entry in self.entries)

    def seen(self, outcome: str) -> tuple[Seen, ...]:
        """What was seen of one outcome, row by row."""
        return tuple(entry.seen.get(outcome, Unseen.NOT_REACHED) for entry in self.entries)

    def succeeded(self, entry: Entry) -> bool | None:
        """Whether every outcome that counts was good; None where that is not known, or where none counts."""
        good = [
            outcome.is_good(entry.seen.get(outcome.name, Unseen.NOT_REACHED))
            for outcome in self.series.outcomes
            if outcome.counts
        ]
        if any(value is False for value in good):
            return False
        return True if good and all(value is True for value in good) else None

    def to_frame(self) -> pd.DataFrame:
        """One row per entry, in the columns of log.csv; outcomes as people write them."""
        import pandas as pd

        series = self.series
        with_mould = series.moulds_per_melt > 1
        columns = ["melt", *(["mould"] if with_mould else []), "firing", "date", *series.factor_names]
        columns += [outcome.name for outcome in series.outcomes]
        columns += [circumstance.name for circumstance in series.circumstances] + ["note"]
        rows = []
        for entry in self.entries:
            row: dict[str, object] = {
                "melt": entry.melt,
                "mould": entry.mould,
                "firing": entry.firing,
                "note": entry.note,
            }
            row["date"] = entry.date.isoformat() if entry.date else ""
            row.update(entry.settings)
            row.update({o.name: _seen_text(o, entry) for o in series.outcomes})
            row.update({c.name: entry.circumstances.get(c.name, "") for c in series.circumstances})
            rows.append(row)
        return pd.DataFrame(rows, columns=columns)


def _seen_text(outcome: Outcome, entry: Entry) -> str:
    return text_cell(outcome_cell(outcome, entry.seen.get(outcome.name, Unseen.NOT_REACHED)))
