"""`options` and `plan`: everything that is settled before buying."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from meltdoe.cli.console import print_json, say, table
from meltdoe.cli.options import HERE, AsJson, Folder, Seed
from meltdoe.cli.progress import Progress
from meltdoe.errors import Problem, WrongUsage

if TYPE_CHECKING:
    from meltdoe.plans.comparison import PlanComparison
    from meltdoe.plans.melt_plan import Plan
    from meltdoe.plans.merits.assessment import Assessment

_WIDE = 80

EffectShown = Annotated[
    float,
    typer.Option(
        "--effect", min=0.01, help="Change of a measurement that you care about, as times the scatter of equal melts."
    ),
]
ChancesShown = Annotated[
    str, typer.Option("--chance", help='Change of a pass chance that you care about, such as "0.5 to 0.9".')
]


def options(
    folder: Folder = HERE,
    series_played: Annotated[
        int, typer.Option("--rehearsals", min=0, help="Simulated series per plan; 0 for none.")
    ] = 12,
    effect: EffectShown = 2.0,
    chance: ChancesShown = "0.2 to 0.8",
    days: Annotated[float, typer.Option("--days", min=0.1, help="Days that a firing takes, cooling included.")] = 2.0,
    workers: Annotated[int | None, typer.Option(min=1, help="Processes to use; by default all cores.")] = None,
    seed: Seed = None,
    json: AsJson = False,
) -> None:
    """Compare plans before buying: what each costs, tells apart, and how often it ends with a setting that works.

    Example: meltdoe options obsidian-block
    """
    from meltdoe.plans.comparison import FEWEST_OPTIONS
    from meltdoe.report.plan_sentences import option_columns, option_note, option_row, rehearsal_note
    from meltdoe.steps import compare_plans, notice_edits, read_series

    chances = _chances(chance)
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
    played = bool(compared.options[0].rehearsal)
    rows = [option_row(series, o, o.name == compared.recommended, played) for o in compared.options]
    say(*table(option_columns(series, played), rows))
    _say_wrapped(f"{option_note(compared)} More: meltdoe explain plans, and meltdoe explain figures.")
    if len(compared.options) < FEWEST_OPTIONS:
        _say_wrapped(
            "No more plans are shown because budget, limits and factors leave no other that differs from these."
        )
    if compared.options[0].rehearsal:
        _say_wrapped(rehearsal_note(compared.options[0].rehearsal, series))
    say("")
    for option in compared.options:
        _say_wrapped(f"{option.name}: {option.choose_when}")
        _say_wrapped(f"{option.aliased[0].upper()}{option.aliased[1:]}.", "    ")
    for design, why in compared.left_out.items():
        _say_wrapped(f"Not possible here: {design}: {why}")
    say("")
    _say_wrapped(f"Recommended: {compared.recommended}; {compared.reason}")


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
                "rehearsal": o.rehearsal,
            }
            for o in compared.options
        ],
        "recommended": compared.recommended,
        "reason": compared.reason,
        "left_out": compared.left_out,
        "effect": compared.effect,
        "chances": compared.chances_shown,
    }


def plan(
    folder: Folder = HERE,
    design: Annotated[str, typer.Option(help="Pattern of the plan; auto lets the program choose.")] = "auto",
    melts: Annotated[int | None, typer.Option(min=1, help="How many melts, added ones not counted.")] = None,
    centre_points: Annotated[int, typer.Option(min=0, help="Melts in the middle of the ranges, added.")] = 0,
    replicates: Annotated[int, typer.Option(min=0, help="Repeats of planned melts, added, to see the scatter.")] = 0,
    keep_clear: Annotated[
        list[str] | None,
        typer.Option(help='Interaction such as "flux * peak" that must be mixed up with no other; may be repeated.'),
    ] = None,
    criterion: Annotated[
        str, typer.Option(help="What an optimal design is best for: D, A, I, bayesian-D or pass-chance.")
    ] = "",
    variance_ratio: Annotated[
        list[float] | None,
        typer.Option(
            min=0, help="How many times as much firings differ as melts of one firing (variances); repeat for a range."
        ),
    ] = None,
    reverse: Annotated[
        list[str] | None, typer.Option(help="Factor that a foldover reverses, all by default; may be repeated.")
    ] = None,
    assess_file: Annotated[
        Path | None, typer.Option("--assess", help="Judge the settings in this CSV file; nothing is written.")
    ] = None,
    effect: EffectShown = 2.0,
    chance: ChancesShown = "0.2 to 0.8",
    seed: Seed = None,
    json: AsJson = False,
) -> None:
    """Draw up a plan and write plan.csv; melts already logged are kept and never overwritten.

    Example: meltdoe plan obsidian-block --design fraction --melts 8
    """
    from meltdoe.plans.merits.assessment import assess
    from meltdoe.steps import draw_up_plan, read_series, read_settings

    chances = _chances(chance)
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
        )
    judged = assess(drawn, eta=ratios[0], effect=effect, chances=chances)
    if json:
        print_json({**_plan_document(drawn, judged, file), "impossible": [str(problem) for problem in impossible]})
        return
    _say_plan(drawn)
    if impossible:
        say("", "Judged all the same, but not to be melted as it stands:", *(f"  {problem}" for problem in impossible))
    _say_judgement(judged, whole=assess_file is not None)
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
    _say_wrapped(f"{drawn.reason[0].upper()}{drawn.reason[1:]}.")


def _say_judgement(judged: Assessment, whole: bool) -> None:
    """What the plan tells; with `whole` also what the region, the bias and simulated results say of it."""
    from meltdoe.report.plan_sentences import (
        EFFECT_COLUMNS,
        effect_note,
        effect_rows,
        measure_sentences,
        simulation_sentences,
    )

    say("")
    said = list(judged.summary())
    _say_wrapped(said[0])
    say("", *table(EFFECT_COLUMNS, effect_rows(judged)))
    _say_wrapped(f"{effect_note(judged)} More: meltdoe explain figures.")
    say("")
    for sentence in said[1:]:
        _say_wrapped(sentence)
    if whole:
        for sentence in (*measure_sentences(judged.region), *simulation_sentences(judged.simulated())):
            _say_wrapped(sentence)


def _chances(text: str) -> tuple[float, float]:
    """Two chances from "0.2 to 0.8" or "20 to 80 %"."""
    import re

    found = re.fullmatch(r"\s*([\d.]+)\s*%?\s*(?:to|-|,)\s*([\d.]+)\s*(%?)\s*", text)
    if found:
        try:
            low, high = (float(part) / (100.0 if found[3] else 1.0) for part in found.group(1, 2))
        except ValueError:
            low = high = 0.0
        if 0.0 < low < 1.0 and 0.0 < high < 1.0 and low != high:
            return low, high
    raise WrongUsage(f'"{text}" is no change of a chance; write for example "0.5 to 0.9"')


def _say_wrapped(text: str, indent: str = "") -> None:
    from textwrap import wrap

    say(*wrap(text, _WIDE, initial_indent=indent, subsequent_indent=indent or "  "))
