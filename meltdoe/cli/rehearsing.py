"""`rehearse`: whole series played on the computer."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from meltdoe.cli.console import print_json, say, table
from meltdoe.cli.options import HERE, AsJson, Folder, Seed
from meltdoe.cli.progress import Progress


def rehearse(
    folder: Folder = HERE,
    policy: Annotated[
        list[str] | None,
        typer.Option(
            metavar="POLICY",
            help="How melts are chosen: plan, follow-up, step-by-step, one-at-a-time, random, or all; may be repeated.",
        ),
    ] = None,
    series_played: Annotated[
        int, typer.Option("--series", metavar="NUMBER", min=1, help="How many series to play.")
    ] = 60,
    truth: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="File that states how the glass is supposed to behave; its form: meltdoe explain truth.",
        ),
    ] = None,
    from_beliefs: Annotated[
        bool, typer.Option("--from-beliefs", help="Begin with the first melt, as if nothing were melted yet.")
    ] = False,
    workers: Annotated[
        int | None, typer.Option(metavar="NUMBER", min=1, help="Processes to use; by default all cores.")
    ] = None,
    cluster: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Address of a running Dask cluster to use instead.")
    ] = None,
    seed: Seed = None,
    json: AsJson = False,
) -> None:
    """Play whole series on the computer, against truths drawn from beliefs and melts so far, or against a stated one.

    A rehearsal that was stopped goes on where it was when it is asked for again.

    Example: meltdoe rehearse obsidian-block --policy all --series 40
    """
    from meltdoe.report.rehearsal_sentences import policy_columns, policy_row, policy_sentences, rehearsal_sentences
    from meltdoe.steps import rehearse_folder

    with Progress("series", quiet=json) as progress:
        played = rehearse_folder(
            folder,
            policies=policy or ["plan"],
            count=series_played,
            seed=seed,
            truth=truth,
            from_beliefs=from_beliefs,
            workers=workers,
            cluster=cluster,
            tell=progress,
        )
    if json:
        first, *others = (one.document() for one in played)
        print_json({**first, "policies": [first, *others]} if others else first)
    elif len(played) == 1:
        say(*rehearsal_sentences(played[0]))
    else:
        say(*table(policy_columns(played[0].series), [policy_row(one) for one in played]), "")
        say(*policy_sentences(played))
