"""Which choices matter, on the scale that people decide on: the chance of a good outcome.

An effect is the average change of the chance when a factor goes from one setting to another, every other factor
standing where it stood in the melts seen (an average partial effect; Wooldridge 2010, Econometric Analysis of Cross
Section and Panel Data, 2nd ed., MIT Press, from memory). It is taken in every posterior draw, so its interval is exact
up to the number of draws. The classical estimate of the same contrast stands beside it on its own scale.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

import numpy as np

from meltdoe.fit.stages.classical_fit import ClassicalFit
from meltdoe.fit.stages.model_terms import Contrast
from meltdoe.fit.stages.phrases import capital, good_phrase, level_phrase, listed, measure, percent, points
from meltdoe.series.factor import FloatArray
from meltdoe.series.outcome import Outcome
from meltdoe.series.terms import Term

__all__ = ["Effect", "effects_of"]

Draws: TypeAlias = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, slots=True)
class Effect:
    """What one change of settings does to one outcome.

    Attributes
    ----------
    label : the term, with the option where a choice has several ("packing edge").
    estimate, low, high : classical change of the linear predictor (log odds of better, or the outcome's unit) and its
        limits; None where the rows cannot give it.
    p_value : classical test of no change, or None.
    estimable : whether the rows tell this change apart from all others; where not, `sentence` holds no number.
    why_not : why there is no classical estimate; empty where there is one.
    from_setting, to_setting : the two settings, for people.
    chance_from, chance_to : posterior mean chance of a good outcome at each (of the best grade, for grades without a
        meaning of good); None for a measurement without one.
    change_low, change_high : posterior interval of their difference, at the level of the fit.
    value_from, value_to, value_low, value_high : the same for the mean reading of a measurement, held to its bounds,
        in its unit; else None.
    inclusion : posterior chance that the term matters, or None where the model does not average over that.
    """

    term: Term
    label: str
    estimate: float | None
    low: float | None
    high: float | None
    p_value: float | None
    estimable: bool
    why_not: str
    from_setting: str
    to_setting: str
    chance_from: float | None
    chance_to: float | None
    change_low: float | None
    change_high: float | None
    value_from: float | None
    value_to: float | None
    value_low: float | None
    value_high: float | None
    inclusion: float | None
    sentence: str


def effects_of(
    outcome: Outcome,
    contrasts: Sequence[Contrast],
    rows: FloatArray,
    classical: ClassicalFit,
    inclusion: Mapping[Term, float],
    chance: Draws | None,
    value: Draws | None,
    level: float,
) -> tuple[Effect, ...]:
    """The effect of every contrast.

    Parameters
    ----------
    rows : (n_rows, n_factors) settings to average over.
    chance, value : raw settings (n, n_factors) to draws (n_draws, n) of the chance of good and of the mean of a
        measurement; None where the outcome has none.
    """
    chances = _changes(chance, contrasts, rows, level)
    values = _changes(value, contrasts, rows, level)
    found = []
    for contrast, by_chance, by_value in zip(contrasts, chances, values, strict=True):
        settled = classical.estimates.get(contrast.label)
        estimable = contrast.label not in classical.tied
        why_not = "" if settled else classical.reasons.get(contrast.label, classical.why_not)
        sentence = _sentence(outcome, contrast, by_chance, by_value, level) if estimable else f"{capital(why_not)}."
        found.append(
            Effect(
                term=contrast.term,
                label=contrast.label,
                estimate=settled.estimate if settled else None,
                low=settled.low if settled else None,
                high=settled.high if settled else None,
                p_value=settled.p_value if settled else None,
                estimable=estimable,
                why_not=why_not,
                from_setting=contrast.from_setting,
                to_setting=contrast.to_setting,
                chance_from=by_chance.start,
                chance_to=by_chance.end,
                change_low=by_chance.low,
                change_high=by_chance.high,
                value_from=by_value.start,
                value_to=by_value.end,
                value_low=by_value.low,
                value_high=by_value.high,
                inclusion=inclusion.get(contrast.term),
                sentence=sentence,
            )
        )
    return tuple(found)


class _Change(NamedTuple):
    """Posterior means at both settings and the limits of the change; all None where there is nothing to change."""

    start: float | None = None
    end: float | None = None
    low: float | None = None
    high: float | None = None


def _changes(draws: Draws | None, contrasts: Sequence[Contrast], rows: FloatArray, level: float) -> list[_Change]:
    """From, to, and the limits of the change, for each contrast; all settings go through the model at once."""
    if draws is None or not contrasts:
        return [_Change()] * len(contrasts)
    corners = [corner for contrast in contrasts for corner in (*contrast.start, *contrast.end)]
    # Options of one choice share their first setting, so each corner goes through the model once.
    keys = [tuple(sorted(corner.items())) for corner in corners]
    places = {key: place for place, key in enumerate(dict.fromkeys(keys))}
    tables = np.concatenate([_moved(rows, dict(key)) for key in places])
    per_corner = draws(tables).reshape(-1, len(places), len(rows)).mean(axis=2)  # (n_draws, n_corners)
    found: list[_Change] = []
    for contrast in contrasts:
        start, end = (
            per_corner[:, [places[tuple(sorted(corner.items()))] for corner in side]].mean(axis=1)
            for side in (contrast.start, contrast.end)
        )
        low, high = np.quantile(end - start, [(1 - level) / 2, (1 + level) / 2])
        found.append(_Change(float(start.mean()), float(end.mean()), float(low), float(high)))
    return found


def _moved(rows: FloatArray, corner: Mapping[int, float]) -> FloatArray:
    table = rows.copy()
    for position, value in corner.items():
        table[:, position] = value
    return table


def _sentence(outcome: Outcome, contrast: Contrast, chance: _Change, value: _Change, level: float) -> str:
    move = f"{capital(listed(contrast.term.factors))} {contrast.to_setting} instead of {contrast.from_setting}"
    start, end, low, high = value
    if start is not None and end is not None and low is not None and high is not None:
        unit, judged = outcome.unit, ""
        if chance.start is not None and chance.end is not None:
            judged = f"; chance of {good_phrase(outcome)} from {percent(chance.start)} to {percent(chance.end)}"
        return (
            f"{move}: {outcome.name} from {measure(start)} to {measure(end, unit)}; the change is between "
            f"{measure(low, sign=True)} and {measure(high, unit, sign=True)} with {level_phrase(level)}{judged}."
        )
    start, end, low, high = chance
    if start is None or end is None or low is None or high is None:
        return f"{move}: nothing can be said."
    return (
        f"{move}: chance of {good_phrase(outcome)} from {percent(start)} to {percent(end)}; the change is between "
        f"{points(low)} and {points(high)} points with {level_phrase(level)}."
    )
