"""What was seen of an outcome, in the words of a table; and why nothing was, each reason kept apart."""

from __future__ import annotations

from meltdoe.log.melt_log import Entry
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome, Unseen

__all__ = ["SEEN_NOTE", "seen_phrase", "seen_words"]

NOT_REACHED = "not reached"
SEEN_NOTE = (
    "Not reached: an earlier stage had failed, so there was nothing to see; later: not known yet; lost: it got "
    "there, and nobody will know; not known: an earlier stage is later or lost, so whether it got here cannot be said."
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
            return NOT_REACHED
    return "not noted"


def seen_phrase(series: MeltSeries, entry: Entry) -> str:
    """Everything seen of a casting, in the order of the work; what it never reached is named once, at the end."""
    said, missed = [], []
    for outcome in series.outcomes:
        name, words = outcome.name.replace("_", " "), seen_words(series, outcome, entry, unit=True)
        if words == NOT_REACHED:
            missed.append(name)
        else:
            said.append(f"{name} {words}")
    return "; ".join([*said, *([f"{NOT_REACHED}: {', '.join(missed)}"] if missed else [])])
