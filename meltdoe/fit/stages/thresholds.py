"""The setting at which a chance crosses a value: "least flux that pours 8 times in 10".

Every posterior draw gives a curve of the chance over the factor's range, hence a crossing or none; the threshold is
the median of the crossings and its interval their quantiles. Nothing is divided by an estimated slope, so the interval
exists also where the melts are perfectly split and where the slope may be zero: draws that never cross in the range
count as beyond it (the trouble with ratios of estimates: Fieller 1954, J. R. Statist. Soc. B 16, from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from meltdoe.fit.stages.phrases import capital, good_phrase, level_phrase, percent
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.fit.stages.stage_data import BoolArray
from meltdoe.fit.stages.stage_fit import StageFit
from meltdoe.series.factor import Amount, Choice, FloatArray, Ordered, Setting

__all__ = ["Threshold", "threshold"]

_POINTS = 121  # points of each curve; crossings between them are interpolated


@dataclass(frozen=True, slots=True)
class Threshold:
    """Where a chance crosses `chance` as one factor is turned.

    Attributes
    ----------
    factor, chance : what was asked.
    direction : "at least" where the chance rises with the factor, "at most" where it falls.
    value, low, high : median of the crossing and its interval at `level`, raw units, held to the factor's range.
    probability_within : chance that the crossing lies inside the range.
    probability_beyond_range : chance that no setting of the range reaches `chance`.
    probability_throughout : chance that every setting of the range reaches it.
    at : the settings of the other factors.
    sentence : the same in words.
    """

    factor: str
    chance: float
    direction: Literal["at least", "at most"]
    value: float
    low: float
    high: float
    level: float
    probability_within: float
    probability_beyond_range: float
    probability_throughout: float
    at: Mapping[str, Setting]
    sentence: str


def threshold(
    fit: StageFit | ChainFit, factor: str, chance: float, at: Mapping[str, Setting] | None = None
) -> Threshold:
    """Find where the chance of one outcome, or of success along the whole chain, crosses `chance`.

    Parameters
    ----------
    factor : an amount or an ordered factor.
    chance : the chance wanted, between 0 and 1.
    at : settings of the other factors; those left out stand in their middle.

    Raises
    ------
    ValueError
        Where the factor is a choice (its options have no order) or the chance is none.
    """
    series = fit.series
    turned = series.factor(factor)
    if isinstance(turned, Choice):
        raise ValueError(f'"{factor}" is a choice: its options have no order, so no threshold lies between them')
    if not 0 < chance < 1:
        raise ValueError(f"the chance must lie between 0 and 1, not {chance}")
    base = series.coding.centre()
    asked = series.raw({name: value for name, value in (at or {}).items() if name != factor})
    base = np.where(np.isnan(asked), base, asked)
    position = series.factor_names.index(factor)
    points = turned.decoded(np.linspace(-1, 1, _POINTS)) if isinstance(turned, Amount) else turned.grid()
    table = np.tile(base, (len(points), 1))
    table[:, position] = points
    draws = fit.chance_draws(table) if isinstance(fit, StageFit) else fit.success_draws(table)

    mean = draws.mean(axis=0)
    rising = bool(mean[-1] >= mean[0])
    curves, along = (draws, points) if rising else (draws[:, ::-1], points[::-1])
    crossing, never, always = _crossings(curves, along, chance, isinstance(turned, Ordered))
    tail = (1 - fit.level) / 2
    method: Literal["nearest", "linear"] = "nearest" if isinstance(turned, Ordered) else "linear"
    low, value, high = (float(q) for q in np.quantile(crossing, [tail, 0.5, 1 - tail], method=method))
    direction: Literal["at least", "at most"] = "at least" if rising else "at most"
    others = {name: s for name, s in series.settings(base).items() if name != factor}
    what = "success" if isinstance(fit, ChainFit) else good_phrase(fit.outcome)
    return Threshold(
        factor,
        chance,
        direction,
        value,
        low,
        high,
        fit.level,
        float(1 - never.mean() - always.mean()),
        float(never.mean()),
        float(always.mean()),
        others,
        _sentence(
            turned, what, chance, direction, (value, low, high), fit.level, float(never.mean()), float(always.mean())
        ),
    )


def _crossings(
    curves: FloatArray, along: FloatArray, chance: float, listed: bool
) -> tuple[FloatArray, BoolArray, BoolArray]:
    """First upward crossing of each curve (n_draws, n_points); whether it never comes, whether all lies above.

    A curve that starts above the value, falls below it and does not come back has no upward crossing: what helps on
    the whole would hurt there, so it counts as never.
    """
    above = np.asarray(curves >= chance)
    up = ~above[:, :-1] & above[:, 1:]
    crosses = up.any(axis=1)
    always = np.asarray(above.all(axis=1))
    never = np.asarray(~crosses & ~always)
    first = up.argmax(axis=1)
    rows = np.arange(len(curves))
    before, after = curves[rows, first], curves[rows, first + 1]
    step = np.where(crosses, (chance - before) / np.where(after > before, after - before, 1.0), 0.0)
    between = along[first + 1] if listed else along[first] + step * (along[first + 1] - along[first])
    crossing = np.where(crosses, between, np.where(always, along[0], along[-1]))
    return crossing, never, always


def _sentence(
    factor: Amount | Ordered,
    what: str,
    chance: float,
    direction: str,
    values: tuple[float, float, float],
    level: float,
    never: float,
    always: float,
) -> str:
    ends = (factor.low, factor.high) if isinstance(factor, Amount) else (0.0, len(factor.options) - 1.0)
    value, low, high = (factor.show(_shown(factor, v)) for v in values)
    goal = f"for {what} with a chance of {percent(chance)}"
    hard_end = ends[1] if direction == "at least" else ends[0]
    beyond = f"chance that no setting of {factor.name} in its range is enough: {percent(never)}"
    if never >= 0.5:
        return f"{capital(factor.name)} {goal}: probably not within its range; {beyond}."
    if always >= 0.5:
        return (
            f"{capital(factor.name)} {goal}: probably anywhere in its range, the other factors held; chance "
            f"that all of it is enough: {percent(always)}."
        )
    text = f"{capital(factor.name)} {direction} {value} {goal}; between {low} and {high} with {level_phrase(level)}"
    if hard_end in values[1:] and never > 0.005:
        text += f" or beyond the range ({beyond})"
    return f"{text}."


def _shown(factor: Amount | Ordered, value: float) -> float:
    """Rounded to a thousandth of the range, so that no false digits are shown."""
    if not isinstance(factor, Amount):
        return value
    unit = 10 ** np.floor(np.log10((factor.high - factor.low) / 100))
    return float(np.clip(np.round(value / unit) * unit, factor.low, factor.high))
