"""`record --from`: a table from elsewhere, shown before anything is written."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import typer

from meltdoe.cli.console import ask, can_ask, hint, print_json, say, table, warn
from meltdoe.cli.melt_rows import row_document, seen_phrase
from meltdoe.errors import ExitCode, Problem, ProblemsFound

if TYPE_CHECKING:
    from meltdoe.files.store.table_import import ImportResult
    from meltdoe.log.column_match import ColumnMatch
    from meltdoe.series.melt_series import MeltSeries

__all__ = ["bring_in"]

_COLUMNS = ["melt", "firing", "date", "settings", "seen", "note", "how"]
_BY = {"likeness": "likeness", "contents": "what stands below it"}  # these are guesses
_HOW = {"new": "new", "completed": "completed", "corrected": "corrected", "unchanged": "on record just so"}


def bring_in(
    series: MeltSeries,
    path: Path,
    told: Mapping[str, str],
    *,
    preview: bool,
    as_shown: bool,
    blank: Literal["later", "lost"] | None,
    json: bool,
) -> None:
    """Show what a table holds and how it is understood, then bring it in; nothing is written where it does not fit."""
    unsaid = blank or "ask"
    from meltdoe.files.store.settling import pending
    from meltdoe.files.store.table_import import import_table, preview_import
    from meltdoe.steps import read_log

    if preview:
        warn(*pending(series, briefly=True))
    else:
        read_log(series)
    result = preview_import(series, path, told, unsaid=unsaid)
    result = replace(result, problems=tuple(_with_option(problem, result.match) for problem in result.problems))
    guessed = () if preview or as_shown or result.problems else _guessed(result, told)
    problems = (*result.problems, *guessed)
    if not json:
        _show(series, result, blank)
        if guessed and can_ask():
            problems = () if ask("Bring it in like this? (yes or no)", "no").lower() in ("yes", "y") else problems
        if problems:
            say("Nothing was written, and nothing can be until this is settled:")
            raise ProblemsFound(problems)
    if not preview and not problems:
        result = import_table(series, path, told, unsaid=unsaid)
        warn(*result.settled.lines(series))
    if json:
        print_json(_document(series, result, problems, written=not preview and not problems))
        if problems:
            raise typer.Exit(ExitCode.USAGE if ProblemsFound(problems).typed else ExitCode.FILES)
        return
    count = len(result.entries)
    melts = f"{count} melt{'' if count == 1 else 's'}"
    say(f"{melts} would be brought in; nothing is written yet." if preview else f"{melts} brought in.")
    if not preview and count and series.budget.melts is not None:
        say(_budget_words(len(read_log(series).melt_numbers), series.budget.melts))


def _budget_words(made: int, budget: int) -> str:
    """What is left of the budget of melts, since people bring in old melts without thinking of it."""
    left = max(budget - made, 0)
    return (
        f"The budget of {budget} melts counts every melt of the series, these too: {made} made, {left or 'none'} left. "
        'If the old ones were paid for before, raise "melts" under [budget] in series.toml.'
    )


def _with_option(problem: Problem, match: ColumnMatch) -> Problem:
    """A question about a blank, with the option that answers all of them at once; first a heading that nothing took."""
    from meltdoe.log.draft import SAY_SETTING
    from meltdoe.log.entry import QUESTION

    if SAY_SETTING in problem.mend:
        free = [heading for heading in match.unmatched if heading]
        lacking = not any(problem.what.endswith(f" of {column.name}") for column in match.matched)
        first = f'if "{free[0]}" is meant by it: --column "{free[0]}=NAME"; ' if lacking and free else ""
        return replace(problem, mend=f"{problem.mend}; {first}for every such blank at once: --blank lost")
    if QUESTION in problem.mend:
        return replace(problem, mend=f"{problem.mend}; for every such blank at once: --blank later or --blank lost")
    return problem


def _guessed(result: ImportResult, told: Mapping[str, str]) -> tuple[Problem, ...]:
    """What of the mapping is a guess, and wants the user's word before it is written."""
    mend = "see whether that is meant, then repeat with --as-shown; or say --column HEADING=NAME"
    found = [
        Problem(
            result.source, None, f'the heading "{match.heading}" is taken for {match.name} by {_BY[match.way]}', mend
        )
        for match in result.match.matched
        if match.way in _BY
    ]
    found += [
        Problem(result.source, None, f'the heading "{heading}" stands for no column and goes into the note', mend)
        for heading in result.match.unmatched
        if heading and heading not in told
    ]
    return tuple(found)


def _show(series: MeltSeries, result: ImportResult, blank: str | None) -> None:
    """The mapping, and the rows as they would be put down; as the table says them where there are problems."""
    from meltdoe.log.remarks import log_remarks

    matched = [[m.heading, m.name, f"{m.way}{f', in {m.unit}' if m.unit else ''}"] for m in result.match.matched]
    unmatched = [[heading, "none: kept in the note", ""] for heading in result.match.unmatched if heading]
    say(*table(["heading in the table", "column of the log", "matched by"], [*matched, *unmatched]), "")
    if without := _without_column(series, result, blank or ""):
        say(f"No column for: {', '.join(without)}.", "")
    if unmatched:
        say(f'To match a heading: --column "{unmatched[0][0]}=NAME"; to leave it so: --column "{unmatched[0][0]}="', "")
    if result.problems and result.said:
        say(*(f"line {line}: {words}" for line, words in result.said), "")
        return
    rows = []
    for draft in result.drafts:
        for entry in draft.entries or ((draft.was,) if draft.how == "unchanged" and draft.was is not None else ()):
            settings, seen = series.show_all(entry.settings), seen_phrase(series, entry, briefly=True)
            rows.append(
                [entry.melt, entry.firing, entry.date or "", settings, seen, entry.note.split("\n")[0], _HOW[draft.how]]
            )
    if rows:
        say(*table(_COLUMNS, rows, widest=110), "")
    remarks = log_remarks(series, result.entries, datetime.date.today())
    if remarks:
        say("Worth a second look:", *(f"  {remark}" for remark in remarks), "")


def _without_column(series: MeltSeries, result: ImportResult, blank: str = "") -> list[str]:
    """Columns of the log that no heading stands for, with what becomes of them."""
    from meltdoe.log.entry import log_columns

    there = {match.name for match in result.match.matched}
    becomes = {"melt": "numbered on", "firing": "as planned, else one each", "date": "left blank", "mould": "1"}
    becomes |= dict.fromkeys(series.factor_names, f"as planned{', else unknown' if blank else ''}")
    becomes |= {outcome.name: f"{blank} where the melt got so far" for outcome in series.outcomes if blank}
    return [
        f"{name} ({becomes.get(name, 'left blank')})"
        for name in log_columns(series)
        if name not in there and name != "note"
    ]


def _document(
    series: MeltSeries, result: ImportResult, problems: tuple[Problem, ...], *, written: bool
) -> dict[str, Any]:
    return {
        "melt": [entry.melt for entry in result.entries],
        "columns": {m.heading: m.name for m in result.match.matched},
        "matched_by": {m.heading: m.way for m in result.match.matched},
        "without_column": _without_column(series, result),
        "unmatched": [heading for heading in result.match.unmatched if heading],
        "rows": [row_document(series, entry) for entry in result.entries],
        "written": written,
        "problems": [hint(problem) for problem in problems],
    }
