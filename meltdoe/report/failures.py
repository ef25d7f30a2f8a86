"""What failed and where, melt by melt, and what was seen of the castings that did not."""

from __future__ import annotations

from meltdoe.log.melt_log import Entry, Log
from meltdoe.report.tables import Column, Table
from meltdoe.series.outcome import Outcome

__all__ = ["failure_table", "first_failure"]


def first_failure(log: Log, entry: Entry) -> Outcome | None:
    """The first outcome in the order of the work that was not good; None where none was."""
    for outcome in log.series.outcomes:
        if outcome.name in entry.seen and outcome.is_good(entry.seen[outcome.name]) is False:
            return outcome
    return None


def failure_table(log: Log) -> Table | None:
    """Every melt that failed: its settings, where it ended, what was seen there; None where none did."""
    series, rows = log.series, []
    for entry in sorted(log.entries, key=lambda e: (e.melt, e.mould)):
        outcome = first_failure(log, entry)
        if outcome is None:
            continue
        name = f"{entry.melt}.{entry.mould}" if series.moulds_per_melt > 1 else f"{entry.melt}"
        seen = f"{outcome.show(entry.seen[outcome.name])} {outcome.unit}".strip()
        settings = series.show_all(entry.settings)
        rows.append((name, settings, outcome.name, seen, outcome.good_words, entry.note.strip()))
    if not rows:
        return None
    columns = (
        Column("Melt", "number"),
        Column("Settings used"),
        Column("Failed at"),
        Column("Seen"),
        Column("Wanted"),
        Column("Note made at the time"),
    )
    return Table("Every melt that failed, and where", columns, tuple(rows)).without_empty_columns()
