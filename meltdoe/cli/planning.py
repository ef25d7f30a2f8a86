"""`plan`: one plan drawn up or judged, and what it tells."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from meltdoe.cli.console import print_json, say, say_wrapped, table
from meltdoe.cli.options import HERE, Aliases, AsJson, ChancesShown, EffectShown, Folder, Seed, two_chances
from meltdoe.errors import Problem

if TYPE_CHECKING:
    from meltdoe.plans.melt_plan import Plan
    from meltdoe.plans.merits.assessment import Assessment


def plan(
    folder: Folder = HERE,
    design: Annotated[
        str,
        typer.Option(metavar="DESIGN", help="Pattern of the plan, such as fraction; the names: meltdoe explain plans."),
    ] = "auto",
    melts: Annotated[
        int | None, typer.Option(metavar="NUMBER", min=1, help="How many melts, added ones not counted.")
    ] = None,
    centre_points: Annotated[
        int, typer.Option(metavar="NUMBER", min=0, help="Melts in the middle of the ranges, added.")
    ] = 0,
    replicates: Annotated[
        int, typer.Option(metavar="NUMBER", min=0, help="Repeats of planned melts, added, to see the scatter.")
    ] = 0,
    keep_clear: Annotated[
        list[str] | None,
        typer.Option(
            metavar="'A * B'",
            help='Interaction such as "flux * peak" that must be mixed up with no other; may be repeated.',
        ),
    ] = None,
    criterion: Annotated[
        str,
        typer.Option(
            metavar="CRITERION", help="What an optimal design is best for: D, A, I, bayesian-D or pass-chance."
        ),
    ] = "",
    variance_ratio: Annotated[
        list[float] | None,
        typer.Option(
            metavar="NUMBER",
            min=0,
            help="How many times as much firings differ as melts of one firing (variances); repeat for a range.",
        ),
    ] = None,
    reverse: Annotated[
        list[str] | None,
        typer.Option(metavar="FACTOR", help="Factor that a foldover reverses, all by default; may be repeated."),
    ] = None,
    hold: Annotated[
        list[str] | None,
        typer.Option(
            metavar="FACTOR", help='Factor to leave as it is, such as "hold" or "hold = 30"; may be repeated.'
        ),
    ] = None,
    blocks: Annotated[
        int,
        typer.Option(
            metavar="NUMBER", min=1, help="Days, lots of material or other parts to spread the melts over evenly."
        ),
    ] = 1,
    assess_file: Annotated[
        Path | None,
        typer.Option("--assess", metavar="FILE", help="Judge the settings in this CSV file; nothing is written."),
    ] = None,
    effect: EffectShown = 2.0,
    chance: ChancesShown = "0.2 to 0.8",
    aliases: Aliases = False,
    seed: Seed = None,
    json: AsJson = False,
) -> None:
    """Draw up a plan and write plan.csv; melts already logged are kept and never overwritten.

    Example: meltdoe plan obsidian-block --design fraction --melts 8
    """
    from meltdoe.plans.merits.assessment import assess
    from meltdoe.steps import draw_up_plan, read_series, read_settings

    chances = two_chances(chance)
    ratios = tuple(variance_ratio or (1.0,))
    file: Path | None = None
    impossible: tuple[Problem, ...] = ()
    if assess_file is not None:
        drawn, impossible = read_settings(read_series(folder), assess_file)
    else:
        drawn, file = draw_up_plan(
            folder,
            design=design,
            melts=melts,
            centre_points=centre_points,
            seed=seed,
            replicates=replicates,
            keep_clear=keep_clear or (),
            criterion=criterion,
            variance_ratios=ratios,
            reverse=reverse or (),
            hold=hold or (),
            blocks=blocks,
        )
    judged = assess(drawn, eta=ratios[0], effect=effect, chances=chances)
    if json:
        print_json({**_plan_document(drawn, judged, file), "impossible": [str(problem) for problem in impossible]})
        return
    _say_plan(drawn)
    if impossible:
        say("", "Judged all the same, but not to be melted as it stands:", *(f"  {problem}" for problem in impossible))
    _say_judgement(judged, whole=assess_file is not None, aliases=aliases)
    if file is not None:
        say("", f"Written: {file}")


def _plan_document(drawn: Plan, judged: Assessment, file: Path | None) -> dict[str, Any]:
    measures, played = judged.region, judged.simulated()
    found = measures.efficiencies
    return {
        "melts": [
            {"melt": m.melt, "firing": m.firing, "order": m.order, "settings": m.settings, "purpose": m.purpose}
            for m in drawn.melts
        ],
        "design": drawn.design,
        "reason": drawn.reason,
        "seed": drawn.seed,
        **({} if file is None else {"file": file}),
        "judgement": {
            "effects": [
                {
                    "term": str(e.term),
                    "standard_error": e.standard_error,
                    "judged_by": e.judged_by,
                    "df": e.df,
                    "power_measured": e.power_measured,
                    "power_pass": e.power_pass,
                    "power_pass_simulated": simulated,
                }
                for e, simulated in zip(judged.effects, played.power.tolist(), strict=True)
            ],
            "aliased": judged.aliased,
            "indistinguishable": judged.indistinguishable,
            "carried_by_firings": judged.carried_by_firings,
            "efficiencies": None if found is None else {"D": found.d, "A": found.a, "G": found.g},
            "prediction_variance": {"share": measures.share, "at_most": measures.variance},
            "alias_matrix": {"fitted": measures.columns, "left_out": measures.left_out, "share": measures.bias},
            "correlations": {"of": [*measures.columns[1:], *measures.left_out], "values": measures.correlation},
            "leverage": measures.leverage,
            "df_lack_of_fit": judged.df_lack_of_fit,
            "df_pure_error": judged.df_pure_error,
            "separated_sets": played.separated,
            "without_one_melt": _loss(judged.drop_melt),
            "without_one_firing": _loss(judged.drop_firing),
        },
    }


def _loss(loss: Any) -> dict[str, Any]:
    return {
        "worst": loss.worst,
        "precision_kept_worst": loss.kept_worst,
        "precision_kept_average": loss.kept_average,
        "lost": loss.lost,
    }


def _say_plan(drawn: Plan) -> None:
    series = drawn.series
    rows = [
        [
            m.melt,
            m.firing,
            *(series.show({f.name: m.settings[f.name]}).removeprefix(f.name).strip() for f in series.factors),
        ]
        for m in drawn.melts
    ]
    say(*table(["melt", "firing", *series.factor_names], rows), "")
    say_wrapped(f"{drawn.reason[0].upper()}{drawn.reason[1:]}.")


def _say_judgement(judged: Assessment, whole: bool, aliases: bool) -> None:
    """What the plan tells; with `whole` also what the region, the bias and simulated results say of it."""
    from meltdoe.report.plan_sentences import (
        EFFECT_COLUMNS,
        effect_note,
        effect_rows,
        measure_sentences,
        simulation_sentences,
    )

    say("")
    said = list(judged.summary(brief=not aliases))
    say_wrapped(said[0])
    if not aliases and judged.aliased != judged.aliased_briefly:
        say_wrapped("All that is mixed up is shown with --aliases.")
    say("", *table(EFFECT_COLUMNS, effect_rows(judged)))
    say_wrapped(f"{effect_note(judged)} More: meltdoe explain figures.")
    say("")
    for sentence in said[1:]:
        say_wrapped(sentence)
    if whole:
        for sentence in (*measure_sentences(judged.region), *simulation_sentences(judged.simulated())):
            say_wrapped(sentence)
