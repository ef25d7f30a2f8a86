"""`tour`, `begin` and `check`: from nothing to a series that holds together."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from meltdoe.cli.console import hint, print_json, say
from meltdoe.cli.options import HERE, AsJson, Folder
from meltdoe.errors import ExitCode, ProblemsFound

_TOUR = Path("meltdoe-tour")
_EXAMPLES = "obsidian-block, fill-and-surface, remelted-dish or six-old-attempts"


def tour(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where to put the copy; a new folder.")] = _TOUR,
    example: Annotated[
        str, typer.Option(metavar="EXAMPLE", help=f"Which example to walk through: {_EXAMPLES}.")
    ] = "obsidian-block",
    json: AsJson = False,
) -> None:
    """Copy an invented example into a folder and do the whole job on it, ending with the report.

    Example: meltdoe tour my-first-look
    """
    from meltdoe.tour import walk

    said = (lambda text: None) if json else say
    report = walk(folder, example, said)
    if json:
        print_json({"folder": folder, "report": report})
    else:
        say("", f"Report: {report}")


def begin(
    folder: Folder = HERE,
    example: Annotated[
        str | None,
        typer.Option("--from", metavar="EXAMPLE", help=f"Start from a copy of an example's series.toml: {_EXAMPLES}."),
    ] = None,
    json: AsJson = False,
) -> None:
    """Write a commented series.toml, by a few questions or from an example.

    Example: meltdoe begin my-series --from obsidian-block
    """
    from meltdoe.cli.begin_questions import ask_for_series
    from meltdoe.steps import begin_from_answers, begin_from_example, refuse_begun

    if example is None:
        refuse_begun(folder)  # before anything is asked
        made = begin_from_answers(folder, ask_for_series())
    else:
        made = begin_from_example(folder, example)
    if json:
        print_json({"folder": folder, "file": made})
    else:
        where = "" if folder == HERE else f" {folder}"
        say(f"Written: {made}", f"Open it in any editor, change what is not yours, then: meltdoe check{where}")


def check(
    folder: Folder = HERE,
    rebuild: Annotated[bool, typer.Option("--rebuild", help="Write log.csv afresh from the journal.")] = False,
    json: AsJson = False,
) -> None:
    """Check series, plan and log, and list every problem with how to mend it; only --rebuild writes anything.

    Example: meltdoe check obsidian-block
    """
    from meltdoe.steps import assumed, check_folder, not_checked, rebuild_log, remarks_on_log, waiting_edits

    rebuilt = rebuild_log(folder) if rebuild else ()
    problems, waiting, remarks = check_folder(folder), waiting_edits(folder), remarks_on_log(folder)
    if json:
        faults = [{"file": p.file, "line": p.line, "what": p.what, "mend": hint(p.mend)} for p in problems]
        print_json(
            {
                "problems": faults,
                "not_checked": not_checked(folder, problems),
                "waiting": waiting,
                "remarks": remarks,
                "assumed": assumed(folder),
                "rebuilt": rebuilt,
            }
        )
        if problems:
            raise typer.Exit(ExitCode.FILES)
        return
    say(*rebuilt)
    if problems:
        if unread := not_checked(folder, problems):
            say(f"Not checked yet, since series.toml comes first: {' and '.join(unread)}.")
        raise ProblemsFound(problems)
    say("Series, plan and log hold together.")
    if waiting:
        say("", "The next command that reads the log enters or mends this by itself:", *(f"  {w}" for w in waiting))
    if taken := assumed(folder):
        say("", "Taken for granted, since series.toml leaves it open:", *(f"  {line}" for line in taken))
    if remarks:
        say("", "Worth a second look:", *(f"  {remark}" for remark in remarks))
