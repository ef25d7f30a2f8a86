"""`next`: what to do next, or why to stop."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from meltdoe.cli.analysis import best_document
from meltdoe.cli.console import hint, print_json, say
from meltdoe.cli.options import HERE, AsJson, Folder, Seed
from meltdoe.errors import WrongUsage

if TYPE_CHECKING:
    from meltdoe.next_melt.advice import Advice, Suggestion
    from meltdoe.plans.melt_plan import PlannedMelt
    from meltdoe.series.melt_series import MeltSeries


def next_melt(
    folder: Folder = HERE,
    melts: Annotated[
        int | None, typer.Option(metavar="NUMBER", min=1, help="How many melts; by default as many as a firing holds.")
    ] = None,
    aim: Annotated[
        Literal["auto", "learn", "reach"],
        typer.Option(
            metavar="auto|learn|reach",
            help="learn: which choices matter. reach: a setting that works. auto: moves from one to the other.",
        ),
    ] = "auto",
    most_risk: Annotated[
        float | None,
        typer.Option(metavar="NUMBER", min=0, max=100, help="Highest chance of a costly failure, in per cent."),
    ] = None,
    take_up: Annotated[
        bool, typer.Option("--add-to-plan", help="Put these melts into plan.csv, for sheets, buy and record.")
    ] = False,
    confirm: Annotated[
        bool,
        typer.Option("--confirm", help="With --add-to-plan: melts at the best setting, to confirm it, as it stands."),
    ] = False,
    seed: Seed = None,
    json: AsJson = False,
) -> None:
    """Propose the next melt or firing, with its reason, or say why to stop.

    Example: meltdoe next obsidian-block --melts 2
    """
    from meltdoe.fit.stages.phrases import capital, interval_phrase, percent
    from meltdoe.report.advice_sentences import (
        best_words,
        firing_words,
        heading,
        why_not_another,
        why_this_melt,
        why_verdict,
    )
    from meltdoe.report.outlook_sentences import (
        bound_sentences,
        forecast_sentence,
        moving_sentences,
        result_sentences,
        thin_sentences,
    )
    from meltdoe.steps import add_to_plan, advise, pour_remarks

    if confirm and not take_up:
        raise WrongUsage("--confirm goes with --add-to-plan: it puts melts at the best setting into the plan")
    series, advice = advise(
        folder, count=melts, aim=aim, most_risk=None if most_risk is None else most_risk / 100.0, seed=seed
    )
    added = add_to_plan(series, advice, melts, confirm=confirm) if take_up else ()
    by_glass = pour_remarks(series, [melt.settings for melt in advice.melts])
    if json:
        more = {"added": [melt.melt for melt in added], "by_glass": list(by_glass)}
        print_json({**advice_document(series, advice), **more})
        return
    say(f"{heading(advice)}: {why_verdict(series, advice)}")
    if forecast := forecast_sentence(series, advice):
        say(forecast)
    _say_under("What would have to move:", moving_sentences(series, advice))
    say("", _before_melts(advice), *bound_sentences(series, advice))
    for melt, against in zip(advice.melts, by_glass, strict=True):
        say(f"{firing_words(advice, melt)}: {series.show(melt.settings)}", f"  {why_this_melt(series, advice, melt)}")
        if against:
            say(f"  {against}")
    if advice.verdict.word == "go on":
        _say_under("Why not another:", why_not_another(series, advice))
        _say_under("What the first of these melts would lead you to believe:", result_sentences(series, advice))
        _say_under("Where least is known:", thin_sentences(series, advice))
    best = advice.best
    say(
        "",
        f"{capital(best_words(advice))}: {series.show(best.settings)}",
        f"  chance of full success {percent(best.chance)} ({interval_phrase(best.low, best.high, advice.level)}).",
    )
    say("", *(hint(line) for line in _put_down(series, advice, added, take_up)))


def _put_down(series: MeltSeries, advice: Advice, added: Sequence[PlannedMelt], take_up: bool) -> list[str]:
    """How the proposal is taken up, and put down once it is melted."""
    from meltdoe.next_melt.stopping import confirmation_melts

    if added:
        return [
            f"In the plan now: {series.show(melt.settings)} as melt {melt.melt}, firing {melt.firing}."
            for melt in added
        ] + [f"{_over(advice, added)}Once melted: meltdoe record --melt {added[0].melt} --seen NAME=VALUE"]
    if take_up and advice.verdict.ending != "reached" and not advice.follows_plan:
        return ["These melts are in the plan already, still to be made."]
    if advice.verdict.ending == "reached" and advice.unmade is not None and advice.unmade.to_confirm:
        number = advice.unmade.to_confirm[0]
        said = f"Melt {number} of the plan is to confirm this."
        return [f"{said} Once melted: meltdoe record --melt {number} --seen NAME=VALUE"]
    if advice.follows_plan and advice.verdict.ending != "reached":
        already = "These melts are in the plan already; to repeat the best setting: --confirm. " if take_up else ""
        return [f"{already}Once melted: meltdoe record --melt {advice.melts[0].planned} --seen NAME=VALUE"]
    if advice.confirmed is not None and advice.confirmed.needed == 0:
        return ["What is left: meltdoe report"]
    into = "go into the plan, for their sheets and their record, with: meltdoe next --add-to-plan"
    if advice.verdict.ending != "reached":
        return [f"These melts {into}"]
    needed = confirmation_melts(series.target_chance) if advice.confirmed is None else advice.confirmed.needed
    return [f"Melts to confirm the best setting {into} --melts {needed}"]


def _over(advice: Advice, added: Sequence[PlannedMelt]) -> str:
    """That more is planned now than the budget has left; empty where it is not."""
    planned = len(added) + (len(advice.unmade.melts) if advice.unmade is not None else 0)
    if advice.left.melts is None or planned <= advice.left.melts:
        return ""
    return f"The budget has {advice.left.melts or 'no'} melts left, and up to {planned} are planned now. "


def _before_melts(advice: Advice) -> str:
    from meltdoe.report.advice_sentences import aim_sentence

    if advice.prospect is not None and advice.prospect.sight == "out of sight":
        return f"If you go on all the same: {aim_sentence(advice)}"
    if advice.verdict.word == "go on":
        return aim_sentence(advice)
    return "If you go on all the same, beyond the budget:" if advice.spent else "If you go on all the same:"


def _say_under(heading: str, lines: list[str]) -> None:
    if lines:
        say("", heading, *(f"  {line}" for line in lines))


def advice_document(series: MeltSeries, advice: Advice) -> dict[str, Any]:
    """Advice as the document that `--json` prints; information in nats."""
    from meltdoe.report.advice_sentences import why_not_another, why_this_melt, why_verdict
    from meltdoe.report.outlook_sentences import bound_sentences, moving_sentences

    def melt(suggestion: Suggestion) -> dict[str, Any]:
        return {
            "settings": suggestion.settings,
            "firing": None if advice.left.firings == 0 else suggestion.firing,
            "planned": suggestion.planned,
            "chance": suggestion.chance,
            "low": suggestion.low,
            "high": suggestion.high,
            "information": suggestion.information,
            "share_by_outcome": suggestion.share_by_stage,
            "gain": suggestion.gain,
            "cost": suggestion.cost,
            "risk": suggestion.risk,
            "repeats": suggestion.repeats,
        }

    results = [
        {
            "failed": way.failed,
            "chance": way.chance,
            "best": way.best,
            "best_chance": way.best_chance,
            "reaches": way.reaches,
            "best_moves": way.moves,
        }
        for way in advice.results
    ]
    thin = [
        {
            "factor": spot.factor,
            "at": _setting(series, spot.factor, spot.at),
            "width": spot.width,
            "least_width": spot.least_width,
            "least_width_at": _setting(series, spot.factor, spot.known_best_at),
            "melts_near": spot.melts_near,
        }
        for spot in advice.thin
    ]
    plan, planned = advice.planned, None
    if advice.unmade is not None and plan is not None:
        planned = {
            **asdict(advice.unmade),
            "followed": plan.followed,
            "share": plan.share,
            "share_error": plan.error,
            "broken_limits": plan.broken,
            "too_risky": plan.too_risky,
            "next": [melt(m) for m in plan.melts],
        }
    return {
        "melts": [{**melt(m), "why": why_this_melt(series, advice, m)} for m in advice.melts],
        "best": best_document(advice.best),
        "runner_up": melt(advice.runner_up) if advice.runner_up else None,
        "safest": melt(advice.safest) if advice.safest else None,
        "why_not_another": why_not_another(series, advice),
        "results": results,
        "thin": thin,
        "planned": planned,
        "said": bound_sentences(series, advice),
        "advice": {
            "verdict": advice.verdict.word,
            "ending": advice.verdict.ending,
            "reason": why_verdict(series, advice),
            "aim": advice.aim,
            "learn_weight": advice.learn_weight,
            "reaches": advice.verdict.reaches,
            "reachable": advice.verdict.reachable,
            "last_try": advice.verdict.last_try,
            "spent": advice.verdict.spent,
            "left": asdict(advice.left),
            "room": asdict(advice.room),
            "forecast": None if advice.forecast is None else asdict(advice.forecast),
            "prospect": None if advice.prospect is None else asdict(advice.prospect),
            "would_have_to_move": moving_sentences(series, advice),
            "confirmed": None if advice.confirmed is None else asdict(advice.confirmed),
            "confirmation": None if advice.confirmation is None else asdict(advice.confirmation),
            "moves": [asdict(move) for move in advice.moves],
        },
        "level": advice.level,
    }


def _setting(series: MeltSeries, name: str, raw: float) -> float | str:
    """A raw value as a setting: the number of an amount, the option of any other factor."""
    factor = series.factor(name)
    return raw if factor.kind == "amount" else factor.show(raw)
