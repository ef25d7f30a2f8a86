"""plan.csv: the melts to make, as a table that people read and may edit.

Where the plan came from (pattern, reason, seed) stands in the journal's plan event. Rows of melts that are already
in the log stay as they are when a new plan is written.
"""

from __future__ import annotations

import datetime
import logging
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from meltdoe.errors import Problem, ProblemsFound
from meltdoe.files.disk.lock import locked
from meltdoe.files.disk.safe_write import remove_leftovers, write_file
from meltdoe.files.disk.set_aside import keep_aside
from meltdoe.files.store.journal import JOURNAL_NAME, append_event, read_journal, safe_all_the_same
from meltdoe.files.store.log_csv import series_folder
from meltdoe.files.store.plan_problems import check_plan
from meltdoe.files.store.settling import open_store, settle_locked
from meltdoe.files.tables.csv_table import (
    named_columns,
    parse_table,
    read_bytes,
    read_if_there,
    refuse_cut_off,
    table_text,
)  # fmt: skip
from meltdoe.log.cell_words import clean_text, read_setting, read_text, setting_cell
from meltdoe.log.entry import Row, Where, row_texts
from meltdoe.log.event import Event
from meltdoe.log.new_columns import earlier_cells, how_it_was, planned_cells
from meltdoe.log.numbers import CellFault, DecimalMark, read_whole
from meltdoe.log.replay import states
from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.series.factor import Amount, Setting
from meltdoe.series.melt_series import MeltSeries

__all__ = [
    "PLAN_NAME", "is_plan", "last_plan", "parse_plan", "plan_text", "planned_melts", "read_plan",
    "write_plan",
]  # fmt: skip

PLAN_NAME = "plan.csv"
_BY_HAND = "by hand"
_YOUNGER = 2.0  # seconds; a command writes plan.csv right behind its event


def _columns(series: MeltSeries) -> tuple[str, ...]:
    return ("melt", "firing", "order", *series.factor_names, "purpose")


def _row(melt: PlannedMelt) -> Row:
    settings = {name: setting_cell(value) for name, value in melt.settings.items()}
    numbers: Row = {"melt": int(melt.melt), "firing": int(melt.firing), "order": int(melt.order)}
    return {**numbers, **settings, "purpose": melt.purpose}


def _tidy(melt: PlannedMelt) -> PlannedMelt:
    """Settings without the dust of arithmetic (0.1 * 3), and the purpose as it is read back."""
    settings = {
        name: value if isinstance(value, str) else float(f"{value:.10g}") for name, value in melt.settings.items()
    }
    return replace(melt, settings=settings, purpose=clean_text(melt.purpose))


def plan_text(series: MeltSeries, melts: Iterable[PlannedMelt], without: Collection[str] = ()) -> str:
    """The content of plan.csv.

    Parameters
    ----------
    without : columns that are left out.
    """
    columns = [column for column in _columns(series) if column not in without]
    return table_text(columns, ([_row(melt).get(column, "") for column in columns] for melt in melts))


def parse_plan(series: MeltSeries, content: bytes, done: Collection[int] = ()) -> tuple[PlannedMelt, ...]:
    """Read the content of a plan.csv; one whose rows were all deleted plans nothing.

    Parameters
    ----------
    done : melts that are already in the log; ranges and limits are no longer asked of them.

    Raises
    ------
    ProblemsFound
        Every problem of the table, with its line.
    """
    melts, problems = _read_table(series, content, done)
    problems += check_plan(series, melts, done)
    if problems:
        raise ProblemsFound(sorted(problems, key=lambda problem: problem.line or 0))
    return tuple(melt for melt, _ in melts)


def _read_table(
    series: MeltSeries, content: bytes, done: Collection[int] = ()
) -> tuple[list[tuple[PlannedMelt, Where]], list[Problem]]:
    refuse_cut_off(content, PLAN_NAME)
    table = parse_table(content, PLAN_NAME, _columns(series))
    mends = {factor.name: how_it_was(factor, "this plan") for factor in series.factors}
    rows = named_columns(table, _columns(series), earlier_cells(series), mends)
    amounts = [factor.name for factor in series.factors if isinstance(factor, Amount)]
    decimal = table.decimal([cells.get(name, "") for _, cells in rows for name in amounts])
    return _read_rows(series, ((Where(PLAN_NAME, line), cells) for line, cells in rows), decimal, done)


def _read_rows(
    series: MeltSeries, rows: Iterable[tuple[Where, dict[str, str]]], decimal: DecimalMark | None, done: Collection[int]
) -> tuple[list[tuple[PlannedMelt, Where]], list[Problem]]:
    was, will_be = row_texts(earlier_cells(series)), row_texts(planned_cells(series))
    melts: list[tuple[PlannedMelt, Where]] = []
    problems: list[Problem] = []
    for where, cells in rows:
        faults: list[CellFault] = []
        numbers: dict[str, int] = {}
        settings: dict[str, Setting] = {}
        for column in ("melt", "firing", "order"):
            try:
                numbers[column] = read_whole(cells.get(column, ""), decimal)
            except CellFault as fault:
                faults.append(fault.under(column))
        unsaid = was if numbers.get("melt") in done else will_be
        for factor in series.factors:
            try:
                cell = cells.get(factor.name, unsaid.get(factor.name, ""))
                settings[factor.name] = read_setting(factor, cell, decimal)
            except CellFault as fault:
                faults.append(fault)
        try:
            purpose = read_text("purpose", cells.get("purpose", ""))
        except CellFault as fault:
            faults.append(fault)
        if faults:
            problems += [where.problem(fault.what, fault.mend) for fault in faults]
        else:
            melts.append((PlannedMelt(numbers["melt"], numbers["firing"], numbers["order"], settings, purpose), where))
    return melts, problems


def is_plan(series: MeltSeries, content: bytes) -> bool:
    """Whether every row can be read, whatever stands against the plan that they make."""
    try:
        return not _read_table(series, content)[1]
    except ProblemsFound:
        return False


def _plans(
    series: MeltSeries, events: Sequence[Event], done: Collection[int] = ()
) -> list[tuple[Event, tuple[PlannedMelt, ...]]]:
    """The plan events that still fit the series, oldest first."""
    found = []
    for event in events:
        if event.kind == "plan":
            rows = ((Where(JOURNAL_NAME, event.number), row_texts(row)) for row in event.data["melts"])
            melts, problems = _read_rows(series, rows, ".", done)
            if not problems:
                found.append((event, tuple(melt for melt, _ in melts)))
    return found


def last_plan(series: MeltSeries, events: Sequence[Event], done: Collection[int] = ()) -> tuple[PlannedMelt, ...]:
    """The melts of the journal's last plan that fits the series; none where there is no such plan."""
    plans = _plans(series, events, done)
    return plans[-1][1] if plans else ()


def read_plan(series: MeltSeries) -> Plan:
    """The plan of the series; nothing is written.

    A plan.csv that is an earlier plan to the byte was left by a command that was cut off, and the journal's plan
    counts; unless it was written since: then rows were deleted by hand.

    Raises
    ------
    ProblemsFound
        Where there is no plan, or every problem of plan.csv.
    """
    folder = series_folder(series)
    content = read_if_there(folder / PLAN_NAME)
    events = read_journal(folder / JOURNAL_NAME).events
    done = {key[0] for key in states(events, JOURNAL_NAME).last}
    plans = _plans(series, events, done)
    if content is None and not plans:
        raise ProblemsFound.single(PLAN_NAME, None, "does not exist", "draw one up with: meltdoe plan")
    held = [content is not None and _says(series, content, melts) for _, melts in plans]
    left_behind = any(held) and not held[-1] and not _written_since(folder / PLAN_NAME, plans[-1][0])
    melts = plans[-1][1] if content is None or left_behind else parse_plan(series, content, done)
    if not plans:
        return Plan(series, melts, design=_BY_HAND, seed=series.seed)
    data = plans[-1][0].data
    return Plan(series, melts, design=data["design"], reason=data["reason"], seed=data["seed"])


def _written_since(file: Path, event: Event) -> bool:
    """Whether a file is clearly younger than an event of the journal."""
    return file.stat().st_mtime > datetime.datetime.fromisoformat(event.time).timestamp() + _YOUNGER


def planned_melts(series: MeltSeries, events: Sequence[Event] | None = None) -> tuple[PlannedMelt, ...]:
    """The rows of the plan that can be read, for filling in what a record leaves unsaid; problems are passed over.

    Parameters
    ----------
    events : the journal's events where the caller has read them; its last plan stands in for a missing plan.csv.

    A plan that no longer keeps a range or limit changed since must not stop a melt from being recorded.
    """
    try:
        melts, _ = _read_table(series, read_bytes(series_folder(series) / PLAN_NAME))
    except ProblemsFound:
        if events is None:
            events = read_journal(series_folder(series) / JOURNAL_NAME).events
        return last_plan(series, events)
    return tuple(melt for melt, _ in melts)


def write_plan(series: MeltSeries, plan: Plan) -> Plan:
    """Write plan.csv, journal first. Rows of melts that are already in the log stay; all other old rows go.

    A plan.csv that was edited by hand is kept beside it under a name with the time, and that is told.

    Returns
    -------
    The plan as it now stands: the rows that stay, then the new melts, whose order of work follows on.

    Raises
    ------
    ProblemsFound
        Where the new plan would change a melt that is already in the log, or is not a sound plan; nothing is
        written then.
    """
    folder = series_folder(series)
    with locked(folder):
        reading = open_store(series)
        remove_leftovers(folder / PLAN_NAME)
        logged = {entry.melt for entry in reading.entries}
        stay = tuple(melt for melt in _old_melts(series, reading.journal.events, logged) if melt.melt in logged)
        new = _new_melts([_tidy(melt) for melt in plan.melts], stay, logged)
        whole = replace(plan, series=series, melts=(*stay, *new))
        where = Where(PLAN_NAME)
        problems = check_plan(series, [(melt, where) for melt in whole.melts], logged)
        if problems:
            raise ProblemsFound(problems)
        data = {
            "design": plan.design,
            "reason": plan.reason,
            "seed": int(plan.seed),
            "melts": [_row(melt) for melt in whole.melts],
        }
        reading, _ = settle_locked(series, reading)
        edited = _edited_by_hand(series, reading.journal.events)
        if edited:
            copy = keep_aside(folder / PLAN_NAME, edited)
            logging.getLogger("meltdoe").warning(
                "plan.csv said something else than the plan on record, and is kept as %s", copy.name
            )
        append_event(folder / JOURNAL_NAME, reading.journal, "plan", data)
        try:
            write_file(folder / PLAN_NAME, plan_text(series, whole.melts))
        except ProblemsFound as found:
            raise safe_all_the_same("the plan", found) from found
    return whole


def _edited_by_hand(series: MeltSeries, events: Sequence[Event]) -> bytes:
    """What plan.csv says where no plan of the journal says the same; empty where one does."""
    content = read_if_there(series_folder(series) / PLAN_NAME) or b""
    known = any(_says(series, content, melts) for _, melts in _plans(series, events))
    return b"" if known else content.strip() and content


def _says(series: MeltSeries, content: bytes, melts: Sequence[PlannedMelt]) -> bool:
    """Whether plan.csv holds this plan to the byte, with or without factors that came to the series later."""
    headings = content.partition(b"\n")[0].decode(errors="replace").split(",")
    earlier = earlier_cells(series).keys() - set(headings)
    return content == plan_text(series, melts, earlier).encode()


def _old_melts(series: MeltSeries, events: Sequence[Event], logged: Collection[int]) -> tuple[PlannedMelt, ...]:
    path = series_folder(series) / PLAN_NAME
    try:
        return parse_plan(series, read_bytes(path), logged)
    except ProblemsFound:  # missing or damaged by hand: the rows that must stay are in the journal
        return last_plan(series, events, logged)


def _new_melts(
    melts: Sequence[PlannedMelt], stay: Sequence[PlannedMelt], logged: Collection[int]
) -> tuple[PlannedMelt, ...]:
    """The melts that are not yet made, their order moved behind that of the rows that stay."""
    kept = {melt.melt: melt for melt in stay}
    new = [melt for melt in melts if melt.melt not in logged]
    for melt in melts:
        old = kept.get(melt.melt)
        if melt.melt in logged and (old is None or replace(melt, order=old.order, purpose=old.purpose) != old):
            raise ProblemsFound.single(
                PLAN_NAME,
                None,
                f"melt {melt.melt} is already in the log and cannot be planned anew",
                f"number the new melts from {max(logged) + 1}",
            )
    last = max((melt.order for melt in stay), default=0)
    shift = last if any(melt.order <= last for melt in new) else 0
    return tuple(replace(melt, order=melt.order + shift) for melt in new)
