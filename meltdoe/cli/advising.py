"""`next`: what to do next, or why to stop."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from meltdoe.cli.analysis import best_document
from meltdoe.cli.console import print_json, say
from meltdoe.cli.options import HERE, AsJson, Folder, Seed

if TYPE_CHECKING:
    from meltdoe.next_melt.advice import Advice, Suggestion
    from meltdoe.series.melt_series import MeltSeries


def next_melt(
    folder: Folder = HERE,
    melts: Annotated[
        int | None, typer.Option(min=1, help="How many melts; by default as many as a firing holds.")
    ] = None,
    aim: Annotated[
        Literal["auto", "learn", "reach"],
        typer.Option(
            help="learn: which choices matter. reach: a setting that works. auto: moves from one to the other."
        ),
    ] = "auto",
    most_risk: Annotated[
        float | None, typer.Option(min=0, max=100, help="Highest chance of a costly failure, in per cent.")
    ] = None,
    seed: Seed = None,
    json: AsJson = False,
) -> None:
    """Propose the next melt or firing, with its reason, or say why to stop.

    Example: meltdoe next obsidian-block --melts 2
    """
    from meltdoe.report.advice_sentences import aim_sentence, why_not_another, why_this_melt, why_verdict
    from meltdoe.steps import advise

    series, advice = advise(
        folder, count=melts, aim=aim, most_risk=None if most_risk is None else most_risk / 100.0, seed=seed
    )
    if json:
        print_json(advice_document(series, advice))
        return
    say(f"{advice.verdict.word.upper()}: {why_verdict(series, advice)}", "")
    if advice.verdict.word == "stop":
        say("If you go on all the same:")
    else:
        say(aim_sentence(advice))
    for melt in advice.melts:
        say(f"Firing {melt.firing}: {series.show(melt.settings)}", f"  {why_this_melt(series, advice, melt)}")
    if melts is not None and melts > len(advice.melts):
        say(f"One firing holds {len(advice.melts)}; ask again once these are on record.")
    if most_risk is not None and any(100.0 * melt.risk > most_risk for melt in advice.melts):
        say(f"No setting keeps the chance of a costly failure at or below {most_risk:g} %.")
    say("", *why_not_another(series, advice))
    say(
        "",
        f"Best setting so far: {series.show(advice.best.settings)}",
        f"  chance of full success {100 * advice.best.chance:.0f} % "
        f"(between {100 * advice.best.low:.0f} % and {100 * advice.best.high:.0f} % "
        f"with {100 * advice.level:.0f} % probability).",
    )


def advice_document(series: MeltSeries, advice: Advice) -> dict[str, Any]:
    """Advice as the document that `--json` prints."""
    from meltdoe.report.advice_sentences import why_this_melt, why_verdict

    def melt(suggestion: Suggestion) -> dict[str, Any]:
        return {
            "settings": suggestion.settings,
            "firing": suggestion.firing,
            "chance": suggestion.chance,
            "low": suggestion.low,
            "high": suggestion.high,
            "information": suggestion.information,
            "gain": suggestion.gain,
            "cost": suggestion.cost,
            "risk": suggestion.risk,
        }

    return {
        "melts": [{**melt(m), "why": why_this_melt(series, advice, m)} for m in advice.melts],
        "best": best_document(advice.best),
        "runner_up": melt(advice.runner_up) if advice.runner_up else None,
        "safest": melt(advice.safest) if advice.safest else None,
        "advice": {
            "verdict": advice.verdict.word,
            "ending": advice.verdict.ending,
            "reason": why_verdict(series, advice),
            "reaches": advice.verdict.reaches,
            "reachable": advice.verdict.reachable,
        },
        "level": advice.level,
    }
