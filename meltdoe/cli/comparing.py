"""`options`: plans side by side, before anything is bought."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from meltdoe.cli.console import hint, print_json, say, say_wrapped, table
from meltdoe.cli.options import HERE, Aliases, AsJson, ChancesShown, EffectShown, Folder, Seed, two_chances
from meltdoe.cli.progress import Progress

if TYPE_CHECKING:
    from meltdoe.plans.comparison import PlanComparison
    from meltdoe.plans.plans_to_compare import Asked

_WIDE = 80


def options(
    folder: Folder = HERE,
    series_played: Annotated[
        int,
        typer.Option(
            "--rehearsals", metavar="NUMBER", min=0, help="Whole series to simulate from each plan; takes a while."
        ),
    ] = 0,
    effect: EffectShown = 2.0,
    chance: ChancesShown = "0.2 to 0.8",
    days: Annotated[
        float, typer.Option("--days", metavar="NUMBER", min=0.1, help="Days that a firing takes, cooling included.")
    ] = 2.0,
    aliases: Aliases = False,
    workers: Annotated[
        int | None, typer.Option(metavar="NUMBER", min=1, help="Processes to use; by default all cores.")
    ] = None,
    seed: Seed = None,
    json: AsJson = False,
) -> None:
    """Compare plans before buying: what each costs and tells apart; with --rehearsals, how often it ends well.

    Example: meltdoe options obsidian-block
    """
    from meltdoe.report.plan_sentences import option_columns, option_note, option_row, rehearsal_note
    from meltdoe.steps import compare_plans, notice_edits, read_series

    chances = two_chances(chance)
    series = read_series(folder)
    notice_edits(series)
    with Progress("series", quiet=json) as progress:
        compared = compare_plans(
            series,
            rehearsals=series_played,
            seed=seed,
            effect=effect,
            chances_shown=chances,
            days_per_firing=days,
            workers=workers,
            tell=progress,
        )
    if json:
        print_json(_options_document(compared))
        return
    played = compared.options[0].rehearsal
    rows = [option_row(series, o, o.name == compared.recommended, bool(played)) for o in compared.options]
    say(*table(option_columns(series, bool(played)), rows))
    say_wrapped(f"{option_note(compared)} More: meltdoe explain plans, and meltdoe explain figures.")
    if compared.few:
        say_wrapped(f"No more than these, since {compared.few}.")
    if played:
        say_wrapped(rehearsal_note(compared))
    say("")
    for option in compared.options:
        say_wrapped(f"{option.name}: {option.choose_when}")
        mixed = option.aliased if aliases else option.aliased_briefly
        say_wrapped(f"{mixed[0].upper()}{mixed[1:]}.", "    ")
        say_wrapped(f"Plan with: {_options(option.asked)}", "    ")
    if not aliases and any(option.aliased != option.aliased_briefly for option in compared.options):
        say_wrapped("All that is mixed up is shown with --aliases.")
    for design, why in compared.left_out.items():
        say_wrapped(f"Not possible here: {design}: {why}")
    say("")
    say_wrapped(f"Recommended: {compared.recommended}; {compared.reason}")
    command = f"meltdoe plan {_options(compared.option(compared.recommended).asked)}"
    whole = f"    {hint(command)}"
    say(whole if len(whole) <= _WIDE else f"    {command}")
    if not played:
        say_wrapped(
            "Not rehearsed: --rehearsals 40 plays 40 whole series from each plan on the computer, which takes minutes."
        )


def _options(asked: Asked) -> str:
    """What to type behind ``meltdoe plan`` for a plan."""
    words = [f"--design {asked.design}"]
    words += [f"--melts {asked.melts}"] if asked.melts is not None else []
    words += [f"--criterion {asked.criterion}"] if asked.criterion else []
    words += [f"--hold {name}" for name in asked.hold]
    return " ".join(words)


def _options_document(compared: PlanComparison) -> dict[str, Any]:
    return {
        "options": [
            {
                "name": o.name,
                "design": o.design,
                "melts": o.melts,
                "firings": o.firings,
                "days": o.days,
                "cost": o.cost.total,
                "at_worst": o.at_worst,
                "power": o.power,
                "aliased": o.aliased,
                "choose_when": o.choose_when,
                "hold": o.asked.hold,
                "criterion": o.asked.criterion,
                "plan_with": _options(o.asked),
                "rehearsal": o.rehearsal,
            }
            for o in compared.options
        ],
        "recommended": compared.recommended,
        "reason": compared.reason,
        "left_out": compared.left_out,
        "few": compared.few,
        "effect": compared.effect,
        "chances": compared.chances_shown,
    }
