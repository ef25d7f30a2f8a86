"""`analyse`: what the melts so far mean."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from meltdoe.cli.console import print_json, say, table, warn
from meltdoe.cli.options import HERE, AsJson, Folder, Seed
from meltdoe.errors import ProblemsFound

if TYPE_CHECKING:
    from meltdoe.fit.checks.influence import MeltInfluence
    from meltdoe.fit.learning import Learning
    from meltdoe.fit.stages.best_setting import BestSetting
    from meltdoe.fit.stages.effects import Effect
    from meltdoe.fit.stages.stage_chain import ChainFit


def analyse(
    folder: Folder = HERE,
    level: Annotated[
        float, typer.Option(metavar="NUMBER", min=50, max=99.9, help="Level of the intervals, in per cent.")
    ] = 90.0,
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
    planned = planned_chance(chain)  # before anything is said: a broken plan.csv stops here
    files: tuple[Path, ...] = ()
    if figures:
        try:
            files = write_figures(chain)
        except ProblemsFound as unwritten:  # a read-only folder is analysed all the same
            warn("The figures could not be written:", *(f"  {problem}" for problem in unwritten.problems))
    if json:
        print_json({**analysis_document(chain, best, found), "figures": files})
        return
    made = len(chain.log.melt_numbers)
    said = f"{made} melt{'s' * (made != 1)}" if made else "no melt yet; chances are what was assumed beforehand"
    say(f"{chain.series.title}: {said}", "")
    for stage in chain.stages:
        say(*stage_sentences(stage), "")
        rows = [row for effect in stage.effects if (row := effect_row(effect)) is not None]
        if rows:
            way = stage.classical.method.partition(";")[0]  # why anything was left out is among the sentences
            say(*table(EFFECT_COLUMNS, rows), f"  ({way or 'no classical fit'})", "")
    say(best_sentence(chain, best), risk_sentence(chain, best))
    if planned is not None:
        say(planned)
    say("What these words mean: meltdoe explain chance, meltdoe explain matters, meltdoe explain split.")
    for passage in learning_passages(chain, found):
        say("", f"{passage.title}:", *(f"  {sentence}" for sentence in passage.sentences))
    if files:
        say("", f"Figures: {files[0].parent} ({len(files)} files)")


EFFECT_COLUMNS = ["change", "chance from", "to", "difference", "matters", "classical estimate"]


def effect_row(effect: Effect) -> list[str] | None:
    """One effect as a row under `EFFECT_COLUMNS`; None where the melts cannot tell it apart."""
    from meltdoe.fit.stages.phrases import measure, percent, points
    from meltdoe.report.tables import times

    if not effect.estimable:
        return None
    difference = "-"
    if effect.change_low is not None and effect.change_high is not None:
        difference = f"{points(effect.change_low)} to {points(effect.change_high)} points"
    elif effect.value_low is not None and effect.value_high is not None:
        difference = f"{measure(effect.value_low, sign=True)} to {measure(effect.value_high, sign=True)}"
    estimate = "-"
    if effect.estimate is not None and effect.low is not None and effect.high is not None:
        estimate = f"{effect.estimate:+.2f} ({_limit(effect.low)} to {_limit(effect.high)})"
    return [
        times(effect.label),
        "-" if effect.chance_from is None else percent(effect.chance_from),
        "-" if effect.chance_to is None else percent(effect.chance_to),
        difference,
        "-" if effect.inclusion is None else f"{100 * effect.inclusion:.0f} %",
        estimate,
    ]


def _limit(value: float) -> str:
    return f"{value:+.2f}" if math.isfinite(value) else "no limit"


def planned_chance(chain: ChainFit) -> str | None:
    """The best and worst of the planned settings; None without a plan or a judged outcome."""
    from meltdoe.fit.stages.phrases import percent
    from meltdoe.steps import plan_or_none

    def shown(value: float) -> str:
        return percent(float(value))

    plan = plan_or_none(chain.series)
    if plan is None or not any(stage.outcome.counts for stage in chain.stages):
        return None
    chance = chain.chance(plan.raw)
    top = int(chance.mean.argmax())
    low = int(chance.mean.argmin())
    return (
        f"Of the {len(plan.melts)} planned settings, melt {plan.melts[top].melt} has the best chance of full success, "
        f"{shown(chance.mean[top])} ({shown(chance.low[top])} to {shown(chance.high[top])}), and melt "
        f"{plan.melts[low].melt} the worst, {shown(chance.mean[low])}."
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


def best_document(best: BestSetting) -> dict[str, Any]:
    """The best setting as JSON."""
    return {"settings": best.settings, "chance": best.chance, "low": best.low, "high": best.high}
