"""Melts of the log as rows: for a document and for the screen."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from meltdoe.log.melt_log import Entry
    from meltdoe.series.melt_series import MeltSeries

__all__ = ["MELT_COLUMNS", "melt_rows", "row_document", "seen_phrase"]

MELT_COLUMNS = ["melt", "firing", "settings", "seen"]


def row_document(series: MeltSeries, entry: Entry) -> dict[str, Any]:
    """A row of the log as JSON; outcomes as people write them."""
    from meltdoe.series.outcome import Unseen

    return {
        "melt": entry.melt,
        "mould": entry.mould,
        "firing": entry.firing,
        "date": entry.date.isoformat() if entry.date else None,
        "settings": {name: entry.settings.get(name) for name in series.factor_names},
        "seen": {o.name: o.show(entry.seen.get(o.name, Unseen.NOT_REACHED)) for o in series.outcomes},
        "circumstances": entry.circumstances,
        "note": entry.note,
    }


def seen_phrase(series: MeltSeries, entry: Entry, *, briefly: bool = False) -> str:
    """What was seen, outcome by outcome, with the reason wherever nothing was.

    Parameters
    ----------
    briefly : leave out the outcomes that the melt did not reach, since an earlier failure explains them.
    """
    from meltdoe.report.seen_words import seen_words

    words = {outcome.name: seen_words(series, outcome, entry) for outcome in series.outcomes}
    return ", ".join(f"{name} {word}" for name, word in words.items() if not briefly or word != "not reached")


def melt_rows(series: MeltSeries, entries: Iterable[Entry]) -> list[list[object]]:
    """One row per entry under `MELT_COLUMNS`."""
    return [
        [entry.melt, entry.firing, series.show_all(entry.settings), seen_phrase(series, entry, briefly=True)]
        for entry in entries
    ]
