"""What was seen of an outcome, in the words of a table; and why nothing was, each reason kept apart."""

from __future__ import annotations

from meltdoe.log.melt_log import Entry
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome, Unseen

__all__ = ["SEEN_NOTE", "seen_words"]

SEEN_NOTE = (
    "Not reached: an earlier stage had failed, so there was nothing to see; later: not known yet; lost: it got there, "
    "but nobody looked; not known: an earlier stage is later or lost, so whether it got here cannot be said."
)


def seen_words(series: MeltSeries, outcome: Outcome, entry: Entry, *, unit: bool = False) -> str:
    """The value, with its unit if asked for, or "later", "lost", "not reached", "not known (fill later)"."""
    seen = entry.seen.get(outcome.name, Unseen.NOT_REACHED)
    if seen is not Unseen.NOT_REACHED:
        if isinstance(seen, Unseen):
            return str(seen.value)
        return f"{outcome.show(seen)} {outcome.unit if unit else ''}".strip()
    for before in series.forerunners(outcome.name):
        there = entry.seen.get(before.name, Unseen.NOT_REACHED)
        if there in (Unseen.LATER, Unseen.LOST):
            return f"not known ({before.name} {before.show(there)})"
        if before.is_good(there) is False:
            return "not reached"
    return "not noted"
