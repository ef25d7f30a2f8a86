"""`sheets`, `record` and `log`: at the bench, and after it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from meltdoe.cli.console import ask, print_json, say, table, warn
from meltdoe.cli.options import HERE, AsJson, Folder
from meltdoe.errors import ExitCode, ProblemsFound, WrongUsage

if TYPE_CHECKING:
    from meltdoe.files.log_csv import Settled
    from meltdoe.files.recording import RecordResult
    from meltdoe.files.table_import import ImportResult
    from meltdoe.log.melt_log import Entry
    from meltdoe.series.melt_series import MeltSeries


def sheets(folder: Folder = HERE, json: AsJson = False) -> None:
    """Write melt sheets to print and write on, one page a melt.

    Example: meltdoe sheets obsidian-block
    """
    from meltdoe.steps import write_sheets

    file = write_sheets(folder)
    if json:
        print_json({"file": file})
    else:
        say(f"Written: {file}", "Open it in a browser and print it.")


def record(
    folder: Folder = HERE,
    melt: Annotated[
        int | None, typer.Option(min=1, help="Number of the melt; left out, a melt outside the plan.")
    ] = None,
    settings: Annotated[
        list[str] | None, typer.Option("--set", metavar="NAME=VALUE", help="An actual setting; the rest is as planned.")
    ] = None,
    seen: Annotated[
        list[str] | None,
        typer.Option("--seen", metavar="NAME=VALUE", help="What was seen, or later, or lost. May be given again."),
    ] = None,
    firing: Annotated[
        int | None, typer.Option(min=1, help="Number of the firing; left out, the plan's or the next.")
    ] = None,
    mould: Annotated[int, typer.Option(min=1, help="Which mould of the pour.")] = 1,
    date: Annotated[str | None, typer.Option(help="Day of the melt, such as 2026-11-25; today for a new melt.")] = None,
    note: Annotated[str | None, typer.Option(help="Anything odd.")] = None,
    correct: Annotated[
        bool, typer.Option("--correct", help="Replace what is on record; the journal keeps both.")
    ] = False,
    remove: Annotated[bool, typer.Option("--remove", help="Take the melt out of the log; give --reason.")] = False,
    undo: Annotated[bool, typer.Option("--undo", help="Take back the last change of the log.")] = False,
    reason: Annotated[str, typer.Option(help="Why something is corrected, removed or taken back.")] = "",
    table_file: Annotated[
        Path | None, typer.Option("--from", metavar="FILE", help="Bring in a table (CSV or .xlsx).")
    ] = None,
    preview: Annotated[bool, typer.Option("--preview", help="With --from: show what would be brought in.")] = False,
    columns: Annotated[
        list[str] | None,
        typer.Option("--column", metavar="HEADING=NAME", help="With --from: which column a heading stands for."),
    ] = None,
    json: AsJson = False,
) -> None:
    """Put down what happened in a melt, also when it failed half way; with no options, by questions.

    Example: meltdoe record obsidian-block --melt 9 --set peak=1190 --seen contained=yes --seen poured=no
    """
    from meltdoe.files.recording import record_melt, remove_melt
    from meltdoe.files.recording import undo as take_back
    from meltdoe.steps import read_series

    _refuse_mixed(
        {"--from": table_file is not None, "--undo": undo, "--remove": remove},
        says=bool(settings or seen or note is not None or date or firing or correct),
        melt=melt is not None,
    )
    if table_file is None and (preview or columns):
        raise WrongUsage(f"{'--preview' if preview else '--column'} goes with --from, the table to bring in")
    if correct and melt is None:
        raise WrongUsage("--correct needs --melt, the number of the melt to correct")
    series = read_series(folder)
    if table_file is not None:
        _bring_in(series, table_file, _pairs("--column", columns), preview, json)
        return
    if undo or remove:
        done = take_back(series, reason) if undo else remove_melt(series, melt or 0, reason)
        _say_settled(series, done.settled)
        if json:
            print_json({"melt": melt, "undone": done.lines})
        else:
            say(*(f"Taken back: {line}" for line in done.lines))
        return
    circumstances = {c.name for c in series.circumstances}
    said = _pairs("--set and --seen", settings, seen)
    if not said and melt is None and note is None:
        melt, said, note = _by_questions(series)
    unknown = set(said) - circumstances - set(series.factor_names) - {o.name for o in series.outcomes}
    if unknown:
        _refuse_unknown(series, sorted(unknown)[0])
    result = record_melt(
        series,
        melt,
        settings={k: v for k, v in said.items() if k in series.factor_names},
        seen={o.name: said[o.name] for o in series.outcomes if o.name in said},
        circumstances={k: v for k, v in said.items() if k in circumstances},
        note=note,
        date=date or _today_for_new(series, melt),
        firing=firing,
        mould=mould,
        correct=correct,
        reason=reason,
    )
    _say_settled(series, result.settled)
    if json:
        print_json({"melt": result.melt, "how": result.how, "row": row_document(series, result.entry)})
    else:
        _say_recorded(series, result)


def _refuse_mixed(ways: dict[str, bool], *, says: bool, melt: bool) -> None:
    """One command does one thing: brings in a table, takes something back, or puts a melt down."""
    chosen = [option for option, given in ways.items() if given]
    if len(chosen) > 1:
        raise WrongUsage(f"{' and '.join(chosen)} cannot be given together; do one after the other")
    if chosen and says:
        raise WrongUsage(f"{chosen[0]} cannot be given together with what is said of a melt; do one after the other")
    if melt and chosen and chosen != ["--remove"]:
        raise WrongUsage(f"{chosen[0]} takes no --melt")
    if chosen == ["--remove"] and not melt:
        raise WrongUsage("--remove needs --melt, the number of the melt to take out")


def _today_for_new(series: MeltSeries, melt: int | None) -> str | None:
    """Today for a melt that is not on record yet; what is on record keeps its date."""
    import datetime

    from meltdoe.files.log_csv import read_log  # record_melt settles, and tells of it

    if melt is not None and melt in read_log(series).melt_numbers:
        return None
    return datetime.date.today().isoformat()


def _refuse_unknown(series: MeltSeries, name: str) -> None:
    from meltdoe.log.column_match import nearest

    names = [*series.factor_names, *(o.name for o in series.outcomes), *(c.name for c in series.circumstances)]
    near = nearest(name, names)
    hint = f'write "{near}"' if near else f"the names are {', '.join(names)}"
    raise ProblemsFound.single("record", None, f'"{name}" is no factor, outcome or circumstance of this series', hint)


def _pairs(option: str, *given: list[str] | None) -> dict[str, str]:
    pairs: dict[str, str] = {}
    for text in (text for texts in given for text in texts or []):
        name, found, value = text.partition("=")
        if not found or not name.strip():
            raise WrongUsage(f'{option} takes NAME=VALUE, not "{text}"')
        if name.strip() in pairs:
            raise WrongUsage(f'"{name.strip()}" is given twice; give it once')
        pairs[name.strip()] = value.strip()
    return pairs


def _by_questions(series: MeltSeries) -> tuple[int | None, dict[str, str], str | None]:
    """Ask for one melt: number, settings with the plan's as default, outcomes only as far as it got."""
    from meltdoe.files.log_csv import read_log
    from meltdoe.files.plan_csv import planned_melts
    from meltdoe.log.cell_words import read_circumstance, read_outcome, read_setting

    logged = read_log(series).melt_numbers
    plan = {m.melt: m for m in planned_melts(series)}
    waiting = [number for number in plan if number not in logged]
    answer = ask("Which melt? (Enter for one outside the plan)", str(waiting[0]) if waiting else "")
    if answer and not answer.isdigit():
        raise ProblemsFound.single("record", None, f'"{answer}" is no number of a melt', "write a whole number")
    melt = int(answer) if answer else None
    said: dict[str, str] = {}
    for factor in series.factors:
        planned = plan[melt].settings[factor.name] if melt in plan else None
        default = None if planned is None else f"{planned:g}" if isinstance(planned, float) else planned
        value = _asked(
            f"{factor.title}{f' in {u}' if (u := getattr(factor, 'unit', '')) else ''}?",
            default,
            lambda t, f=factor: read_setting(f, t),
        )
        if value != (default or ""):
            said[factor.name] = value
    warn('For an outcome write what was seen, or "later" (not known yet), or "lost" (nobody looked).')
    good: dict[str, bool] = {}
    for outcome in series.outcomes:
        if outcome.after is not None and not good.get(outcome.after, False):
            good[outcome.name] = False
            continue
        words = {"pass": "yes or no", "grade": ", ".join(outcome.grades), "measured": outcome.unit or "a number"}
        text = _asked(f"{outcome.title} ({words[outcome.kind]})", None, lambda t, o=outcome: read_outcome(o, t))
        said[outcome.name] = text
        good[outcome.name] = outcome.is_good(read_outcome(outcome, text)) is True
    for circumstance in series.circumstances:
        value = _asked(
            f"{circumstance.label or circumstance.name}? (Enter leaves it out)",
            "",
            lambda t, c=circumstance: read_circumstance(c, t),
        )
        if value:
            said[circumstance.name] = value
    return melt, said, ask("Anything odd? (Enter for nothing)", "") or None


def _asked(question: str, default: str | None, understood: Any) -> str:
    while True:
        answer = ask(question, default)
        try:
            understood(answer)
        except ValueError as fault:
            warn(f"  {fault}")
        else:
            return answer


def _bring_in(series: MeltSeries, path: Path, told: dict[str, str], preview: bool, json: bool) -> None:
    from meltdoe.files.table_import import import_table, preview_import

    result = preview_import(series, path, told) if preview else import_table(series, path, told)
    _say_settled(series, result.settled)
    if json:
        print_json(_import_document(series, result, preview))
        if result.problems:
            raise typer.Exit(ExitCode.FILES)
        return
    matched = [[m.heading, m.name] for m in result.match.matched]
    say(*table(["heading in the table", "column of the log"], matched))
    if result.match.unmatched:
        say(f"Kept in the note: {', '.join(str(heading) for heading in result.match.unmatched)}")
    if preview:
        say(f"{len(result.entries)} melts would be brought in; nothing is written yet.")
        if result.problems:
            raise ProblemsFound(result.problems)
    else:
        say(f"{len(result.entries)} melts brought in.")


def _import_document(series: MeltSeries, result: ImportResult, preview: bool) -> dict[str, Any]:
    return {
        "melt": [entry.melt for entry in result.entries],
        "columns": {m.heading: m.name for m in result.match.matched},
        "rows": [row_document(series, entry) for entry in result.entries],
        "written": not preview,
        "problems": [str(problem) for problem in result.problems],
    }


def row_document(series: MeltSeries, entry: Entry) -> dict[str, Any]:
    """A row of the log as JSON; outcomes as people write them."""
    from meltdoe.series.outcome import Unseen

    return {
        "melt": entry.melt,
        "mould": entry.mould,
        "firing": entry.firing,
        "date": entry.date.isoformat() if entry.date else None,
        "settings": entry.settings,
        "seen": {o.name: o.show(entry.seen.get(o.name, Unseen.NOT_REACHED)) for o in series.outcomes},
        "circumstances": entry.circumstances,
        "note": entry.note,
    }


def _say_recorded(series: MeltSeries, result: RecordResult) -> None:
    words = {"new": "Recorded", "completed": "Completed", "corrected": "Corrected", "unchanged": "On record just so"}
    row = row_document(series, result.entry)
    seen = ", ".join(f"{name} {text or 'not reached'}" for name, text in row["seen"].items())
    say(f"{words[result.how]}: melt {result.melt}, firing {result.entry.firing}: {series.show(result.entry.settings)}")
    say(f"  {seen}", *(f"  {notice}" for notice in result.notices))
    if result.how != "new":
        say(*(f"  {change.show(series)}" for change in result.changes))
    for line in outside_ranges(series, result.entry):
        warn(f"  {line}; if that is a slip: meltdoe record --melt {result.melt} --correct --set NAME=VALUE")


def outside_ranges(series: MeltSeries, entry: Entry) -> list[str]:
    """Actual settings outside the range of their factor: a kiln may overshoot, but it may also be a slip of the pen."""
    from meltdoe.series.factor import Amount

    said = []
    for factor in series.factors:
        if isinstance(factor, Amount):
            value = float(entry.settings[factor.name])
            if not factor.low <= value <= factor.high:
                said.append(f"{series.show({factor.name: value})} lies outside {factor.low:g} to {factor.high:g}")
    return said


def _say_settled(series: MeltSeries, settled: Settled) -> None:
    if settled.changes:
        warn("Edits found in log.csv and entered in the journal:", *(f"  {c.show(series)}" for c in settled.changes))


def log(
    folder: Folder = HERE,
    workbook: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="Also write it as an .xlsx workbook with drop-downs.")
    ] = None,
    json: AsJson = False,
) -> None:
    """Show every melt so far, and the history of the log.

    Example: meltdoe log obsidian-block --to melts.xlsx
    """
    from meltdoe.files.recording import history
    from meltdoe.steps import read_log, read_series, write_workbook

    series = read_series(folder)
    made = read_log(series)
    file = None if workbook is None else write_workbook(folder, workbook)
    if json:
        rows = [row_document(series, entry) for entry in made.entries]
        print_json({"rows": rows, "history": history(series), "file": file})
        return
    if file is not None:
        say(f"Written: {file}")
    words = {True: "good", False: "not good", None: "not known"}
    rows_shown = []
    for entry in made.entries:
        seen = ", ".join(f"{name} {text}" for name, text in row_document(series, entry)["seen"].items() if text)
        rows_shown.append([entry.melt, entry.firing, series.show(entry.settings), seen, words[made.succeeded(entry)]])
    if rows_shown:
        say(*table(["melt", "firing", "settings", "seen", "in all"], rows_shown), "")
    else:
        say("No melt is on record yet.")
    say(*history(series))
