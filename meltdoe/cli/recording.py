"""`record`: what happened in a melt, put down, corrected, taken out or taken back."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from meltdoe.cli.bringing_in import bring_in
from meltdoe.cli.console import hint, print_json, say, warn
from meltdoe.cli.melt_questions import ask_for_melt
from meltdoe.cli.melt_rows import row_document, seen_phrase
from meltdoe.cli.options import HERE, AsJson, Folder
from meltdoe.errors import ProblemsFound, WrongUsage

if TYPE_CHECKING:
    from meltdoe.files.store.recording import RecordResult
    from meltdoe.log.melt_log import Entry
    from meltdoe.series.melt_series import MeltSeries


def record(
    folder: Folder = HERE,
    melt: Annotated[
        int | None, typer.Option(metavar="NUMBER", min=1, help="Number of the melt; left out, a melt outside the plan.")
    ] = None,
    settings: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="NAME=VALUE", help="An actual setting, or unknown; the rest is as planned."),
    ] = None,
    seen: Annotated[
        list[str] | None,
        typer.Option("--seen", metavar="NAME=VALUE", help="What was seen, or later, or lost. May be given again."),
    ] = None,
    firing: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", min=1, help="Number of the firing; left out, the plan's or the next."),
    ] = None,
    mould: Annotated[int, typer.Option(metavar="NUMBER", min=1, help="Which mould of the pour.")] = 1,
    date: Annotated[
        str | None, typer.Option(metavar="DATE", help="Day of the melt, such as 2026-11-25; today for a new melt.")
    ] = None,
    note: Annotated[str | None, typer.Option(metavar="TEXT", help="Anything odd.")] = None,
    correct: Annotated[
        bool, typer.Option("--correct", help="Replace what is on record; the journal keeps both.")
    ] = False,
    remove: Annotated[bool, typer.Option("--remove", help="Take the melt out of the log; give --reason.")] = False,
    undo: Annotated[bool, typer.Option("--undo", help="Take back the last change of the log.")] = False,
    reason: Annotated[
        str, typer.Option(metavar="TEXT", help="Why something is corrected, removed or taken back.")
    ] = "",
    table_file: Annotated[
        Path | None, typer.Option("--from", metavar="FILE", help="Bring in a table (CSV or .xlsx).")
    ] = None,
    preview: Annotated[bool, typer.Option("--preview", help="With --from: show what would be brought in.")] = False,
    columns: Annotated[
        list[str] | None,
        typer.Option("--column", metavar="HEADING=NAME", help="With --from: which column a heading stands for."),
    ] = None,
    as_shown: Annotated[
        bool, typer.Option("--as-shown", help="With --from: bring in also what had to be guessed, as it was shown.")
    ] = False,
    blank: Annotated[
        Literal["later", "lost"] | None,
        typer.Option(
            metavar="later|lost",
            help="With --from: what a blank is where the melt got so far; a blank setting is unknown then. "
            "Without it, blanks are asked about.",
        ),
    ] = None,
    json: AsJson = False,
) -> None:
    """Put down what happened in a melt, also when it failed half way; with no options, by questions.

    Example: meltdoe record my-series --melt 3 --set peak=1190 --seen contained=yes --seen poured=no
    """
    from meltdoe.files.store.recording import record_melt, remove_melt
    from meltdoe.files.store.recording import undo as take_back
    from meltdoe.steps import read_log, read_series

    _refuse_mixed(
        {"--from": table_file is not None, "--undo": undo, "--remove": remove},
        says=bool(settings or seen or note is not None or date or firing or correct),
        melt=melt is not None,
    )
    with_table = {"--preview": preview, "--column": bool(columns), "--as-shown": as_shown, "--blank": bool(blank)}
    if table_file is None and any(with_table.values()):
        alone = next(option for option, given in with_table.items() if given)
        raise WrongUsage(f"{alone} goes with --from, the table to bring in")
    if correct and melt is None:
        raise WrongUsage("--correct needs --melt, the number of the melt to correct")
    series = read_series(folder)
    if table_file is not None:
        told = name_pairs({"--column": columns}, kind="HEADING=NAME")
        bring_in(series, table_file, told, preview=preview, as_shown=as_shown, blank=blank, json=json)
        return
    log = read_log(series)
    if undo or remove:
        done = take_back(series, reason) if undo else remove_melt(series, melt or 0, reason)
        warn(*done.settled.lines(series))
        if json:
            print_json({"melt": melt, "undone": done.lines})
        else:
            say(*(f"Taken back: {line}" for line in done.lines))
        return
    circumstances = {c.name for c in series.circumstances}
    said = name_pairs({"--set": settings, "--seen": seen})
    if not said and melt is None and note is None:
        melt, said, note = ask_for_melt(series, log)
    if correct and not (said or note is not None or date or firing or reason):
        raise WrongUsage(f"nothing is said of what to correct; say it as in --melt {melt} --correct --seen NAME=VALUE")
    unknown = set(said) - circumstances - set(series.factor_names) - {o.name for o in series.outcomes}
    if unknown:
        _refuse_unknown(series, sorted(unknown)[0])
    _refuse_weighed(series, said)
    today = datetime.date.today()
    result = record_melt(
        series,
        melt,
        settings={k: v for k, v in said.items() if k in series.factor_names},
        seen={o.name: said[o.name] for o in series.outcomes if o.name in said},
        circumstances={k: v for k, v in said.items() if k in circumstances},
        note=note,
        date=date or (None if melt in log.melt_numbers else today),  # what is on record keeps its date
        firing=firing,
        mould=mould,
        correct=correct,
        reason=reason,
    )
    warn(*result.settled.lines(series))
    remarks = _remarks(series, read_log(series).entries, result, today)
    if json:
        row = row_document(series, result.entry)
        print_json({"melt": result.melt, "how": result.how, "row": row, "remarks": [hint(line) for line in remarks]})
    else:
        _say_recorded(series, result)
    warn(*(f"  {line}" for line in remarks))


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


def _refuse_unknown(series: MeltSeries, name: str) -> None:
    from meltdoe.log.column_match import nearest

    names = [*series.factor_names, *(o.name for o in series.outcomes), *(c.name for c in series.circumstances)]
    near = nearest(name, [*names, "note", "date", "firing"])
    mend = f"the names are {', '.join(names)}"
    if near is not None:
        mend = f'write "{near}"' if near in names else f"say it with --{near}"
    raise ProblemsFound.single("", None, f'"{name}" is no factor, outcome or circumstance of this series', mend)


def name_pairs(given: Mapping[str, list[str] | None], kind: str = "NAME=VALUE") -> dict[str, str]:
    """What stands behind options that are written NAME=VALUE, by name.

    Parameters
    ----------
    given : what was typed behind each option.
    kind : how it is written, for the person who wrote it otherwise.
    """
    pairs: dict[str, str] = {}
    for option, text in ((option, text) for option, texts in given.items() for text in texts or []):
        name, found, value = text.partition("=")
        if not found or not name.strip():
            raise WrongUsage(f'{option} takes {kind}, not "{text}"')
        if name.strip() in pairs:
            raise WrongUsage(f'"{name.strip()}" is given twice; give it once')
        pairs[name.strip()] = value.strip()
    return pairs


def _say_recorded(series: MeltSeries, result: RecordResult) -> None:
    words = {"new": "Recorded", "completed": "Completed", "corrected": "Corrected", "unchanged": "On record just so"}
    settings = series.show_all(result.entry.settings)
    say(f"{words[result.how]}: melt {result.melt}, firing {result.entry.firing}: {settings}")
    say(f"  {seen_phrase(series, result.entry)}", *(f"  {notice}" for notice in result.notices))
    if result.how != "new":
        say(*(f"  {change.show(series)}" for change in result.changes))
    if result.how == "unchanged" and result.event is not None:
        say(f"  nothing was changed; the reason is kept in the journal as event {result.event}")


def _refuse_weighed(series: MeltSeries, said: Mapping[str, str]) -> None:
    """Stop at what was typed of the weights, before it is put down, where nobody can read it."""
    from meltdoe.steps import refuse_weighed

    column = series.recipe.weighed if series.recipe else ""
    try:
        refuse_weighed(series, said.get(column, ""))
    except ValueError as fault:
        what, _, mend = str(fault).partition("; ")
        mend = mend or 'write it as "obsidian 640 g, soda ash 150 g"'
        raise ProblemsFound.single("", None, f"{column}: {what}", mend) from None


def _remarks(series: MeltSeries, entries: Sequence[Entry], result: RecordResult, today: datetime.date) -> list[str]:
    """What may be a slip in what was just said of a melt, with the command that mends it; `check` says it again."""
    from meltdoe.log.remarks import circumstance_remarks, entry_remarks, firing_remarks

    entry = result.entry
    changed = {change.column for change in result.changes if change.key == (entry.melt, entry.mould)}
    told = {*series.factor_names, "date"} if result.how == "new" else changed
    beside = [other for other in entries if other.firing == entry.firing and other.melt != entry.melt]
    told -= {  # said when the first melt of the firing was put down
        factor.name
        for factor in series.factors
        if factor.set_per == "firing"
        and any(o.settings.get(factor.name) == entry.settings.get(factor.name) for o in beside)
    }
    again = f"meltdoe record --melt {entry.melt}"
    slip = f"if that is a slip: {again} --correct"
    options = {"date": "--date YEAR-MONTH-DAY"}
    remarks = [
        f"{line}; {slip} {options['date'] if line.startswith('the date') else '--set NAME=VALUE'}"
        for line in (*entry_remarks(series, entry, today, told), *firing_remarks(series, entries, entry))
    ]
    remarks += [
        f"{name} is not said, and other melts have it; to add it: {again} --set {name}=VALUE"
        for name, blank in circumstance_remarks(series, entries)
        if entry.melt in blank
    ]
    return remarks
