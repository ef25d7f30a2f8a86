"""Bringing in a table from elsewhere: columns matched, rows read, all of it shown before anything is written."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal, TypeAlias

from meltdoe.errors import Problem, ProblemsFound
from meltdoe.files.disk.lock import locked
from meltdoe.files.store.log_csv import LOG_NAME, read_store, series_folder
from meltdoe.files.store.recording import commit, planned
from meltdoe.files.store.settling import Settled, open_store, settle_locked
from meltdoe.files.tables.csv_table import read_bytes, read_rows
from meltdoe.files.tables.table_rows import Table, headed, table_of
from meltdoe.files.tables.xlsx_table import is_xlsx, xlsx_rows
from meltdoe.log.cell_words import says_unknown
from meltdoe.log.column_match import ColumnMatch, log_targets, match_columns, nearest
from meltdoe.log.content_match import match_contents
from meltdoe.log.dates import day_order
from meltdoe.log.draft import Draft, Planned, Unsaid, draft_entry
from meltdoe.log.entry import Where, entry_row, log_columns, number_columns
from meltdoe.log.event import Event
from meltdoe.log.melt_log import Entry
from meltdoe.log.numbers import CellFault, DecimalMark, read_number, read_whole, shortened
from meltdoe.log.said import Said
from meltdoe.series.melt_series import MeltSeries

__all__ = ["ImportResult", "Unmatched", "import_table", "preview_import"]

Unmatched: TypeAlias = Literal["note", "leave out"]
_DIGITS = re.compile(r"\s*[-+]?[\d.,' ]+\s*\Z")


@dataclass(frozen=True, slots=True)
class ImportResult:
    """A table that was brought in, or would be.

    Parameters
    ----------
    source : the file, with the sheet where it has several.
    match : which heading stands for which column; headings without one are named in `match.unmatched`.
    drafts : one per row of the table: new melts, completed ones, and those on record just so.
    problems : whatever stands against it; empty once it is written.
    event : number of the journal's event, or None where nothing was written.
    said : the line of each row and what it says, column by column, for people.
    """

    source: str
    match: ColumnMatch
    drafts: tuple[Draft, ...]
    problems: tuple[Problem, ...]
    settled: Settled
    event: int | None = None
    said: tuple[tuple[int, str], ...] = ()

    @property
    def entries(self) -> tuple[Entry, ...]:
        """The rows that are new or completed."""
        return tuple(entry for draft in self.drafts for entry in draft.entries)


def preview_import(
    series: MeltSeries,
    path: Path,
    told: Mapping[str, str] | None = None,
    *,
    unmatched: Unmatched = "note",
    unsaid: Unsaid = "ask",
) -> ImportResult:
    """Show how a table would be brought in; nothing is written.

    Parameters
    ----------
    told : headings that the user has settled, to the name of a column; an empty name matches it to none.
    unmatched : whether cells under headings that stand for no column are kept in the note.
    unsaid : what an outcome is that a melt must have reached and that the table leaves blank.

    Raises
    ------
    ProblemsFound
        Where the table, log.csv or the journal cannot be read at all.
    """
    reading = read_store(series)
    reading.raise_problems()
    _, table = _read_table(series, path, told or {})
    plan = planned(series, reading.journal.events)
    return _drafted(series, table, told or {}, reading.entries, plan, unmatched, unsaid)


def import_table(
    series: MeltSeries,
    path: Path,
    told: Mapping[str, str] | None = None,
    *,
    unmatched: Unmatched = "note",
    unsaid: Unsaid = "ask",
) -> ImportResult:
    """Bring a table in as one event of the journal: all of its rows or none. See `preview_import`.

    A row of a melt that is on record may say the same or fill in what was not known; it replaces nothing.

    Raises
    ------
    ProblemsFound
        Every problem of the table; nothing is written then.
    """
    content, table = _read_table(series, path, told or {})
    digest = hashlib.sha256(content).hexdigest()
    with locked(series_folder(series)):
        reading = open_store(series)
        plan = planned(series, reading.journal.events)
        result = _drafted(series, table, told or {}, reading.entries, plan, unmatched, unsaid)
        if result.problems:
            raise ProblemsFound(result.problems)
        _refuse_again(result.match, reading.journal.events, table.file, digest)
        reading, settled = settle_locked(series, reading)
        event = None
        if result.entries:
            latest = {(entry.melt, entry.mould): entry_row(series, entry) for entry in result.entries}
            data = {
                "source": path.name,
                "digest": digest,
                "columns": {column.heading: column.name for column in result.match.matched},
                "rows": list(latest.values()),
            }
            event = commit(series, reading, "import", data)
    return replace(result, settled=settled, event=event)


def _refuse_again(match: ColumnMatch, events: Sequence[Event], file: str, digest: str) -> None:
    """Rows without melt numbers would become new melts each time that the same table is brought in."""
    if any(column.name == "melt" for column in match.matched):
        return
    undone = {event.data["event"] for event in events if event.kind == "undo"}
    for event in events:
        if event.kind == "import" and event.data.get("digest") == digest and event.number not in undone:
            what = f"was brought in on {event.day} already, and its rows have no melt numbers"
            raise ProblemsFound.single(file, None, what, "add a column of melt numbers, or: meltdoe record --undo")


def _read_table(series: MeltSeries, path: Path, told: Mapping[str, str]) -> tuple[bytes, Table]:
    targets = log_targets(series)
    known = [name for target in targets for name in (target.name, *target.titles) if name] + list(told)
    content = read_bytes(path)
    if is_xlsx(content, path.name):
        rows, file = xlsx_rows(content, path.name, known)
        separator = ""
    else:
        rows, separator = read_rows(content, path.name, known)
        file = path.name
    table = table_of(headed(rows, known), file, separator)
    if path.resolve() == (series_folder(series) / LOG_NAME).resolve():
        raise ProblemsFound.single(
            path.name, None, "is the log itself", "edit it in place; the next record enters the edits"
        )
    if not table.rows:
        raise ProblemsFound.single(path.name, None, "holds no row under its headings", "name another file")
    return content, table


def _drafted(
    series: MeltSeries, table: Table, told: Mapping[str, str], entries: tuple[Entry, ...], plan: Planned,
    unmatched: Unmatched, unsaid: Unsaid,
) -> ImportResult:  # fmt: skip
    match = match_columns(table.headings, log_targets(series), told)
    if not match.doubtful:
        columns = {heading: [row.cells[i] for row in table.rows] for i, heading in enumerate(table.headings)}
        match = match_contents(series, match, columns, told, _decimal(table))
    problems = _told_problems(series, table, told)
    mend = "say which column each heading stands for, with: --column HEADING=NAME"
    problems += [Problem(table.file, table.heading_line, doubt, mend) for doubt in match.doubtful]
    if not any(column.name in {o.name for o in series.outcomes} for column in match.matched):
        what = "no heading stands for an outcome of the series"
        problems.append(Problem(table.file, table.heading_line, what, mend))
    if problems:
        return ImportResult(table.file, match, (), tuple(problems), Settled())
    by_heading = {column.heading: column for column in match.matched}
    names = {column.name: heading for heading, column in by_heading.items()}
    place = {heading: i for i, heading in enumerate(table.headings)}

    def cells(name: str) -> list[str]:
        return [row.cells[place[names[name]]] for row in table.rows] if name in names else []

    decimal = table.decimal([cell for name in number_columns(series) for cell in cells(name)])
    dates = day_order(cells("date"))
    known = list(entries)
    drafts: list[Draft] = []
    told_rows: list[tuple[int, str]] = []
    first: dict[tuple[int | None, int], int] = {}
    for row in table.rows:
        where = Where(table.file, row.line)
        texts = {
            column.name: _with_unit(row.cells[place[heading]], column.unit) for heading, column in by_heading.items()
        }
        spoken = [f"{name} {shortened(text)}" for name, text in texts.items() if text.strip()]
        told_rows.append((row.line, ", ".join(spoken)))
        left = [(heading, row.cells[place[heading]]) for heading in match.unmatched]
        said, faults = _said(series, texts, left if unmatched == "note" else [], where, decimal)
        if faults:
            problems += faults
            continue
        key = (said.melt, said.mould)
        if said.melt is not None and key in first:
            what = f"melt {said.melt} stands already in line {first[key]}"
            problems.append(where.problem(what, "keep one of the two rows"))
            continue
        first[key] = row.line
        draft = draft_entry(series, plan, known, said, where, unsaid=unsaid, decimal=decimal, dates=dates)
        problems += draft.problems
        drafts.append(draft)
        if not draft.problems:
            new = {(entry.melt, entry.mould): entry for entry in draft.entries}
            known = [new.pop((entry.melt, entry.mould), entry) for entry in known] + list(new.values())
    return ImportResult(table.file, match, tuple(drafts), tuple(problems), Settled(), said=tuple(told_rows))


def _decimal(table: Table) -> DecimalMark | None:
    """The decimal mark that the columns of numbers show, whatever they stand for."""
    columns = [[row.cells[i] for row in table.rows if row.cells[i].strip()] for i in range(len(table.headings))]
    return table.decimal([cell for column in columns if all(map(_DIGITS.match, column)) for cell in column])


def _told_problems(series: MeltSeries, table: Table, told: Mapping[str, str]) -> list[Problem]:
    problems = []
    columns = log_columns(series)
    for heading, name in told.items():
        if heading not in table.headings:
            near = nearest(heading, table.headings)
            mend = f'write "{near}"' if near else f"write one of: {', '.join(table.headings)}"
            problems.append(Problem("", None, f'--column: {table.file} has no heading "{heading}"', mend))
        if name and name not in columns:
            near = nearest(name, columns)
            mend = f'write "{near}"' if near else f"write one of: {', '.join(columns)}"
            problems.append(Problem("", None, f'--column: the log has no column "{name}"', mend))
    chosen = [name for name in told.values() if name]
    for name in sorted({name for name in chosen if chosen.count(name) > 1}):
        what = f"--column: two headings are said to stand for {name}"
        problems.append(Problem("", None, what, "leave one of them out"))
    return problems


def _with_unit(text: str, unit: str) -> str:
    """The heading's unit behind a bare number."""
    if not unit or not text.strip():
        return text
    try:
        read_number(text, ".")
    except CellFault:
        return text
    return f"{text} {unit}"


def _said(
    series: MeltSeries, texts: Mapping[str, str], left: list[tuple[str, str]], where: Where, decimal: DecimalMark | None
) -> tuple[Said, list[Problem]]:
    """What one row of the table says; blank cells are not said, nor is "?" anywhere but under a factor."""
    problems: list[Problem] = []
    numbers: dict[str, int | None] = {"melt": None, "firing": None, "mould": None}
    for column in numbers:
        if texts.get(column, "").strip():
            try:
                numbers[column] = read_whole(texts[column], decimal)
            except CellFault as fault:
                problems.append(where.problem(fault.under(column).what, fault.mend))
    own_words = {outcome.name: outcome.grades for outcome in series.outcomes}
    given = {
        column: text
        for column, text in texts.items()
        if text.strip() and (column in series.factor_names or not says_unknown(text, own_words.get(column, ())))
    }
    notes = [given.get("note", ""), *(f"{heading}: {cell}" for heading, cell in left if cell.strip())]
    note = "; ".join(part for part in notes if part) or None
    said = Said(
        numbers["melt"],
        {name: given[name] for name in series.factor_names if name in given},
        {outcome.name: given[outcome.name] for outcome in series.outcomes if outcome.name in given},
        {c.name: given[c.name] for c in series.circumstances if c.name in given},
        note,
        given.get("date"),
        numbers["firing"],
        numbers["mould"] or 1,
    )
    return said, problems
