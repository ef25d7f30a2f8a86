"""`options` and `plan`: everything that is settled before buying."""

from __future__ import annotations

from typing import Annotated

import typer

from meltdoe.cli.console import print_json, say, table
from meltdoe.cli.options import HERE, AsJson, Folder, Seed


def options(
    folder: Folder = HERE,
    series_played: Annotated[
        int, typer.Option("--rehearsals", min=0, help="Simulated series per plan; 0 for none.")
    ] = 12,
    seed: Seed = None,
    json: AsJson = False,
) -> None:
    """Compare plans before buying: what each costs, tells apart, and how often it ends with a setting that works.

    Example: meltdoe options obsidian-block
    """
    from meltdoe.report.plan_sentences import option_columns, option_row, rehearsal_note
    from meltdoe.steps import compare_plans, read_series

    series = read_series(folder)
    compared = compare_plans(series, rehearsals=series_played, seed=seed)
    if json:
        print_json(
            {
                "options": [
                    {
                        "name": o.name,
                        "design": o.design,
                        "melts": o.melts,
                        "firings": o.firings,
                        "cost": o.cost.total,
                        "power": o.power,
                        "aliased": o.aliased,
                        "choose_when": o.choose_when,
                        "rehearsal": o.rehearsal,
                    }
                    for o in compared.options
                ],
                "recommended": compared.recommended,
                "reason": compared.reason,
                "left_out": compared.left_out,
            }
        )
        return
    say(*table(option_columns(series), [option_row(series, o) for o in compared.options]))
    if compared.options[0].rehearsal:
        say(rehearsal_note(compared.options[0].rehearsal, series))
    say("")
    for option in compared.options:
        say(f"{option.name}: {option.choose_when}", f"  {option.aliased}")
    for design, why in compared.left_out.items():
        say(f"Not possible here: {design}: {why}")
    say("", f"Recommended: {compared.recommended}; {compared.reason}")


def plan(
    folder: Folder = HERE,
    design: Annotated[str, typer.Option(help="Pattern of the plan; auto lets the program choose.")] = "auto",
    melts: Annotated[int | None, typer.Option(min=1, help="How many melts, centre points not counted.")] = None,
    centre_points: Annotated[int, typer.Option(min=0, help="Melts in the middle of the ranges, added.")] = 0,
    seed: Seed = None,
    json: AsJson = False,
) -> None:
    """Draw up a plan and write plan.csv; melts already logged are kept and never overwritten.

    Example: meltdoe plan obsidian-block --design fraction --melts 8
    """
    from meltdoe.plans.assessment import assess
    from meltdoe.steps import draw_up_plan

    drawn, file = draw_up_plan(folder, design=design, melts=melts, centre_points=centre_points, seed=seed)
    judged = assess(drawn)
    if json:
        rows = [
            {"melt": m.melt, "firing": m.firing, "order": m.order, "settings": m.settings, "purpose": m.purpose}
            for m in drawn.melts
        ]
        print_json({"melts": rows, "design": drawn.design, "reason": drawn.reason, "seed": drawn.seed, "file": file})
        return
    series = drawn.series
    rows_shown = [
        [
            m.melt,
            m.firing,
            *(series.show({f.name: m.settings[f.name]}).removeprefix(f.name).strip() for f in series.factors),
        ]
        for m in drawn.melts
    ]
    say(*table(["melt", "firing", *series.factor_names], rows_shown), "", drawn.reason)
    say(*judged.sentences(), "", f"Written: {file}")
