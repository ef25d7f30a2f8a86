"""What the report says, as data: one dataclass a section, in the order in which a reader wants them.

Sentences come from the sentence modules, tables from `tables`, pictures from `figures`; the words between them stand in
``wording/``. Nothing is estimated here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltdoe.fit.checks.past_fits import PastFits
from meltdoe.fit.learning import Learning, learning
from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.phrases import interval_phrase, percent
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.fit.stages.stage_fit import StageFit
from meltdoe.fit.stages.thresholds import threshold
from meltdoe.log.entry import entry_row
from meltdoe.log.melt_log import Log
from meltdoe.next_melt.advice import Advice
from meltdoe.next_melt.stopping import confirmation_melts
from meltdoe.plans.comparison import PlanComparison
from meltdoe.plans.melt_plan import Plan
from meltdoe.report.advice_sentences import aim_sentence, why_not_another, why_this_melt, why_verdict
from meltdoe.report.answer import answer_sentences
from meltdoe.report.charge_table import charge_table, made_of, to_weigh
from meltdoe.report.deviations import deviation_sentences
from meltdoe.report.diary import DiaryEntry, diary_of
from meltdoe.report.doubts import doubt_passages
from meltdoe.report.failures import failure_table
from meltdoe.report.figures.held import ranked_factors
from meltdoe.report.figures.style import Picture
from meltdoe.report.learning_sentences import Passage, learning_passages
from meltdoe.report.methods import Methods, methods
from meltdoe.report.not_known import unknown_sentences, waiting_sentences
from meltdoe.report.outlook_sentences import (
    bound_sentences,
    forecast_sentence,
    moving_sentences,
    result_sentences,
    thin_sentences,
)
from meltdoe.report.plain_words import plain_chance, plain_counts
from meltdoe.report.plan_section import Planned, planned_of
from meltdoe.report.provenance import Provenance, provenance
from meltdoe.report.result_tables import (
    caution_table,
    effect_table,
    next_table,
    predicted_table,
    setting_table,
    stage_table,
)
from meltdoe.report.schedule_table import schedule_table
from meltdoe.report.sentences import (
    counted_sentence,
    risk_sentence,
    telling_sentences,
)
from meltdoe.report.tables import (
    Table,
    factor_table,
    melt_table,
    outcome_table,
)
from meltdoe.report.what_if import WhatIf, what_if
from meltdoe.series.factor import Choice
from meltdoe.series.melt_series import MeltSeries
from meltdoe.sheets.series_cautions import cautions_of, reached_celsius

__all__ = ["Learnt", "Recommended", "Report", "report_of"]

# first words of the names of figures
_OF_THE_PLAN = ("plan", "alias", "power", "kiln", "viscosity")
_OF_THE_NEXT = ("information", "next")
_OF_OUTCOMES = ("effects", "half-normal", "seen")
_MOST_FACTORS_REFITTED, _MOST_MELTS_REFITTED = 10, 40  # beyond them the refits would take minutes


@dataclass(frozen=True, slots=True)
class Learnt:
    """What was learnt on one outcome."""

    stage: StageFit
    sentences: tuple[str, ...]
    table: Table | None
    pictures: tuple[Picture, ...]


@dataclass(frozen=True, slots=True)
class Recommended:
    """The recommendation with its chance and its risk."""

    best: BestSetting
    settings: Table
    stages: Table
    sentences: tuple[str, ...]
    to_weigh: str
    made_of: str
    schedule: Table | None
    plain: str


@dataclass(frozen=True, slots=True)
class Next:
    """The next melt and why; the table is None where it is advised to stop."""

    goes_on: bool
    verdict: str
    forecast: str
    aim: str
    table: Table
    whys: tuple[str, ...]
    bounds: tuple[str, ...]
    others: tuple[str, ...]
    results: tuple[str, ...]
    thin: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """Everything that the page holds.

    Attributes
    ----------
    ends : castings good throughout, not good, and not known to their end. beyond : melts made beyond the plan.
    answer : the conclusion in three sentences.
    plan_pictures, next_pictures : figures of the plan, and of what the next melt would tell.
    notes : melt and what was noted of it. deviations : where the melts left the plan.
    diary, failures : the same melts one by one, and those that failed.
    progress : how the best chance came up. works, predicted : figures and expectations of the whole chain.
    checks : how far the conclusion can be trusted, passage by passage. doubts : questions of a sceptical reader.
    charges : what went into each crucible, None without a recipe.
    what_if : what the panel needs, None where no setting can be tried.
    unknown : what the melts do not say. waiting : outcomes that are later or lost.
    log_csv : the log as it stands in its file.
    """

    series: MeltSeries
    n_melts: int
    n_firings: int
    dates: tuple[str, str] | None
    judged: bool
    ends: tuple[int, int, int]
    beyond: int
    factors: Table
    outcomes: Table
    answer: tuple[str, ...]
    planned: Planned | None
    plan_pictures: tuple[Picture, ...]
    melts: Table | None
    charges: Table | None
    melts_pictures: tuple[Picture, ...]
    notes: tuple[tuple[str, str], ...]
    deviations: tuple[str, ...]
    diary: tuple[DiaryEntry, ...]
    failures: Table | None
    progress: Picture | None
    learnt: tuple[Learnt, ...]
    works: tuple[Picture, ...]
    predicted: Table | None
    checks: tuple[Passage, ...]
    doubts: tuple[Passage, ...]
    recommended: Recommended | None
    what_if: WhatIf | None
    unknown: tuple[str, ...]
    waiting: tuple[str, ...]
    counts: tuple[str, ...]
    plain_counts: tuple[str, ...]
    next: Next | None
    next_pictures: tuple[Picture, ...]
    cautions: Table
    methods: Methods
    provenance: Provenance
    log_csv: str


def report_of(
    chain: ChainFit,
    plan: Plan | None,
    advice: Advice | None,
    pictures: tuple[Picture, ...],
    compared: PlanComparison | None = None,
    past: PastFits | None = None,
) -> Report:
    """Gather what the page says.

    Parameters
    ----------
    plan : None where none was drawn up. advice : None where nothing can be advised.
    pictures : as `meltdoe.report.figure_files.pictures_of` gives them.
    compared : the plans that could have been taken, or None where they were not compared.
    past : fits of the past where they are shared with the pictures.
    """
    from meltdoe.files.store.log_csv import log_text

    series, log = chain.series, chain.log
    by_name = {picture.name: picture for picture in pictures}
    best = None if advice is None else advice.best
    judged = any(outcome.counts for outcome in series.outcomes)
    plan = plan if plan is not None and plan.melts else None
    drawn_up = None if plan is None or (plan.reason and not plan.by_lot) else plan
    dates = sorted(entry.date for entry in log.entries if entry.date is not None)
    ended = [log.succeeded(entry) for entry in log.entries]
    found = _learning(chain, best, past) if best is not None and judged and log.entries else None
    placed = _placed(pictures)
    return Report(
        series=series,
        n_melts=len(log.melt_numbers),
        n_firings=len({entry.firing for entry in log.entries}),
        dates=(dates[0].isoformat(), dates[-1].isoformat()) if dates else None,
        judged=judged,
        factors=factor_table(series),
        outcomes=outcome_table(series),
        ends=(ended.count(True), ended.count(False), ended.count(None)),
        beyond=0 if plan is None else len(log.melt_numbers - {melt.melt for melt in plan.melts}),
        answer=answer_sentences(chain, advice, judged),
        planned=None if drawn_up is None else planned_of(drawn_up, compared),
        plan_pictures=placed["planned"],
        melts=melt_table(log, plan) if log.entries else None,
        charges=charge_table(log),
        melts_pictures=placed["melts"],
        notes=_notes(log),
        deviations=() if plan is None else deviation_sentences(log, plan),
        diary=diary_of(log, plan),
        failures=failure_table(log),
        progress=by_name.get("progress"),
        learnt=tuple(_learnt(stage, i, pictures) for i, stage in enumerate(chain.stages)),
        works=placed["works"],
        predicted=predicted_table(chain) if log.entries and judged else None,
        checks=() if found is None else _checks(chain, found),
        doubts=() if found is None or best is None else doubt_passages(chain, plan, best, found),
        recommended=_recommended(chain, best) if best is not None and judged else None,
        what_if=what_if(chain, best) if best is not None and judged else None,
        unknown=unknown_sentences(chain, best if judged else None),
        waiting=waiting_sentences(log),
        counts=tuple(counted_sentence(stage) for stage in chain.stages),
        plain_counts=plain_counts(chain),
        next=None if advice is None or not judged else _next(series, advice),
        next_pictures=placed["next"],
        cautions=caution_table(cautions_of(series, reached_celsius(series, log.raw))),
        methods=methods(chain, drawn_up, pictures),
        provenance=provenance(series.folder, chain.seed),
        log_csv=log_text(series, [entry_row(series, entry) for entry in log.entries]),
    )


def _placed(pictures: tuple[Picture, ...]) -> dict[str, tuple[Picture, ...]]:
    """Figures by the section that shows them; those of an outcome, the log and progress have places of their own."""
    found: dict[str, list[Picture]] = {"planned": [], "next": [], "works": [], "melts": []}
    for picture in pictures:
        kind = picture.name.split("-")[0]
        if kind in _OF_THE_PLAN:
            found["planned"].append(picture)
        elif kind in _OF_THE_NEXT:
            found["next"].append(picture)
        elif kind != "progress" and not picture.name.startswith(_OF_OUTCOMES):
            found["melts" if kind == "melts" else "works"].append(picture)
    return {name: tuple(some) for name, some in found.items()}


def _notes(log: Log) -> tuple[tuple[str, str], ...]:
    with_mould = log.series.moulds_per_melt > 1
    return tuple(
        (f"Melt {entry.melt}" + (f", mould {entry.mould}" if with_mould else ""), entry.note)
        for entry in sorted(log.entries, key=lambda e: (e.melt, e.mould))
        if entry.note.strip()
    )


def _learnt(stage: StageFit, position: int, pictures: tuple[Picture, ...]) -> Learnt:
    own = [f"{what}-{position + 1}" for what in _OF_OUTCOMES]
    shown = tuple(p for p in pictures if any(p.name == name or p.name.startswith(f"{name}-") for name in own))
    said = telling_sentences(stage) if stage.n_seen else (counted_sentence(stage),)
    return Learnt(stage, tuple(dict.fromkeys(said)), effect_table(stage) if stage.n_seen else None, shown)


def _learning(chain: ChainFit, best: BestSetting, past: PastFits | None) -> Learning:
    small = len(chain.series.factors) <= _MOST_FACTORS_REFITTED and len(chain.log.entries) <= _MOST_MELTS_REFITTED
    return learning(chain, best, refits=small, past=past)


def _checks(chain: ChainFit, found: Learning) -> tuple[Passage, ...]:
    said = learning_passages(chain, found)
    if found.past is not None:
        return said
    left_out = "Past predictions, drift and the part of beliefs need many refits: left out for so large a series."
    return (*said, Passage("What was not looked at", (left_out,)))


def _recommended(chain: ChainFit, best: BestSetting) -> Recommended:
    series = chain.series
    at_best = [
        chain.log.succeeded(entry)
        for entry, row in zip(chain.log.entries, chain.log.raw, strict=True)
        if np.allclose(row, best.raw)
    ]
    made = "No melt has been made at exactly this setting: its chance is a prediction from the others."
    if at_best:
        made = (
            f"{len(at_best)} melt{'s have' if len(at_best) != 1 else ' has'} been made at exactly this setting: "
            f"{at_best.count(True)} good throughout, {at_best.count(False)} not"
            + (f", {at_best.count(None)} not known to the end." if None in at_best else ".")
        )
    n = confirmation_melts(series.target_chance)
    said = [
        f"Chance of success {percent(best.chance)}, {interval_phrase(best.low, best.high, chain.level)}; chance that "
        f"it reaches the {percent(series.target_chance)} wanted: {percent(best.chance_reaches_target)}.",
        risk_sentence(chain, best),
        made,
        f"To show a chance of at least {percent(series.target_chance)} without any model, {n} good melts in a row at "
        "this setting are needed (90 % lower bound).",
    ]
    if chain.log.entries:
        turnable = [i for i in ranked_factors(chain, best) if not isinstance(series.factors[i], Choice)]
        for i in turnable[:2]:
            said.append(threshold(chain, series.factors[i].name, series.target_chance, best.settings).sentence)
    return Recommended(
        best,
        setting_table(series, best),
        stage_table(chain, best),
        tuple(said),
        to_weigh(chain.log, best.raw),
        made_of(chain.log, best.raw),
        schedule_table(chain.log, best),
        plain_chance(chain, best),
    )


def _forecast(series: MeltSeries, advice: Advice) -> str:
    moving = moving_sentences(series, advice)
    return " ".join([forecast_sentence(series, advice), *(["What would have to move:", *moving] if moving else [])])


def _next(series: MeltSeries, advice: Advice) -> Next:
    return Next(
        goes_on=advice.verdict.word == "go on",
        verdict=why_verdict(series, advice),
        forecast=_forecast(series, advice),
        aim=aim_sentence(advice),
        table=next_table(series, advice),
        whys=tuple(why_this_melt(series, advice, melt) for melt in advice.melts),
        bounds=tuple(bound_sentences(series, advice)),
        others=tuple(why_not_another(series, advice)) if advice.melts else (),
        results=tuple(result_sentences(series, advice)),
        thin=tuple(thin_sentences(series, advice)),
    )
