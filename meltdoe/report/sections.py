"""What the report says, as data: one dataclass a section, in the order in which a reader wants them.

Sentences come from the sentence modules, tables from `tables`, pictures from `figures`; the words between them stand in
``wording/``. Nothing is estimated here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meltdoe.fit.best_setting import BestSetting
from meltdoe.fit.learning import learning
from meltdoe.fit.phrases import interval_phrase, listed, percent
from meltdoe.fit.stage_chain import ChainFit
from meltdoe.fit.stage_fit import StageFit
from meltdoe.fit.thresholds import threshold
from meltdoe.log.entry import entry_row
from meltdoe.log.melt_log import Log
from meltdoe.next_melt.advice import Advice
from meltdoe.next_melt.stopping import confirmation_melts
from meltdoe.plans.assessment import Assessment, assess
from meltdoe.plans.melt_plan import Plan
from meltdoe.report.advice_sentences import aim_sentence, why_not_another, why_this_melt, why_verdict
from meltdoe.report.deviations import deviation_sentences
from meltdoe.report.figures.held import ranked_factors
from meltdoe.report.figures.style import Picture
from meltdoe.report.learning_sentences import Passage, learning_passages
from meltdoe.report.methods import Methods, methods
from meltdoe.report.not_known import unknown_sentences
from meltdoe.report.provenance import Provenance, provenance
from meltdoe.report.result_tables import (
    caution_table,
    effect_table,
    next_table,
    predicted_table,
    setting_table,
    stage_table,
)
from meltdoe.report.sentences import (
    best_sentence,
    counted_sentence,
    risk_sentence,
    stage_sentences,
)
from meltdoe.report.tables import (
    Table,
    factor_table,
    melt_table,
    mixed_table,
    outcome_table,
    plan_table,
    precision_table,
)
from meltdoe.series.factor import Choice
from meltdoe.series.melt_series import MeltSeries
from meltdoe.sheets.series_cautions import cautions_of, reached_celsius

__all__ = ["Learnt", "Planned", "Recommended", "Report", "report_of"]

_MOST_FACTORS_REFITTED, _MOST_MELTS_REFITTED = 10, 40  # beyond them the refits would take minutes


@dataclass(frozen=True, slots=True)
class Planned:
    """How the series was planned; tables are None where the plan has nothing to put in them."""

    plan: Plan
    assessment: Assessment
    melts: Table
    precision: Table | None
    mixed: Table | None
    drop_outs: tuple[str, ...]


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


@dataclass(frozen=True, slots=True)
class Next:
    """The next melt and why; the table is None where it is advised to stop."""

    goes_on: bool
    verdict: str
    aim: str
    table: Table
    whys: tuple[str, ...]
    others: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """Everything that the page holds.

    Attributes
    ----------
    answer : the conclusion in about three sentences.
    notes : melt and what was noted of it. deviations : where the melts left the plan.
    works, predicted : figures of the whole chain.
    checks : how far the conclusion can be trusted, passage by passage.
    unknown : what the melts do not say.
    log_csv : the log as it stands in its file.
    """

    series: MeltSeries
    n_melts: int
    n_firings: int
    dates: tuple[str, str] | None
    judged: bool
    factors: Table
    outcomes: Table
    answer: tuple[str, ...]
    planned: Planned | None
    plan_picture: Picture | None
    melts: Table | None
    melts_picture: Picture | None
    notes: tuple[tuple[str, str], ...]
    deviations: tuple[str, ...]
    learnt: tuple[Learnt, ...]
    works: tuple[Picture, ...]
    predicted: Table | None
    checks: tuple[Passage, ...]
    recommended: Recommended | None
    unknown: tuple[str, ...]
    counts: tuple[str, ...]
    next: Next | None
    cautions: Table
    methods: Methods
    provenance: Provenance
    log_csv: str


def report_of(chain: ChainFit, plan: Plan | None, advice: Advice | None, pictures: tuple[Picture, ...]) -> Report:
    """Gather what the page says.

    Parameters
    ----------
    plan : None where none was drawn up. advice : None where nothing can be advised.
    pictures : as `meltdoe.report.figure_files.pictures_of` gives them.
    """
    from meltdoe.files.log_csv import log_text

    series, log = chain.series, chain.log
    by_name = {picture.name: picture for picture in pictures}
    best = None if advice is None else advice.best
    judged = any(outcome.counts for outcome in series.outcomes)
    plan = plan if plan is not None and plan.melts else None
    dates = sorted(entry.date for entry in log.entries if entry.date is not None)
    return Report(
        series=series,
        n_melts=len(log.melt_numbers),
        n_firings=len({entry.firing for entry in log.entries}),
        dates=(dates[0].isoformat(), dates[-1].isoformat()) if dates else None,
        judged=judged,
        factors=factor_table(series),
        outcomes=outcome_table(series),
        answer=_answer(chain, advice, judged),
        planned=None if plan is None else _planned(plan),
        plan_picture=by_name.get("plan"),
        melts=melt_table(log, plan) if log.entries else None,
        melts_picture=by_name.get("melts"),
        notes=_notes(log),
        deviations=() if plan is None else deviation_sentences(log, plan),
        learnt=tuple(_learnt(stage, i, pictures) for i, stage in enumerate(chain.stages)),
        works=tuple(by_name[name] for name in ("chance-map", "stages", "predicted") if name in by_name),
        predicted=predicted_table(chain) if log.entries and judged else None,
        checks=_checks(chain, best) if best is not None and judged and log.entries else (),
        recommended=_recommended(chain, best) if best is not None and judged else None,
        unknown=unknown_sentences(chain, best if judged else None),
        counts=tuple(counted_sentence(stage) for stage in chain.stages),
        next=None if advice is None or not judged else _next(series, advice),
        cautions=caution_table(cautions_of(series, reached_celsius(series, log.raw))),
        methods=methods(chain, plan, pictures),
        provenance=provenance(series.folder, chain.seed),
        log_csv=log_text(series, [entry_row(series, entry) for entry in log.entries]),
    )


def _answer(chain: ChainFit, advice: Advice | None, judged: bool) -> tuple[str, ...]:
    if not judged:
        return (
            "No outcome of this series is judged good or bad, so no setting is better than another; see what was "
            "learnt.",
        )
    if advice is None:
        return ("No setting keeps every limit, so nothing can be recommended.",)
    said = [best_sentence(chain, advice.best), risk_sentence(chain, advice.best), why_verdict(chain.series, advice)]
    if not chain.log.entries:
        said.insert(
            0, "No melt has been made yet: what follows rests on what was assumed and believed before the first one."
        )
    return tuple(said)


def _planned(plan: Plan) -> Planned:
    assessment = assess(plan)
    drop_outs = []
    for what, loss in (("melt", assessment.drop_melt), ("firing", assessment.drop_firing)):
        if loss.worst:
            lost = f", and {listed(loss.lost)} could no longer be estimated" if loss.lost else ""
            drop_outs.append(
                f"Without one {what} the plan keeps {percent(loss.kept_average)} of its precision on average, "
                f"{percent(loss.kept_worst)} without {what} {loss.worst}{lost}."
            )
    return Planned(
        plan, assessment, plan_table(plan), precision_table(assessment), mixed_table(assessment), tuple(drop_outs)
    )


def _notes(log: Log) -> tuple[tuple[str, str], ...]:
    with_mould = log.series.moulds_per_melt > 1
    return tuple(
        (f"Melt {entry.melt}" + (f", mould {entry.mould}" if with_mould else ""), entry.note)
        for entry in sorted(log.entries, key=lambda e: (e.melt, e.mould))
        if entry.note.strip()
    )


def _learnt(stage: StageFit, position: int, pictures: tuple[Picture, ...]) -> Learnt:
    own = [f"{what}-{position + 1}" for what in ("effects", "half-normal", "seen")]
    shown = tuple(p for p in pictures if any(p.name == name or p.name.startswith(f"{name}-") for name in own))
    said = stage_sentences(stage) if stage.n_seen else (counted_sentence(stage),)
    return Learnt(stage, tuple(dict.fromkeys(said)), effect_table(stage) if stage.n_seen else None, shown)


def _checks(chain: ChainFit, best: BestSetting) -> tuple[Passage, ...]:
    small = len(chain.series.factors) <= _MOST_FACTORS_REFITTED and len(chain.log.entries) <= _MOST_MELTS_REFITTED
    said = learning_passages(chain, learning(chain, best, refits=small))
    if small:
        return said
    left_out = (
        "Past predictions, drift and the part of beliefs need many refits and were left out for so large a series."
    )
    return (*said, Passage("What was not looked at", (left_out,)))


def _recommended(chain: ChainFit, best: BestSetting) -> Recommended:
    series = chain.series
    at_best = [
        chain.log.succeeded(entry)
        for entry, row in zip(chain.log.entries, chain.log.raw, strict=True)
        if np.allclose(row, best.raw)
    ]
    known = [good for good in at_best if good is not None]
    made = (
        f"{len(known)} melt{'s have' if len(known) != 1 else ' has'} been made at exactly this setting, "
        f"{known.count(True)} of them good throughout."
        if known
        else "No melt has been made at exactly this setting: its chance is a prediction from the others."
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
    return Recommended(best, setting_table(series, best), stage_table(chain, best), tuple(said))


def _next(series: MeltSeries, advice: Advice) -> Next:
    return Next(
        goes_on=advice.verdict.word == "go on",
        verdict=why_verdict(series, advice),
        aim=aim_sentence(advice),
        table=next_table(series, advice),
        whys=tuple(why_this_melt(series, advice, melt) for melt in advice.melts),
        others=tuple(why_not_another(series, advice)) if advice.melts else (),
    )
