"""The series as a diary: melt by melt, what it was for, what was set, what was seen, what went wrong."""

from __future__ import annotations

from dataclasses import dataclass

from meltdoe.fit.checks.past_fits import firings_in_order
from meltdoe.log.melt_log import Entry, Log
from meltdoe.plans.melt_plan import Plan
from meltdoe.report.deviations import moved
from meltdoe.report.failures import first_failure
from meltdoe.report.seen_words import seen_phrase
from meltdoe.series.melt_series import MeltSeries

__all__ = ["DiaryEntry", "diary_of"]


@dataclass(frozen=True, slots=True)
class DiaryEntry:
    """One melt: its heading, sentences on purpose, settings and outcomes, and the note made at the time."""

    title: str
    sentences: tuple[str, ...]
    note: str


def diary_of(log: Log, plan: Plan | None) -> tuple[DiaryEntry, ...]:
    """Every casting in the order of the firings."""
    place = {firing: i for i, firing in enumerate(firings_in_order(log.entries))}
    planned = {melt.melt: melt for melt in plan.melts} if plan is not None else {}
    found = []
    for entry in sorted(log.entries, key=lambda e: (place[e.firing], e.melt, e.mould)):
        there = planned.get(entry.melt)
        if there is None:
            purpose = "Not in the plan: chosen in the light of the melts before it." if plan is not None else ""
        else:
            purpose = f"Purpose in the plan: {there.purpose}." if there.purpose else "Planned."
            names = moved(log.series, entry.settings, there.settings)
            if names:
                wanted = log.series.show({name: there.settings[name] for name in names})
                purpose += f" Planned was {wanted}."
        settings = f"Set: {log.series.show_all(entry.settings)}."
        sentences = tuple(s for s in (purpose, settings, *_seen(log, entry)) if s)
        found.append(DiaryEntry(_title(log.series, entry), sentences, entry.note.strip()))
    return tuple(found)


def _title(series: MeltSeries, entry: Entry) -> str:
    mould = f", mould {entry.mould}" if series.moulds_per_melt > 1 else ""
    date = f", {entry.date.isoformat()}" if entry.date is not None else ""
    return f"Melt {entry.melt}{mould}, firing {entry.firing}{date}"


def _seen(log: Log, entry: Entry) -> tuple[str, str]:
    series = log.series
    failed = first_failure(log, entry)
    if failed is not None:
        end = f"It failed at {failed.name.replace('_', ' ')}."
    else:
        end = "It was good throughout." if log.succeeded(entry) else "How it ended is not known."
    return f"Seen: {seen_phrase(series, entry)}.", end if any(o.counts for o in series.outcomes) else ""
