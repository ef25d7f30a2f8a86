"""`sheets` and `log`: what goes to the bench, and what came back from it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from meltdoe.cli.console import hint, print_json, say, table
from meltdoe.cli.melt_rows import MELT_COLUMNS, melt_rows, row_document
from meltdoe.cli.options import HERE, AsJson, Folder
from meltdoe.wording import counted


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


def log(
    folder: Folder = HERE,
    workbook: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="Write it as a new .xlsx workbook with drop-downs.")
    ] = None,
    json: AsJson = False,
) -> None:
    """Show every melt so far, and the history of the log.

    Example: meltdoe log obsidian-block --to melts.xlsx
    """
    from meltdoe.files.store.recording import history
    from meltdoe.steps import read_log, read_series, remarks_on_log, write_workbook

    series = read_series(folder)
    made = read_log(series)
    file = None if workbook is None else write_workbook(folder, workbook)
    if json:
        rows = [row_document(series, entry) for entry in made.entries]
        print_json({"rows": rows, "history": history(series), "file": file})
        return
    if file is not None:
        say(f"Written: {file}")
        return
    words = {True: "good", False: "not good", None: "not known"}
    rows_shown = [
        [*row, words[made.succeeded(entry)]]
        for row, entry in zip(melt_rows(series, made.entries), made.entries, strict=True)
    ]
    if rows_shown:
        say(*table([*MELT_COLUMNS, "in all"], rows_shown), "")
    else:
        say("No melt is on record yet.")
    if remarks := remarks_on_log(folder):
        say(
            f"{counted(len(remarks), 'remark')} on these melts, such as a setting beyond its range; "
            f"to read {'it' if len(remarks) == 1 else 'them'}: {hint('meltdoe check')}",
            "",
        )
    say(*history(series))
