"""`analyse` and `next`: what the melts so far mean, and what to do next."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from meltdoe.cli.console import print_json, say, table
from meltdoe.cli.options import HERE, AsJson, Folder, Seed

if TYPE_CHECKING:
    from meltdoe.fit.best_setting import BestSetting
    from meltdoe.fit.effects import Effect
    from meltdoe.fit.influence import MeltInfluence
    from meltdoe.fit.learning import Learning
    from meltdoe.fit.stage_chain import ChainFit
    from meltdoe.next_melt.advice import Advice, Suggestion
    from meltdoe.series.melt_series import MeltSeries


def analyse(
    folder: Folder = HERE,
    level: Annotated[float, typer.Option(min=50, max=99.9, help="Level of the intervals, in per cent.")] = 90.0,
    figures: Annotated[
        bool, typer.Option("--figures/--no-figures", help="Write the figures beside the series.")
    ] = True,
    checks: Annotated[
        bool,
        typer.Option(
            "--checks/--no-checks",
            help="Also judge past predictions, drift and beliefs: fits the series many times over.",
        ),
    ] = False,
    seed: Seed = None,
    json: AsJson = False,
) -> None:
    """Fit every outcome: which choices mattered, how sure, and what to expect.

    Example: meltdoe analyse obsidian-block --level 80
    """
    from meltdoe.fit.learning import learning
    from meltdoe.report.learning_sentences import learning_passages
    from meltdoe.report.sentences import best_sentence, risk_sentence, stage_sentences
    from meltdoe.steps import fit_folder, write_figures

    chain = fit_folder(folder, seed=seed, level=level / 100.0)
    best = chain.best()
    found = learning(chain, best, refits=checks)
    files = write_figures(chain) if figures else ()
    if json:
        print_json({**analysis_document(chain, best, found), "figures": files})
        return
    say(f"{chain.series.title}: {len(chain.log.melt_numbers)} melts", "")
    for stage in chain.stages:
        say(*stage_sentences(stage), "")
        rows = [row for effect in stage.effects if (row := effect_row(effect)) is not None]
        if rows:
            say(*table(EFFECT_COLUMNS, rows), f"  ({stage.classical.method or 'no classical fit'})", "")
    say(best_sentence(chain, best), risk_sentence(chain, best))
    planned = planned_chance(chain)
    if planned is not None:
        say(planned)
    for passage in learning_passages(chain, found):
        say("", f"{passage.title}:", *(f"  {sentence}" for sentence in passage.sentences))
    if files:
        say("", f"Figures: {files[0].parent} ({len(files)} files)")


EFFECT_COLUMNS = ["change", "chance from", "to", "difference", "matters", "classical estimate"]


def effect_row(effect: Effect) -> list[str] | None:
    """One effect as a row under `EFFECT_COLUMNS`; None where the melts cannot tell it apart."""
    if not effect.estimable:
        return None
    difference = "-"
    if effect.change_low is not None and effect.change_high is not None:
        difference = f"{100 * effect.change_low:+.0f} to {100 * effect.change_high:+.0f} points"
    elif effect.value_low is not None and effect.value_high is not None:
        difference = f"{effect.value_low:+.3g} to {effect.value_high:+.3g}"
    estimate = "-"
    if effect.estimate is not None and effect.low is not None and effect.high is not None:
        estimate = f"{effect.estimate:+.2f} ({_limit(effect.low)} to {_limit(effect.high)})"
    return [
        effect.label,
        "-" if effect.chance_from is None else f"{100 * effect.chance_from:.0f} %",
        "-" if effect.chance_to is None else f"{100 * effect.chance_to:.0f} %",
        difference,
        "-" if effect.inclusion is None else f"{100 * effect.inclusion:.0f} %",
        estimate,
    ]


def _limit(value: float) -> str:
    return f"{value:+.2f}" if math.isfinite(value) else "no limit"


def planned_chance(chain: ChainFit) -> str | None:
    """The best and worst of the planned settings; None without a plan or a judged outcome."""
    from meltdoe.steps import plan_or_none

    plan = plan_or_none(chain.series)
    if plan is None or not any(stage.outcome.counts for stage in chain.stages):
        return None
    chance = chain.chance(plan.raw)
    top = int(chance.mean.argmax())
    low = int(chance.mean.argmin())
    return (
        f"Of the {len(plan.melts)} planned settings, melt {plan.melts[top].melt} has the best chance of full success, "
        f"{100 * chance.mean[top]:.0f} % ({100 * chance.low[top]:.0f} % to {100 * chance.high[top]:.0f} %), and melt "
        f"{plan.melts[low].melt} the worst, {100 * chance.mean[low]:.0f} %."
    )


def analysis_document(chain: ChainFit, best: BestSetting, found: Learning) -> dict[str, Any]:
    """A fitted chain and what else was learnt as the document that `--json` prints."""
    from dataclasses import asdict

    from meltdoe.report.learning_sentences import learning_passages
    from meltdoe.report.sentences import chain_sentences, stage_sentences

    outcomes = {}
    for stage in chain.stages:
        outcomes[stage.outcome.name] = {
            "effects": [{**asdict(effect), "term": str(effect.term)} for effect in stage.effects],
            "fit": {
                "method": stage.classical.method,
                "why_not": stage.classical.why_not,
                "seen": stage.n_seen,
                "good": stage.n_good,
                "terms": [str(term) for term in stage.terms],
                "split": stage.separation.sentence if stage.separation else None,
            },
            "thresholds": [asdict(one) for one in found.stages[stage.outcome.name].thresholds],
            "sentences": stage_sentences(stage),
        }
    return {
        "outcomes": outcomes,
        "best": best_document(best),
        "sentences": chain_sentences(chain, best),
        "checks": [{"about": one.title, "sentences": one.sentences} for one in learning_passages(chain, found)],
        "without_melt": [influence_document(one) for one in found.influence.melts] if found.influence else [],
        "level": chain.level,
    }


def influence_document(one: MeltInfluence) -> dict[str, Any]:
    """What would be recommended without one melt, as JSON."""
    return {
        "melt": one.melt,
        "best": best_document(one.best),
        "chance_at_present_best": one.chance_at_present_best,
        "other_setting": one.other_setting,
        "verdict_changes": one.verdict_changes,
    }


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


def best_document(best: BestSetting) -> dict[str, Any]:
    """The best setting as JSON."""
    return {"settings": best.settings, "chance": best.chance, "low": best.low, "high": best.high}
