"""The panel in which a reader turns the factors: what the page needs to work out every chance by itself.

With s the draw, x the coded settings and z a standard normal firing, all kinds of outcome have one form,

    P_s(good) = E_z sum_j [ F(upper_js - eta) - F(lower_js - eta) ],   eta = x'b_s + sd_s z,

F logistic for pass (lower 0, upper infinite) and grade (the thresholds around each good grade), normal for a
measurement (the ends of its good range, all in units of what one reading scatters in a new firing, so that sd_s is 0).
E_z is the nine-point Gauss-Hermite rule of `meltdoe.fit.draws.posterior_draws`. The chance of success is the product
over the stages, draw by draw, as in `meltdoe.fit.stages.stage_chain`. Quantities of the glass are read off a grid, in
straight lines between its points. Draws are kept as 32-bit numbers, little end first, all of them where the page bears
it.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import Any

import numpy as np

from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.phrases import good_phrase
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.fit.stages.stage_fit import StageFit
from meltdoe.log.melt_log import Entry
from meltdoe.report.plain_text import one_line, shortened
from meltdoe.report.seen_words import seen_phrase
from meltdoe.series.coding import contrasts
from meltdoe.series.factor import Amount, Choice, Factor, FloatArray
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import GoodRange

__all__ = ["WhatIf", "what_if"]

_NUMBERS_AT_MOST = 200_000  # of four bytes each, a third more as text: about a megabyte of the page
_PLACES = 201  # places of a slider whose factor has no step, or very many
_MELTS_AT_MOST = 300


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What the panel is told.

    Attributes
    ----------
    n_draws, of_draws : draws that the page holds, and that the fit holds. thin : every how many-th they are.
    data : plain numbers, text and lists, for JSON.
    """

    n_draws: int
    of_draws: int
    thin: int
    data: dict[str, Any]


def what_if(chain: ChainFit, best: BestSetting) -> WhatIf:
    """Gather factors, limits, draws and melts; `best` is where the panel starts."""
    series = chain.series
    judged = [stage for stage in chain.stages if stage.outcome.counts]
    width = sum(stage.posterior.n_coef + stage.posterior.n_shape + 2 for stage in judged)
    thin = max(1, -(-chain.n_draws * width // _NUMBERS_AT_MOST))
    stages = [_stage(series, stage, thin) for stage in judged]
    nodes, weights = np.polynomial.hermite_e.hermegauss(9)
    placed = [
        e for e in chain.log.entries if e.settings.keys() >= set(series.factor_names)
    ]  # the rest is near to nothing
    entries = sorted(placed, key=lambda e: (e.melt, e.mould))[:_MELTS_AT_MOST]
    n_draws = len(range(0, chain.n_draws, thin))
    data = {
        "draws": n_draws,
        "level": chain.level,
        "target": series.target_chance,
        "nodes": nodes.tolist(),
        "node_weights": (weights / weights.sum()).tolist(),
        "factors": [_factor(f, float(best.raw[i])) for i, f in enumerate(series.factors)],
        "quantities": [{"tree": one.grid, "low": one.low, "high": one.high} for one in series.derived],
        "limits": [
            {"tree": limit.comparison.nested, "text": one_line(limit.keep), "why": one_line(limit.why)}
            for limit in series.limits
        ],
        "stages": stages,
        "melts": [_melt(chain, entry) for entry in entries],
    }
    return WhatIf(n_draws, chain.n_draws, thin, data)


def _factor(factor: Factor, best: float) -> dict[str, Any]:
    said: dict[str, Any] = {"name": factor.name, "title": one_line(factor.title), "kind": factor.kind}
    if isinstance(factor, Amount):
        places = np.union1d(factor.grid(_PLACES), [best])
        said |= {
            "unit": one_line(factor.unit),
            "low": factor.low,
            "high": factor.high,
            "log": factor.scale == "log",
            "places": places.tolist(),
        }
    else:
        said["options"] = [shortened(option, 60) for option in factor.options]
        if isinstance(factor, Choice):
            said["contrasts"] = contrasts(len(factor.options)).tolist()
    return {**said, "start": best}


def _stage(series: MeltSeries, stage: StageFit, thin: int) -> dict[str, Any]:
    """One outcome; each draw is its slopes, the sd of firings, and the ends of what is good, all in units of the scale.

    The ends are counted from the constant, so that 32 bits lose nothing where a reading is large beside its scatter.
    """
    posterior, outcome = stage.posterior, stage.outcome
    index = {name: i for i, name in enumerate((*series.factor_names, *(one.name for one in series.derived)))}
    terms = [[[index[name], power] for name, power in term.powers] for term in stage.model]
    n_columns = len(series.coding.column_terms(stage.model))
    scale, firing = np.ones(len(posterior.draws)), posterior.group_sd
    if outcome.kind == "measured":  # a firing is as normal as the scatter: nothing is left to average over
        scale, firing = np.hypot(np.exp(posterior.shape[:, 0]), firing), np.zeros(len(posterior.draws))
    columns = [posterior.coef[:, 1:n_columns] / scale[:, None], firing]
    places: list[list[int | None]] = []
    width = n_columns
    for pair in _ends(stage):
        place: list[int | None] = []
        for end in pair:
            place.append(None if end is None else width)
            if end is not None:
                columns.append((end - posterior.coef[:, 0]) / scale)
                width += 1
        places.append(place)
    table = np.column_stack(columns)[::thin]
    return {
        "title": one_line(good_phrase(outcome)),
        "normal": outcome.kind == "measured",
        "terms": terms,
        "good": places,
        "width": width,
        "values": base64.b64encode(np.ascontiguousarray(table, dtype="<f4").tobytes()).decode("ascii"),
    }


def _ends(stage: StageFit) -> list[tuple[FloatArray | None, FloatArray | None]]:
    """Lower and upper end of each good part, one value a draw; None where it goes on for ever."""
    posterior, outcome = stage.posterior, stage.outcome
    n = len(posterior.draws)
    if outcome.kind == "pass":
        return [(np.zeros(n), None)]  # yes is eta above a logistic threshold at 0: F(inf) - F(-eta)
    if outcome.kind == "grade":
        gaps = np.exp(posterior.shape)
        cuts = np.column_stack([np.zeros(n), np.cumsum(gaps, axis=1)])
        chosen = [i for i, grade in enumerate(outcome.grades) if grade in (outcome.good or ())]
        last = posterior.n_grades - 1
        return [(cuts[:, i - 1] if i else None, cuts[:, i] if i < last else None) for i in chosen]
    assert isinstance(outcome.good, GoodRange)
    low, high = outcome.good.low, outcome.good.high
    # what piles up at a bound counts as good where the good range reaches it
    return [
        (
            None if low <= posterior.bounds[0] else np.full(n, low),
            None if high >= posterior.bounds[1] else np.full(n, high),
        )
    ]


def _melt(chain: ChainFit, entry: Entry) -> dict[str, Any]:
    series = chain.series
    raw = series.raw(entry.settings)
    name = f"{entry.melt}.{entry.mould}" if series.moulds_per_melt > 1 else f"{entry.melt}"
    return {
        "name": name,
        "raw": raw.tolist(),
        "good": chain.log.succeeded(entry),
        "seen": shortened(seen_phrase(series, entry), 300),
    }
