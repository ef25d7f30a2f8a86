"""`tour`, `begin` and `check`: from nothing to a series that holds together."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from meltdoe.cli.console import ask, hint, print_json, say, warn
from meltdoe.cli.options import HERE, AsJson, Folder
from meltdoe.errors import ExitCode, ProblemsFound

if TYPE_CHECKING:
    from meltdoe.files.series.series_answers import Answers

_TOUR = Path("meltdoe-tour")


def tour(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where to put the copy; a new folder.")] = _TOUR,
    example: Annotated[str, typer.Option(help="Which example to walk through.")] = "obsidian-block",
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
        str | None, typer.Option("--from", metavar="EXAMPLE", help="Start from a copy of an example's series.toml.")
    ] = None,
    json: AsJson = False,
) -> None:
    """Write a commented series.toml, by a few questions or from an example.

    Example: meltdoe begin my-series --from obsidian-block
    """
    from meltdoe.steps import begin_from_answers, begin_from_example

    made = begin_from_answers(folder, _answers()) if example is None else begin_from_example(folder, example)
    if json:
        print_json({"folder": folder, "file": made})
    else:
        where = "" if folder == HERE else f" {folder}"
        say(f"Written: {made}", f"Open it in any editor, change what is not yours, then: meltdoe check{where}")


_ANY = ("good_at_all",)  # stands in for the outcomes while the factors are asked for


def _answers() -> Answers:
    """The few questions, asked on standard error so that standard output stays clean; each answer is read at once."""
    from meltdoe.files.series.series_answers import Answers

    warn(
        "A few questions; everything can be changed later in series.toml.",
        'Factors are written like "flux 15 to 40 wt% step 1", "peak 1150 to 1250 °C per firing"',
        'or "packing: loose, firm".',
        'Outcomes are written in the order of the work: "contained" (yes or no), "fill: at least 95 %",',
        '"cracks: none, hairline | open, shattered" (best first; those before the | are good).',
    )
    title = ask("Title of the series?", "My series")
    goal = ask("What would you call a success, in one sentence?", "")
    factors = _several("A factor to vary (Enter ends the list)?", lambda told: Answers(title, told, _ANY, goal))
    outcomes = _several(
        "An outcome to look at (Enter ends the list)?", lambda told: Answers(title, factors, told, goal)
    )
    melts = _whole("How many melts can you afford at most?", "12")
    at_once = _whole("How many melts does one firing hold?", "1")
    while True:
        ceiling = ask('Ceiling of the kiln, with its unit (such as "1280 °C"; Enter leaves it open)?', "")
        answers = Answers(title, factors, outcomes, goal, melts, None, at_once, ceiling)
        if _understood(answers):
            return answers


def _understood(answers: Answers) -> bool:
    """Whether the answers so far make a series; says what is wrong with the last one where they do not."""
    from meltdoe.files.series.series_answers import text_from_answers

    try:
        text_from_answers(answers)
    except ProblemsFound as found:
        for problem in found.problems:
            what = problem.what.removeprefix("an answer: ")
            warn(f"  {what}; {problem.mend}" if what == problem.what else f"  {what}")
        return False
    return True


def _whole(question: str, default: str) -> int:
    while True:
        answer = ask(question, default)
        if answer.isdigit() and int(answer) > 0:
            return int(answer)
        warn("  Write a whole number above 0.")


def _several(question: str, so_far: Callable[[tuple[str, ...]], Answers]) -> tuple[str, ...]:
    phrases: tuple[str, ...] = ()
    while True:
        phrase = ask(question, "")
        if phrase and _understood(so_far((*phrases, phrase))):
            phrases = (*phrases, phrase)
        elif not phrase and phrases:
            return phrases
        elif not phrase:
            warn("  At least one is needed.")


def check(
    folder: Folder = HERE,
    rebuild: Annotated[bool, typer.Option("--rebuild", help="Write log.csv afresh from the journal.")] = False,
    json: AsJson = False,
) -> None:
    """Check series, plan and log, and list every problem with how to mend it; only --rebuild writes anything.

    Example: meltdoe check obsidian-block
    """
    from meltdoe.steps import check_folder, rebuild_log, remarks_on_log, waiting_edits

    rebuilt = rebuild_log(folder) if rebuild else ()
    problems, waiting, remarks = check_folder(folder), waiting_edits(folder), remarks_on_log(folder)
    if json:
        faults = [{"file": p.file, "line": p.line, "what": p.what, "mend": hint(p.mend)} for p in problems]
        print_json({"problems": faults, "waiting": waiting, "remarks": remarks, "rebuilt": rebuilt})
        if problems:
            raise typer.Exit(ExitCode.FILES)
        return
    say(*rebuilt)
    if problems:
        raise ProblemsFound(problems)
    say("Series, plan and log hold together.")
    if waiting:
        say("", "The next command that reads the log enters or mends this by itself:", *(f"  {w}" for w in waiting))
    if remarks:
        say("", "Worth a second look:", *(f"  {remark}" for remark in remarks))
