"""One row of the log: its columns, how cells become an `Entry`, and what no row may say.

An outcome that comes after another exists only where that one was good. So a value behind a forerunner that was not
good contradicts itself, and a blank behind one that was good is a question to the user, never a guess.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import TypeAlias

from meltdoe.errors import Problem
from meltdoe.log.cell_words import (
    LONGEST_TEXT,
    UNKNOWN,
    outcome_cell,
    read_actual,
    read_circumstance,
    read_outcome,
    read_text,
    setting_cell,
    text_cell,
)  # fmt: skip
from meltdoe.log.dates import DayOrder, read_date
from meltdoe.log.melt_log import Entry
from meltdoe.log.numbers import CellFault, DecimalMark, read_whole
from meltdoe.series.factor import Setting
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome, Seen, Unseen

__all__ = [
    "QUESTION", "Key", "Row", "Where", "closed_chain", "entry_problems", "entry_row", "key_text", "log_columns",
    "log_problems", "number_columns", "read_entry", "row_texts", "shared_columns",
    "with_unsaid",
]  # fmt: skip

Row: TypeAlias = dict[str, str | float]
"""A row as it is written: numbers stay numbers, blanks are left out."""
Key: TypeAlias = tuple[int, int]
"""Melt and mould."""

QUESTION = (
    "write the value, later (not known yet) or lost (never to be known: nobody looked, or a power cut ended the melt)"
)


@dataclass(frozen=True, slots=True)
class Where:
    """Where a row stands: a file and, where it has lines, the line."""

    file: str
    line: int | None = None

    def problem(self, what: str, mend: str) -> Problem:
        return Problem(self.file, self.line, what, mend)


def log_columns(series: MeltSeries) -> tuple[str, ...]:
    """The columns of log.csv, in order."""
    return (
        "melt",
        *(("mould",) if series.moulds_per_melt > 1 else ()),
        "firing",
        "date",
        *series.factor_names,
        *(outcome.name for outcome in series.outcomes),
        *(circumstance.name for circumstance in series.circumstances),
        "note",
    )


def number_columns(series: MeltSeries) -> tuple[str, ...]:
    """The columns whose cells are numbers: they show which decimal mark a table uses."""
    return (
        *(factor.name for factor in series.factors if factor.kind == "amount"),
        *(outcome.name for outcome in series.outcomes if outcome.kind == "measured"),
        *(circumstance.name for circumstance in series.circumstances if circumstance.unit),
    )


def key_text(key: Key, series: MeltSeries) -> str:
    """ "melt 4", or "melt 4, mould 2" where a melt fills several."""
    return f"melt {key[0]}, mould {key[1]}" if series.moulds_per_melt > 1 else f"melt {key[0]}"


def entry_row(series: MeltSeries, entry: Entry) -> Row:
    """An entry as the cells of its row; blank cells are left out."""
    row: Row = {"melt": entry.melt, "firing": entry.firing, "note": entry.note}
    if series.moulds_per_melt > 1:
        row["mould"] = entry.mould
    row["date"] = entry.date.isoformat() if entry.date else ""
    row.update({name: setting_cell(entry.settings.get(name, UNKNOWN)) for name in series.factor_names})
    row.update({o.name: outcome_cell(o, entry.seen.get(o.name, Unseen.NOT_REACHED)) for o in series.outcomes})
    row.update({name: setting_cell(value) for name, value in entry.circumstances.items()})
    return {column: row[column] for column in log_columns(series) if row.get(column, "") != ""}


def row_texts(row: Mapping[str, str | float]) -> dict[str, str]:
    """The cells of a row as plain texts."""
    return {column: text_cell(cell) for column, cell in row.items()}


def read_entry(
    series: MeltSeries,
    texts: Mapping[str, str],
    where: Where,
    *,
    decimal: DecimalMark | None = None,
    dates: DayOrder | None = None,
    known_date: datetime.date | None = None,
    new: Collection[str] = (),
) -> tuple[Entry | None, tuple[Problem, ...]]:
    """Read the cells of one row.

    Parameters
    ----------
    texts : cell text by column; a column that is missing counts as blank.
    decimal, dates : how the table writes numbers and dates, where that is known.
    known_date : the date on record for this melt.
    new : outcomes that came to the series after the row was written.

    Returns
    -------
    The entry, or None with every problem of the row.
    """
    problems: list[Problem] = []
    settings: dict[str, Setting] = {}
    seen: dict[str, Seen] = {}
    circumstances: dict[str, Setting] = {}
    numbers: dict[str, int] = {"melt": 0, "firing": 0, "mould": 1}
    date: datetime.date | None = None
    note = ""

    def text(column: str) -> str:
        return texts.get(column, "")

    for column in ("melt", "firing", *(("mould",) if series.moulds_per_melt > 1 else ())):
        try:
            if not text(column).strip():
                raise CellFault(f"{column} is blank", f"write the number of the {column}")
            numbers[column] = read_whole(text(column), decimal)
        except CellFault as fault:
            problems.append(where.problem(fault.under(column).what, fault.mend))
    if numbers["mould"] > series.moulds_per_melt:
        problems.append(
            where.problem(
                f"mould says {numbers['mould']}, but a melt fills {series.moulds_per_melt}",
                f"write a number from 1 to {series.moulds_per_melt}",
            )
        )
    try:
        date = read_date(text("date"), dates, known_date)
    except CellFault as fault:
        problems.append(where.problem(fault.what, fault.mend))
    for factor in series.factors:
        try:
            if (setting := read_actual(factor, text(factor.name), decimal)) is not None:
                settings[factor.name] = setting
        except CellFault as fault:
            problems.append(where.problem(fault.what, fault.mend))
    for outcome in series.outcomes:
        try:
            seen[outcome.name] = read_outcome(outcome, text(outcome.name), decimal)
        except CellFault as fault:
            problems.append(where.problem(fault.what, fault.mend))
    for circumstance in series.circumstances:
        try:
            value = read_circumstance(circumstance, text(circumstance.name), decimal)
            if value is not None:
                circumstances[circumstance.name] = value
        except CellFault as fault:
            problems.append(where.problem(fault.what, fault.mend))
    try:
        note = read_text("note", text("note"))
    except CellFault as fault:
        problems.append(where.problem(fault.what, fault.mend))
    if problems:
        return None, tuple(problems)
    if new:
        seen = with_unsaid(series, seen, {outcome.name for outcome in series.outcomes} - set(new), Unseen.LATER)
    entry = Entry(numbers["melt"], numbers["firing"], settings, seen, date, circumstances, note, mould=numbers["mould"])
    return entry, entry_problems(series, entry, where)


def entry_problems(series: MeltSeries, entry: Entry, where: Where) -> tuple[Problem, ...]:
    """What one row says against itself, and the questions that it leaves open."""
    problems: list[Problem] = []
    name = key_text((entry.melt, entry.mould), series)
    for outcome in series.outcomes:
        if outcome.after is None:
            continue
        forerunner = series.outcome(outcome.after)
        before = entry.seen.get(forerunner.name, Unseen.NOT_REACHED)
        here = entry.seen.get(outcome.name, Unseen.NOT_REACHED)
        good = forerunner.is_good(before)
        if here is Unseen.NOT_REACHED:
            if good:
                what = f"{name} leaves {outcome.name} blank, though {forerunner.name} was {_shown(forerunner, before)}"
                problems.append(where.problem(what, QUESTION))
        elif good is False or before is Unseen.NOT_REACHED:
            was = "is blank" if before is Unseen.NOT_REACHED else f"was {_shown(forerunner, before)}, not good"
            what = f"{name} has {outcome.name} {_shown(outcome, here)}, which cannot be: {forerunner.name} {was}"
            mend = f"leave {outcome.name} blank (--seen {outcome.name}= empties it), or correct {forerunner.name}"
            problems.append(where.problem(what, mend))
    nothing = all(entry.seen.get(o.name, Unseen.NOT_REACHED) is Unseen.NOT_REACHED for o in series.outcomes)
    if nothing and not entry.note:
        what = f"{name} says nothing of what was seen"
        problems.append(
            where.problem(what, f"{QUESTION}; or leave all blank and say in the note why it never got so far")
        )
    if len(entry.note) > LONGEST_TEXT:
        problems.append(where.problem(f"{name} has a note of {len(entry.note)} characters", "shorten the note"))
    return tuple(problems)


def closed_chain(series: MeltSeries, seen: Mapping[str, Seen], said: Iterable[str] = ()) -> dict[str, Seen]:
    """Outcomes still awaited behind a forerunner now known not to be good become blank, since they cannot come.

    Parameters
    ----------
    said : outcomes that the user has just spoken of; they are left as they are.
    """
    spoken = set(said)
    closed = dict(seen)
    for outcome in series.outcomes:
        if outcome.after is None or outcome.name in spoken or closed.get(outcome.name) is not Unseen.LATER:
            continue
        before = closed.get(outcome.after, Unseen.NOT_REACHED)
        if before is Unseen.NOT_REACHED or series.outcome(outcome.after).is_good(before) is False:
            closed[outcome.name] = Unseen.NOT_REACHED
    return closed


def with_unsaid(series: MeltSeries, seen: Mapping[str, Seen], said: Collection[str], state: Unseen) -> dict[str, Seen]:
    """Outcomes that should have been seen and were not spoken of, set to `state`.

    Parameters
    ----------
    said : outcomes that were spoken of; they are left as they are.
    """
    filled = dict(seen)
    nothing = all(value is Unseen.NOT_REACHED for value in filled.values())
    for outcome in series.outcomes:
        if filled[outcome.name] is Unseen.NOT_REACHED and outcome.name not in said:
            first = outcome.after is None and nothing
            if first or (outcome.after is not None and series.outcome(outcome.after).is_good(filled[outcome.after])):
                filled[outcome.name] = state
    return filled


def log_problems(series: MeltSeries, entries: Iterable[tuple[Entry, Where]]) -> tuple[Problem, ...]:
    """What the rows say against each other: one melt twice, or moulds of one melt that disagree."""
    problems: list[Problem] = []
    rows: dict[Key, Where] = {}
    first: dict[int, Entry] = {}
    for entry, where in entries:
        key = (entry.melt, entry.mould)
        if key in rows:
            line = rows[key].line
            already = f" already in line {line}" if line else " already"
            problems.append(where.problem(f"{key_text(key, series)} stands{already}", "keep one of the two rows"))
            continue
        rows[key] = where
        sibling = first.setdefault(entry.melt, entry)
        if sibling is entry:
            continue
        here, there = entry_row(series, entry), entry_row(series, sibling)
        for column in shared_columns(series):
            mine, theirs = here.get(column, ""), there.get(column, "")
            if mine != theirs:
                what = (
                    f'{key_text(key, series)} has {column} "{text_cell(mine)}", but mould {sibling.mould} of the '
                    f'same melt has "{text_cell(theirs)}"'
                )
                mend = f"write the same {column} in every row of melt {entry.melt}"
                if column in (outcome.name for outcome in series.outcomes):
                    mend += f', or seen_per = "mould" at the outcome {column} in series.toml'
                problems.append(where.problem(what, mend))
    return tuple(problems)


def shared_columns(series: MeltSeries) -> tuple[str, ...]:
    """What all moulds of one melt have in common."""
    return (
        "firing",
        *(factor.name for factor in series.factors if factor.set_per != "mould"),
        *(outcome.name for outcome in series.outcomes if outcome.seen_per == "melt"),
    )


def _shown(outcome: Outcome, seen: Seen) -> str:
    unit = f" {outcome.unit}" if outcome.unit and isinstance(seen, float) else ""
    return text_cell(outcome_cell(outcome, seen)) + unit
