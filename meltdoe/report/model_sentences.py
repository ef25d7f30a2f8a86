"""The model against the melts, in sentences: two-level effects, the shape of a surface, repeats, grades, graders.

Pure functions: findings of `meltdoe.fit` in, lists of sentences out; empty where there is nothing to say.
"""

from __future__ import annotations

import math

from meltdoe.fit.checks.model_checks import RepeatCheck
from meltdoe.fit.classical.agreement import Agreement
from meltdoe.fit.classical.half_normal import Curvature
from meltdoe.fit.classical.proportional_odds import ProportionalityTest
from meltdoe.fit.stages.phrases import capital, listed, measure, melts_phrase, p_phrase, percent
from meltdoe.fit.stages.stage_surface import StageSurface
from meltdoe.fit.stages.two_level_plan import TwoLevelAnalysis, TwoLevelEffect
from meltdoe.series.factor import Amount, Factor
from meltdoe.series.melt_series import MeltSeries

__all__ = [
    "agreement_sentence",
    "proportionality_sentence",
    "repeat_sentences",
    "surface_sentences",
    "two_level_sentences",
]

_DOUBTFUL = 0.10  # p value from which downwards a check speaks against the model


def two_level_sentences(found: TwoLevelAnalysis | None) -> list[str]:
    """Which effects stand out, with their other names, and whether the middle bends."""
    if found is None:
        return []
    margins = found.lenth
    confidence = f"{100 * margins.level:g} % level"
    out = [effect for effect in found.effects if effect.stands_out]
    n = len(found.effects)
    if out:
        text = f"{capital(found.outcome)}, {len(found.corners)} melts on two levels: {_effects(out, found.unit)}"
        text += f" stand{'s' * (len(out) == 1)} out of {n} effects"
    else:
        text = (
            f"{capital(found.outcome)}, {len(found.corners)} melts on two levels: none of {n} effects stands out; the "
            f"largest is {_effects(list(found.effects[:1]), found.unit)}"
        )
    text += (
        f" (margin of one effect {measure(margins.margin, found.unit)}, of the largest of all "
        f"{measure(margins.simultaneous_margin, found.unit)}; {confidence})."
    )
    said = [text]
    mixed = [effect.names.sentence for effect in (out or found.effects[:1]) if len(effect.names.effects) > 1]
    if mixed:
        said.append(f"{capital('; '.join(mixed))}: each such effect is a sum.")
    if found.few:
        said.append(f"With only {n} effects these margins rest on little.")
    said.append(_curvature(found, found.curvature))
    return said


def _effects(effects: list[TwoLevelEffect], unit: str) -> str:
    return listed([f"{effect.name} {measure(effect.effect, unit, sign=True)}" for effect in effects])


def _curvature(found: TwoLevelAnalysis, bend: Curvature | None) -> str:
    if bend is None:
        return f"{capital(found.outcome)}: {found.why_no_curvature}."
    limits = f"{measure(bend.low, sign=True)} to {measure(bend.high, found.unit, sign=True)}"
    size = measure(bend.difference, found.unit, sign=True)
    text = (
        f"Corners against the middle ({melts_phrase(found.centres)}): {size} "
        f"({limits} with {100 * bend.level:g} % confidence, {p_phrase(bend.p_value)})"
    )
    if bend.p_value < _DOUBTFUL:
        return f"{text}, so {found.outcome} bends between low and high."
    return f"{text}: no sign of a bend, though {len(found.centres)} melts in the middle show only a strong one."


def surface_sentences(series: MeltSeries, found: StageSurface | None, level: float) -> list[str]:
    """Shape and place of the stationary point, with limits."""
    if found is None:
        return []
    name = found.outcome.replace("_", " ")
    if found.form is None:
        return [f"{capital(name)} over {listed(found.factors)}: {found.why_not}."]
    parts = []
    for factor in found.factors:
        low, high = found.low[factor], found.high[factor]
        ends = [_shown(series.factor(factor), end) if math.isfinite(end) else "no limit" for end in (low, high)]
        limits = " to ".join(ends) if math.isfinite(low) or math.isfinite(high) else "no limits"
        parts.append(f"{factor} {_shown(series.factor(factor), found.place[factor])} ({limits})")
    return [
        f"{capital(name)} over {listed(found.factors)}: {found.form.in_words[0].lower()}{found.form.in_words[1:]}",
        f"It lies at {listed(parts)}, {name} {measure(found.form.value, found.unit)} there; limits with "
        f"{100 * level:g} % confidence.",
    ]


def _shown(factor: Factor, value: float) -> str:
    """A setting to about a hundredth of its range, beyond the range too."""
    assert isinstance(factor, Amount)
    unit = 10 ** math.floor(math.log10((factor.high - factor.low) / 100))
    return factor.show(round(value / unit) * unit)


def repeat_sentences(found: RepeatCheck | None, outcome: str, unit: str) -> list[str]:
    """Scatter of repeats and whether the model misses more than that."""
    if found is None:
        return []
    repeated = "; ".join(melts_phrase(melts) for melts in found.repeats)
    degrees = f"{found.df} degree{'s' * (found.df != 1)} of freedom"
    name = capital(outcome.replace("_", " "))
    text = f"{name}: repeats ({repeated}) scatter by {measure(found.scatter, unit)} ({degrees})"
    if found.test is None:
        return [f"{text}; {found.why_not}."]
    if math.isnan(found.test.p_value):
        return [f"{text}, too little to judge the model by."]
    if found.test.p_value < _DOUBTFUL:
        return [
            f"{text}; the model misses by more than that ({p_phrase(found.test.p_value)}): something is left out of it."
        ]
    return [f"{text}; the model misses by no more than that ({p_phrase(found.test.p_value)})."]


def proportionality_sentence(found: ProportionalityTest | None, outcome: str) -> list[str]:
    """Whether one effect serves all steps between grades; nothing where the melts cannot say."""
    if found is None or math.isnan(found.p_value):
        return []
    name = capital(outcome.replace("_", " "))
    if found.p_value < _DOUBTFUL:
        return [
            f"{name}: the effects seem to differ from one step between grades to the next ({p_phrase(found.p_value)}); "
            "one effect for all of them is too simple."
        ]
    return [f"{name}: no sign that the effects differ between the grades ({p_phrase(found.p_value)})."]


def agreement_sentence(found: Agreement) -> str:
    """How far two gradings of the same castings agree."""
    what = found.name.replace("_", " ") or "The two gradings"
    return (
        f"{capital(what)}, graded twice: alike in {percent(found.alike)} of {found.castings} castings, where "
        f"{percent(found.by_chance)} would be alike by chance; weighted kappa {found.kappa:.2f} (between "
        f"{found.low:.2f} and {found.high:.2f} with {100 * found.level:g} % probability; 1 is full, 0 is chance)."
    )
