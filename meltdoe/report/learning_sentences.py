"""How far the conclusion can be trusted, in sentences: single melts, past predictions, drift, beliefs, thresholds.

Pure functions: findings of `meltdoe.fit` in, text out. What cannot be said is left out or said to be so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from meltdoe.fit.checks.drift import Drift
from meltdoe.fit.checks.influence import Influence, MeltInfluence, Surprise
from meltdoe.fit.checks.past_predictions import Forecast, PastPredictions
from meltdoe.fit.learning import Learning
from meltdoe.fit.stages.phrases import (
    capital,
    good_phrase,
    listed,
    measure,
    p_phrase,
    percent,
    points,
)
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.fit.stages.thresholds import Threshold
from meltdoe.report.belief_sentences import belief_sentences, chemistry_sentences, moved
from meltdoe.report.model_sentences import (
    agreement_sentence,
    proportionality_sentence,
    repeat_sentences,
    surface_sentences,
    two_level_sentences,
)
from meltdoe.report.sentences import judged_phrase
from meltdoe.report.tables import Column, Table
from meltdoe.series.melt_series import MeltSeries

__all__ = [
    "Passage",
    "drift_sentences",
    "influence_sentences",
    "learning_passages",
    "past_sentences",
    "past_table",
    "surprise_sentences",
    "threshold_sentences",
]

_WORTH_SAYING = 0.05  # change of the chance at the best setting from which a melt is named


@dataclass(frozen=True, slots=True)
class Passage:
    """A heading with the sentences under it, and a table where there is one."""

    title: str
    sentences: tuple[str, ...]
    table: Table | None = None


def learning_passages(chain: ChainFit, found: Learning) -> tuple[Passage, ...]:
    """Everything that was found, in the order in which it is wanted; empty passages are left out."""
    passages = []
    thresholds = {name: stage.thresholds for name, stage in found.stages.items()}
    passages.append(
        Passage(f"Where a chance crosses {percent(chain.series.target_chance)}", threshold_sentences(thresholds))
    )
    if found.influence is not None:
        said = influence_sentences(chain, found.influence) + surprise_sentences(found.influence)
        passages.append(Passage("What hangs on single melts", said))
    if found.past is not None:
        passages.append(Passage("Past predictions", past_sentences(found.past), past_table(chain.series, found.past)))
    if found.drifts is not None:
        passages.append(Passage("Drift over the series", drift_sentences(chain, found.drifts)))
    if found.beliefs is not None:
        said = belief_sentences(chain.series, found.beliefs, melted=bool(chain.log.entries))
        passages.append(Passage("What the beliefs do", said))
    if found.chemistry is not None:
        passages.append(
            Passage("How far melts and chemistry agree", chemistry_sentences(chain.series, found.chemistry))
        )
    model: list[str] = []
    for stage in found.stages.values():
        model += two_level_sentences(stage.two_level) + surface_sentences(chain.series, stage.surface, chain.level)
        model += repeat_sentences(stage.repeats, stage.outcome, chain.series.outcome(stage.outcome).unit)
        model += proportionality_sentence(stage.proportionality, stage.outcome)
    passages.append(Passage("The model against the melts", tuple(model)))
    passages.append(Passage("Graded twice", tuple(agreement_sentence(one) for one in found.agreements)))
    return tuple(passage for passage in passages if passage.sentences)


def influence_sentences(chain: ChainFit, found: Influence) -> tuple[str, ...]:
    """Which melts change the recommendation, or that none does."""
    if len(found.melts) < 2:
        return ()
    telling = [melt for melt in found.melts if melt.other_setting or melt.verdict_changes]
    if telling:
        return tuple(_without_melt(chain, found, melt) for melt in telling)
    at_best = [melt.chance_at_present_best for melt in found.melts]
    text = (
        "No single melt decides the recommendation: without any one of them the chance at the best setting is "
        f"{percent(min(at_best))} to {percent(max(at_best))} instead of {percent(found.best.chance)}, and no other "
        "setting is clearly better."
    )
    most = max(found.melts, key=lambda melt: abs(melt.chance_at_present_best - found.best.chance))
    shift = most.chance_at_present_best - found.best.chance
    if abs(shift) >= _WORTH_SAYING:
        text += f" Most hangs on melt {most.melt} ({points(shift)} points without it)."
    return (text,)


def _without_melt(chain: ChainFit, found: Influence, melt: MeltInfluence) -> str:
    best, target = found.best, percent(chain.series.target_chance)
    if melt.other_setting:
        other = moved(chain.series, melt.best.settings, best.settings)
        text = (
            f"Without melt {melt.melt} the best setting would be {other}, "
            f"with a chance of success of {percent(melt.best.chance)}; the present one would have "
            f"{percent(melt.chance_at_present_best)} instead of {percent(best.chance)}"
        )
    else:
        text = (
            f"Without melt {melt.melt} the chance at the best setting would be {percent(melt.chance_at_present_best)} "
            f"instead of {percent(best.chance)}"
        )
    if melt.verdict_changes:
        now = "no longer" if melt.best.chance_reaches_target < best.chance_reaches_target else "already"
        text += f"; the {target} wanted would {now} count as reached"
    return f"{text}."


def surprise_sentences(found: Influence) -> tuple[str, ...]:
    """What was seen against what the other melts foretell."""
    if not found.seen:
        return ()
    said = [_surprise(one) for one in found.surprises]
    count, n = len(said), len(found.seen)
    luck = found.surprises_expected
    by_luck = f"{f'about {luck:.1f}' if luck >= 0.05 else 'hardly any'} would be expected if the model were right"
    if not count:
        rarest = found.seen[0]
        return (
            f"No melt is a surprise: of {n} outcomes seen none was less likely than 5 % from the other melts "
            f"({by_luck}); the least likely was {_seen(rarest)}, {percent(rarest.chance)}.",
        )
    said.append(f"Of {n} outcomes seen {count} {'was' if count == 1 else 'were'} less likely than 5 %; {by_luck}.")
    return tuple(said)


def _surprise(one: Surprise) -> str:
    return f"Surprise: {_seen(one)}; from the other melts that had a chance of {percent(one.chance)}."


def _seen(one: Surprise) -> str:
    """ "melt 6 with fill 57.6 % or less", "melt 4 with contained no"."""
    outcome, name = one.outcome, one.outcome.name.replace("_", " ")
    which = f"melt {one.entry.melt}" + (f", mould {one.entry.mould}," if outcome.seen_per == "mould" else "")
    seen = outcome.show(one.entry.seen[outcome.name])
    if outcome.kind == "pass":
        return f"{which} with {name} {seen}"
    if outcome.kind == "grade":
        ends = outcome.grades[0] if one.side == "low" else outcome.grades[-1]
        further = "" if seen == ends else " or better" if one.side == "low" else " or worse"
        return f"{which} with {name} {seen}{further}"
    shown = f"{seen} {outcome.unit}".strip()
    return f"{which} with {name} {shown} or {'less' if one.side == 'low' else 'more'}"


def past_sentences(past: PastPredictions) -> tuple[str, ...]:
    """Whether the chances stated before each melt were right."""
    if past.why_not:
        return (f"{capital(past.why_not)}.",)
    if not past.forecasts:
        return ()
    n = len(past.forecasts)
    how = "Before each melt its outcomes were foretold from the firings before it"
    if past.together:
        how += ", of some firings that followed each other together from those before them all"
    text = (
        f"{how}: of {n} that were then seen {past.expected_good:.1f} were expected to be good and {past.seen_good} were"
    )
    if past.z > 1.645:
        text += ": better than foretold, the chances stated were too low."
    elif past.z < -1.645:
        text += ": worse than foretold, the chances stated were too high."
    else:
        text += ", a difference that chance alone explains."
    bands = [
        f"stated under 50 %: {_band(past.between(0.0, 0.5))}",
        f"stated 50 % or more: {_band(past.between(0.5, 1.1))}",
    ]
    skill = "better than" if past.brier < 0.245 else "no better than"
    said = [
        text,
        f"{capital('; '.join(bands))}.",
        f"The chances stated were {skill} saying 50 % each time (mean squared error {past.brier:.2f} against 0.25).",
    ]
    if past.successes:
        expected = sum(one.chance for one in past.successes)
        came = sum(one.good for one in past.successes)
        said.append(f"Full success was foretold for {expected:.1f} of {len(past.successes)} and came for {came}.")
    return tuple(said)


def _band(forecasts: tuple[Forecast, ...]) -> str:
    if not forecasts:
        return "none"
    expected = sum(one.chance for one in forecasts)
    return f"{sum(one.good for one in forecasts)} of {len(forecasts)} good, {expected:.1f} expected"


def past_table(series: MeltSeries, past: PastPredictions) -> Table | None:
    """Every chance stated before a melt, and what came; None where there are none."""
    if not past.forecasts:
        return None
    with_mould = series.moulds_per_melt > 1
    rows = [
        (
            str(one.entry.melt),
            str(one.entry.mould) if with_mould else "",
            good_phrase(one.outcome) if one.outcome is not None else "full success",
            percent(one.chance),
            "good" if one.good else "not good",
        )
        for one in sorted((*past.forecasts, *past.successes), key=lambda f: (f.entry.melt, f.entry.mould))
    ]
    columns = (
        Column("Melt"),
        Column("Mould"),
        Column("Outcome"),
        Column("Chance stated before", "number"),
        Column("Came"),
    )
    return Table("What was foretold before each melt", columns, tuple(rows)).without_empty_columns()


def drift_sentences(chain: ChainFit, found: tuple[Drift, ...]) -> tuple[str, ...]:
    """Whether something drifted in the order of the melts, outcome by outcome."""
    said = [_drift(chain, drift) for drift in found if drift.finding != "too few"]
    few = [judged_phrase(chain.stage(d.outcome).outcome) for d in found if d.finding == "too few"]
    if few:
        said.append(f"Too few melts to look for a drift in {listed(few)}.")
    return tuple(said)


def _drift(chain: ChainFit, drift: Drift) -> str:
    outcome = chain.stage(drift.outcome).outcome
    title = capital(judged_phrase(outcome))
    if drift.finding == "mixed up":
        together = (
            "the settings and circumstances taken together" if chain.series.nuisances else "the settings taken together"
        )
        along = listed(drift.goes_along) if drift.goes_along else together
        return (
            f"{title}: the order of the melts goes along with {along}, so a drift could not be told from their effects."
        )
    effect, measured = drift.effect, outcome.kind == "measured"
    if drift.finding == "drift" and effect is not None:
        if measured:
            change = (
                f"{outcome.name} from {_or_unknown(effect.value_from)} to {_or_unknown(effect.value_to, outcome.unit)}"
            )
        else:
            change = f"chance from {percent(effect.chance_from or 0.0)} to {percent(effect.chance_to or 0.0)}"
        p = "" if effect.p_value is None else f"; classical test {p_phrase(effect.p_value)}"
        return (
            f"{title} seems to drift over the series, first to last melt with the same settings: {change} "
            f"(chance that the order matters {percent(effect.inclusion or 0.0)}{p}). Look for what changed unnoticed."
        )
    rows = f"{drift.rows} {'castings' if outcome.seen_per == 'mould' else 'melts'}"
    least = measure(drift.could_show, outcome.unit) if measured else f"{100 * drift.could_show:.0f} points"
    if not measured and drift.could_show > 0.95:
        return f"{title}: no sign of drift, but {rows} could hardly have shown any."
    return f"{title}: no sign of drift, but {rows} could not show less than {least} from first to last."


def _or_unknown(value: float | None, unit: str = "") -> str:
    return "unknown" if value is None else measure(value, unit)


def threshold_sentences(found: Mapping[str, tuple[Threshold, ...]]) -> tuple[str, ...]:
    """Where the factors that matter cross the target, the others standing as in the best setting."""
    return tuple(one.sentence for thresholds in found.values() for one in thresholds)
