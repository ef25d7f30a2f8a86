"""`rehearse`: whole series played on the computer."""

from __future__ import annotations

from typing import Annotated

import typer

from meltdoe.cli.console import print_json, say
from meltdoe.cli.options import HERE, AsJson, Folder, Seed


def rehearse(
    folder: Folder = HERE,
    policy: Annotated[str, typer.Option(help="plan: the plan, then stop. next: the plan, then melt by melt.")] = "plan",
    series_played: Annotated[int, typer.Option("--series", min=1, help="How many series to play.")] = 60,
    seed: Seed = None,
    json: AsJson = False,
) -> None:
    """Play whole series on the computer, against truths drawn from beliefs and melts so far.

    Example: meltdoe rehearse obsidian-block --series 40
    """
    from meltdoe.report.plan_sentences import rehearsal_sentences
    from meltdoe.steps import rehearse_folder

    played = rehearse_folder(folder, policy=policy, count=series_played, seed=seed)
    if json:
        print_json(played.document())
    else:
        say(*rehearsal_sentences(played))
