"""From what was said of a melt to its row: defaults filled in, earlier rows completed or corrected.

Nothing is guessed about outcomes. Settings that are not said are those of the same melt's other moulds, then (for
what is set once per firing) those of the firing as it was really fired, then the plan's.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from meltdoe.errors import Problem
from meltdoe.log.cell_words import UNKNOWN
from meltdoe.log.dates import DayOrder
from meltdoe.log.entry import (
    Key,
    Where,
    closed_chain,
    entry_problems,
    entry_row,
    key_text,
    log_problems,
    shared_columns,
    with_unsaid,
)  # fmt: skip
from meltdoe.log.history import Change, changes_between
from meltdoe.log.melt_log import Entry
from meltdoe.log.numbers import DecimalMark, shortened
from meltdoe.log.said import ReadSaid, Said, read_said
from meltdoe.series.factor import Setting
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Seen, Unseen

__all__ = ["SAY_SETTING", "Draft", "How", "Planned", "Unsaid", "draft_entry"]

How: TypeAlias = Literal["new", "completed", "corrected", "unchanged"]
Unsaid: TypeAlias = Literal["ask", "later", "lost"]
Planned: TypeAlias = Mapping[int, tuple[int, Mapping[str, Setting]]]
"""Firing and settings of each planned melt, by its number."""

SAY_SETTING = f"say the setting that was used, or {UNKNOWN} where nobody knows it any more"


@dataclass(frozen=True, slots=True)
class Draft:
    """A row ready to be recorded, or the problems that stand against it.

    Parameters
    ----------
    entries : the row, and rows of the same melt's other moulds that change with it.
    changes : what differs from the rows on record.
    notices : what was filled in, as sentences.
    """

    how: How
    entries: tuple[Entry, ...]
    was: Entry | None
    changes: tuple[Change, ...]
    notices: tuple[str, ...]
    problems: tuple[Problem, ...]


def draft_entry(
    series: MeltSeries,
    planned: Planned,
    entries: Sequence[Entry],
    said: Said,
    where: Where,
    *,
    correct: bool = False,
    unsaid: Unsaid = "ask",
    decimal: DecimalMark | None = None,
    dates: DayOrder | None = None,
) -> Draft:
    """Make the row of a melt from what was said and what is on record.

    Parameters
    ----------
    entries : the rows on record.
    where : where problems are said to stand.
    correct : whether values on record may be replaced; without it only what was not known yet is filled in.
    unsaid : what an outcome is that should have been seen and is not spoken of: asked about, "later" or "lost". Unless
        asked about, a setting that neither was said nor planned is unknown.
    """
    free = max([*planned, *(entry.melt for entry in entries)], default=0) + 1
    key = (free if said.melt is None else said.melt, said.mould)
    was = next((entry for entry in entries if (entry.melt, entry.mould) == key), None)
    known_date = was.date if was else None
    read, problems = read_said(series, said, where, known_date=known_date, decimal=decimal, dates=dates)
    if correct and was is None:
        missing = where.problem(
            f"{key_text(key, series)} is not in the log", "record it first, or see the numbers with: meltdoe log"
        )
        problems = (*problems, missing)
    if problems:
        return Draft("unchanged", (), was, (), (), problems)
    if was is None:
        return _new(series, planned, entries, key, read, where, unsaid)
    return _again(series, entries, was, read, where, correct, unsaid)


def _new(
    series: MeltSeries, planned: Planned, entries: Sequence[Entry], key: Key, read: ReadSaid, where: Where,
    unsaid: Unsaid,
) -> Draft:  # fmt: skip
    melt, mould = key
    plan = planned.get(melt)
    siblings = [entry for entry in entries if entry.melt == melt]
    firing = read.firing or (siblings[-1].firing if siblings else None) or (plan[0] if plan else None)
    if firing is None:
        firing = max([*(f for f, _ in planned.values()), *(entry.firing for entry in entries)], default=0) + 1
    together = [entry for entry in entries if entry.firing == firing]
    settings: dict[str, Setting | None] = {}
    notices: list[str] = []
    problems: list[Problem] = []
    for factor in series.factors:
        name = factor.name
        source = siblings if factor.set_per != "mould" else []
        if not source and factor.set_per == "firing":
            source = together
        if name in read.settings:
            settings[name] = read.settings[name]
        elif source:
            settings[name] = source[-1].settings.get(name)
            if plan and plan[1].get(name) != settings[name]:
                shown = series.show_all(_known(settings), of=[name])
                notices.append(f"{shown} as in melt {source[-1].melt} (planned: {series.show({name: plan[1][name]})})")
        elif plan:
            settings[name] = plan[1][name]
        elif unsaid == "ask":
            what = f"melt {melt} is not in the plan, and nothing is said of {name}"
            problems.append(where.problem(what, SAY_SETTING))
    seen: dict[str, Seen] = {
        outcome.name: siblings[-1].seen[outcome.name] if siblings and outcome.seen_per == "melt" else Unseen.NOT_REACHED
        for outcome in series.outcomes
    } | dict(read.seen)
    circumstances = {n: v for n, v in read.circumstances.items() if v is not None}
    entry = Entry(
        melt, firing, _known(settings), _with_unsaid(series, seen, read.seen, unsaid), read.date, circumstances,
        read.note or "", mould,
    )  # fmt: skip
    if problems:
        return Draft("new", (), None, (), tuple(notices), tuple(problems))
    return _judged(series, entries, "new", None, entry, tuple(notices), where)


def _again(
    series: MeltSeries, entries: Sequence[Entry], was: Entry, read: ReadSaid, where: Where, correct: bool,
    unsaid: Unsaid,
) -> Draft:  # fmt: skip
    seen = dict(was.seen) | dict(read.seen)
    closed = closed_chain(series, seen, read.seen)
    closing = [outcome for outcome in closed if closed[outcome] != seen[outcome]]
    notices = tuple(f"{outcome} is no longer awaited, since it cannot come" for outcome in closing)
    circumstances = dict(was.circumstances)
    for circumstance, value in read.circumstances.items():
        circumstances.pop(circumstance, None)
        if value is not None:
            circumstances[circumstance] = value
    note = was.note
    if read.note is not None and (correct or not was.note):
        note = read.note
    elif read.note and read.note not in was.note:
        note = f"{was.note}; {read.note}"
    entry = Entry(
        was.melt,
        read.firing or was.firing,
        _known(dict(was.settings) | dict(read.settings)),
        _with_unsaid(series, closed, read.seen, unsaid),
        read.date or was.date,
        circumstances,
        note,
        was.mould,
    )
    if entry_row(series, entry) == entry_row(series, was):
        unchanged = f"{key_text((was.melt, was.mould), series)} is on record just so"
        return Draft("unchanged", (), was, (), (unchanged,), ())
    return _judged(series, entries, "corrected" if correct else "completed", was, entry, notices, where)


def _was_open(series: MeltSeries, was: Entry, change: Change) -> bool:
    """Whether the cell held nothing yet, so that filling it in replaces nothing."""
    if change.column not in was.seen:
        return change.column == "note" or change.before == ""  # a note is added to, never replaced
    if was.seen[change.column] is Unseen.NOT_REACHED:
        awaited = [was.seen.get(forerunner.name) for forerunner in series.forerunners(change.column)]
        return Unseen.LATER in awaited
    return was.seen[change.column] is Unseen.LATER


def _with_unsaid(
    series: MeltSeries, seen: Mapping[str, Seen], said: Collection[str], unsaid: Unsaid
) -> dict[str, Seen]:
    """Outcomes that should have been seen and were not spoken of, set to "later" or "lost" where that was chosen."""
    return dict(seen) if unsaid == "ask" else with_unsaid(series, seen, said, Unseen(unsaid))


def _judged(
    series: MeltSeries, entries: Sequence[Entry], how: How, was: Entry | None, entry: Entry,
    notices: tuple[str, ...], where: Where,
) -> Draft:  # fmt: skip
    """The draft with its siblings brought into line, and whatever stands against it."""
    row = entry_row(series, entry)
    drafted = [entry]
    for sibling in entries:
        if sibling.melt == entry.melt and sibling.mould != entry.mould:
            old = entry_row(series, sibling)
            if any(old.get(column, "") != row.get(column, "") for column in shared_columns(series)):
                drafted.append(_in_line(series, sibling, entry))
    new = {(drawn.melt, drawn.mould): drawn for drawn in drafted}
    on_record = {(old.melt, old.mould): old for old in entries}
    changes: list[Change] = []
    problems: list[Problem] = []
    for key, drawn in new.items():
        old_entry = on_record.get(key)
        before = None if old_entry is None else entry_row(series, old_entry)
        here = changes_between(series, key, before, entry_row(series, drawn))
        changes += here
        if old_entry is not None and how != "corrected":
            problems += _replacing(series, old_entry, here, where)
    if not problems:
        problems += [problem for drawn in drafted for problem in entry_problems(series, drawn, where)]
        others = [e for key, e in on_record.items() if key[0] == entry.melt and key not in new]
        problems += log_problems(series, [(e, where) for e in (*others, *drafted)])
    return Draft(how, tuple(drafted), was, tuple(changes), notices, tuple(problems))


def _known(settings: Mapping[str, Setting | None]) -> dict[str, Setting]:
    """Without those that are unknown."""
    return {name: value for name, value in settings.items() if value is not None}


def _replacing(series: MeltSeries, was: Entry, changes: Sequence[Change], where: Where) -> list[Problem]:
    """The problem that values on record would be replaced without a word of correction."""
    replaced = [change for change in changes if not _was_open(series, was, change)]
    if not replaced:
        return []
    name = key_text((was.melt, was.mould), series)
    shown = ", ".join(f"{change.column} {shortened(change.before) or 'blank'}" for change in replaced)
    what = f"{name} is on record with {shown}"
    mend = f"to replace it: meltdoe record --melt {was.melt} --correct ...; for another melt leave the number out"
    return [where.problem(what, mend)]


def _in_line(series: MeltSeries, sibling: Entry, entry: Entry) -> Entry:
    """Another mould of the same melt, with everything that the melt's moulds have in common."""
    shared = shared_columns(series)
    own = {n: v for n, v in sibling.settings.items() if n not in shared}
    settings = own | {n: v for n, v in entry.settings.items() if n in shared}
    seen = dict(sibling.seen) | {n: v for n, v in entry.seen.items() if n in shared}
    return replace(sibling, firing=entry.firing, settings=settings, seen=closed_chain(series, seen))
