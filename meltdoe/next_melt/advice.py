"""The next melt or firing, or a reason to stop: candidates are scored, sets are chosen, the verdict is given.

Two aims are mixed. *Learn* ranks by staged information per money (`information`), *reach* by the expected gain in the
best setting's chance (`gain`). Left to the program, the weight moves from learning to reaching as the budget of melts
is used up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from meltdoe.errors import Inestimable
from meltdoe.fit.stage_chain import BestSetting, ChainFit
from meltdoe.next_melt.firing_set import added_information, coarser
from meltdoe.next_melt.gain import expected_gain, most_that_could_be_gained
from meltdoe.next_melt.information import staged_information
from meltdoe.next_melt.stopping import Verdict, verdict
from meltdoe.next_melt.views import ChainViews, chain_views
from meltdoe.next_melt.worth import expected_worth
from meltdoe.plans.candidates import candidate_settings
from meltdoe.series.factor import FloatArray, Setting

__all__ = ["Advice", "Aim", "Suggestion", "next_melts"]

Aim: TypeAlias = Literal["auto", "learn", "reach"]

_CANDIDATES = 3000  # settings looked at first
_SHORTLIST = 150  # settings looked at closely
_TARGETS = 200  # settings that may come out as the best
_DRAWS = 400  # posterior draws used for ranking the shortlist
_FEW_DRAWS = 200  # and for the first look
_USUAL_SERIES = 14  # melts of a usual series, where no budget is given


@dataclass(frozen=True, eq=False)  # a repeat of a melt in the same firing is a proposal of its own
class Suggestion:
    """One proposed melt.

    Parameters
    ----------
    chance, low, high : chance that everything that counts is good, with its interval.
    information : nats that the melt is expected to add to those before it in the list.
    share_by_stage : part of the information that each outcome brings, by outcome name.
    gain : expected gain in the best setting's chance.
    cost : money expected, losses included, with an even share of the firing.
    risk : chance of a failure that has a loss to it.
    """

    settings: Mapping[str, Setting]
    raw: FloatArray
    firing: int
    chance: float
    low: float
    high: float
    information: float
    share_by_stage: Mapping[str, float]
    gain: float
    cost: float
    risk: float


@dataclass(frozen=True)
class Advice:
    """What to do next.

    Parameters
    ----------
    melts : the proposed melts of one firing, most telling first.
    best : the setting to use if the series ended now.
    best_again : information that one more melt at the best setting would bring, nats.
    runner_up : the second-best single melt, at a different setting.
    safest : the least risky of the melts that still tell at least half as much, or None where nothing can be lost.
    aim : what was aimed at, and `learn_weight` from 0 (reach only) to 1 (learn only).
    """

    melts: tuple[Suggestion, ...]
    best: BestSetting
    best_again: float
    runner_up: Suggestion | None
    safest: Suggestion | None
    aim: Aim
    learn_weight: float
    verdict: Verdict
    level: float


@dataclass(frozen=True, eq=False)
class _Scores:
    """Everything about a shortlist, arrays over its candidates."""

    views: ChainViews
    by_stage: FloatArray  # (n_stages, n_candidates)
    gain: FloatArray
    price: FloatArray
    risk: FloatArray
    value: FloatArray


def next_melts(
    chain: ChainFit,
    *,
    count: int | None = None,
    aim: Aim = "auto",
    most_risk: float | None = None,
    seed: int | None = None,
) -> Advice:
    """Choose the next melt or firing.

    Parameters
    ----------
    count : melts wanted; by default as many as one firing holds.
    aim : "learn", "reach", or "auto" for a mixture that moves towards reaching.
    most_risk : ceiling on the chance of a costly failure, 0..1; kept wherever any setting can keep it.
    seed : of the candidates; the series' own by default.

    Returns
    -------
    Advice whose melts keep every limit, stand on the steps, and share all factors that are set per firing.

    Raises
    ------
    Inestimable
        Where no outcome is judged, so that no setting is better than another; or where no setting keeps every limit.
    """
    if not any(stage.outcome.counts for stage in chain.stages):
        raise Inestimable(
            "no outcome of this series is judged, so no melt is better than another; say in series.toml what is good"
        )
    series = chain.series
    seed = series.seed if seed is None else seed
    wanted = min(count or series.kiln.melts_per_firing, series.kiln.melts_per_firing)
    best = chain.best()
    weight = {"learn": 1.0, "reach": 0.0}.get(aim, _learn_weight(chain))

    raw = np.vstack([candidate_settings(series, _CANDIDATES, seed), best.raw])
    wide = chain_views(chain, raw, _FEW_DRAWS, in_full=False)
    hopeful = np.argsort(-wide.success_draws.mean(axis=0))[:_TARGETS]
    targets = chain_views(chain, raw[hopeful], _DRAWS, in_full=False)
    safe = _within_risk(chain, raw, most_risk)
    scores = _score(chain, raw[safe[_shortlist(chain, wide.at(safe), weight)]], targets, weight)
    if wanted == 1 or not series.per_firing:
        chosen, pool = _choose(scores, wanted, weight), scores
    else:
        pool, chosen = _best_firing(chain, scores, targets, wanted, weight, most_risk, seed)
    suggestions = _suggest(chain, pool, chosen)
    order = np.argsort(-scores.value)
    others = [i for i in order if not np.allclose(scores.views.raw[i], suggestions[0].raw)]
    return Advice(
        melts=suggestions,
        best=best,
        best_again=float(staged_information(chain_views(chain, best.raw[None, :], _DRAWS).stages).sum()),
        runner_up=_suggest(chain, scores, others[:1])[0] if others else None,
        safest=_safest(chain, scores, suggestions[0]),
        aim=aim,
        learn_weight=weight,
        verdict=verdict(
            chain,
            reaches=float((chain.success_draws(best.raw[None, :]) >= series.target_chance).mean()),
            reachable=float((wide.success_draws.max(axis=1) >= series.target_chance).mean()),
            gain=float(scores.gain.max()),
            most_gain=most_that_could_be_gained(targets.good_draws(targets)),
            cost=suggestions[0].cost,
        ),
        level=chain.level,
    )


def _learn_weight(chain: ChainFit) -> float:
    budget = chain.series.budget.melts or _USUAL_SERIES
    return float(np.clip(0.7 * (1.0 - len(chain.log.entries) / budget), 0.0, 0.7))


def _shortlist(chain: ChainFit, wide: ChainViews, weight: float) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """The candidates worth a close look: most telling per money, and most likely to succeed."""
    price = _price_with_firing(chain, wide)
    telling = np.argsort(-staged_information(wide.stages).sum(axis=0) / price, kind="stable")
    hopeful = np.argsort(-wide.success_draws.mean(axis=0), kind="stable")
    part = round(_SHORTLIST * (0.5 + 0.5 * weight))
    return np.unique(np.concatenate([telling[:part], hopeful[: _SHORTLIST - part]]))


def _price_with_firing(chain: ChainFit, views: ChainViews) -> FloatArray:
    """Price of a melt in a full firing; all ones where the series knows no prices."""
    costs = chain.series.costs
    if not costs.known:
        return np.ones(len(views.raw))
    share = costs.firing / chain.series.kiln.melts_per_firing
    return np.asarray(np.maximum(expected_worth(costs, views.names, views.stages).price + share, 1e-9))


def _within_risk(chain: ChainFit, raw: FloatArray, most_risk: float | None) -> npt.NDArray[np.intp]:
    """Positions of the settings that keep the ceiling on a costly failure; of the safest ones where none can."""
    if most_risk is None:
        return np.arange(len(raw))
    risk = _risk(chain, raw)
    return np.flatnonzero(risk <= max(most_risk, float(risk.min())))


def _risk(chain: ChainFit, raw: FloatArray) -> FloatArray:
    """Chance of a costly failure at raw settings, from all draws, shape (n,)."""
    views = chain_views(chain, raw, in_full=False)
    return expected_worth(chain.series.costs, views.names, views.stages).costly_failure


def _score(chain: ChainFit, raw: FloatArray, targets: ChainViews, weight: float) -> _Scores:
    views = chain_views(chain, raw, _DRAWS)
    by_stage = staged_information(views.stages)
    gain = np.maximum(expected_gain(views.good_draws(targets)), 0.0)
    price = _price_with_firing(chain, views)
    value = weight * _share_of_best(by_stage.sum(axis=0) / price) + (1.0 - weight) * _share_of_best(gain)
    return _Scores(views, by_stage, gain, price, _risk(chain, raw), value)


def _share_of_best(score: FloatArray) -> FloatArray:
    top = float(score.max())
    return np.asarray(score / top) if top > 0.0 else np.zeros_like(score)


def _choose(scores: _Scores, wanted: int, weight: float) -> list[int]:
    """Melts one after another, each for what it adds to those before it."""
    stages = [coarser(stage) for stage in scores.views.stages]
    chosen = [int(np.argmax(scores.value))]
    while len(chosen) < wanted:
        added = _share_of_best(added_information(stages, chosen) / scores.price)
        value = weight * added + (1.0 - weight) * _share_of_best(added * scores.gain + 1e-12 * added)
        chosen.append(int(np.argmax(value)))
    return chosen


def _best_firing(
    chain: ChainFit,
    scores: _Scores,
    targets: ChainViews,
    wanted: int,
    weight: float,
    most_risk: float | None,
    seed: int,
) -> tuple[_Scores, list[int]]:
    """Try several settings of the shared factors, fill a firing for each, keep the one that is worth most."""
    series = chain.series
    shared = list(series.per_firing)
    tried: dict[tuple[float, ...], float] = {}
    for i in np.argsort(-scores.value, kind="stable"):
        tried.setdefault(tuple(scores.views.raw[i, shared]), float(scores.value[i]))
        if len(tried) == 8:
            break
    best: tuple[float, _Scores, list[int]] | None = None
    top_information = float((scores.by_stage.sum(axis=0) / scores.price).max()) or 1.0
    top_gain = float(scores.gain.max()) or 1.0
    for common in tried:
        same = np.all(scores.views.raw[:, shared] == common, axis=1)
        settings = series.settings(scores.views.raw[int(np.flatnonzero(same)[0])])
        held = {series.factor_names[i]: settings[series.factor_names[i]] for i in shared}
        raw = np.vstack([candidate_settings(series, 4 * _SHORTLIST, seed, per_firing=held), scores.views.raw[same]])
        raw = raw[_within_risk(chain, raw, most_risk)]
        wide = chain_views(chain, raw, _FEW_DRAWS, in_full=False)
        near = _score(chain, raw[_shortlist(chain, wide, weight)], targets, weight)
        chosen = _choose(near, wanted, weight)
        stages = [coarser(stage) for stage in near.views.stages]
        information = sum(
            float((added_information(stages, chosen[:i]) / near.price)[melt]) for i, melt in enumerate(chosen)
        )
        worth = (
            weight * information / top_information + (1.0 - weight) * wanted * float(near.gain[chosen].max()) / top_gain
        )
        if best is None or worth > best[0]:
            best = (worth, near, chosen)
    assert best is not None
    return best[1], best[2]


def _suggest(chain: ChainFit, scores: _Scores, chosen: list[int]) -> tuple[Suggestion, ...]:
    if not chosen:
        return ()
    series = chain.series
    firing = 1 + max((entry.firing for entry in chain.log.entries), default=0)
    stages = [coarser(stage) for stage in scores.views.stages]
    chances = chain.chance(scores.views.raw[chosen])
    share = series.costs.firing / len(chosen)
    worth = expected_worth(series.costs, scores.views.names, scores.views.stages)
    found = []
    for place, i in enumerate(chosen):
        alone = scores.by_stage[:, i]
        added = float(added_information(stages, chosen[:place])[i]) if place else float(alone.sum())
        total = float(alone.sum()) or 1.0
        found.append(
            Suggestion(
                settings=series.settings(scores.views.raw[i]),
                raw=scores.views.raw[i],
                firing=firing,
                chance=float(chances.mean[place]),
                low=float(chances.low[place]),
                high=float(chances.high[place]),
                information=added,
                share_by_stage={n: float(a) / total for n, a in zip(scores.views.names, alone, strict=True)},
                gain=float(scores.gain[i]),
                cost=float(worth.price[i]) + share,
                risk=float(scores.risk[i]),
            )
        )
    return tuple(found)


def _safest(chain: ChainFit, scores: _Scores, first: Suggestion) -> Suggestion | None:
    if not any(chain.series.costs.loss.values()):
        return None
    telling = np.flatnonzero(scores.by_stage.sum(axis=0) >= 0.5 * sum(scores.by_stage.max(axis=1)) * 0.5)
    telling = telling if len(telling) else np.arange(len(scores.risk))
    safest = int(telling[np.argmin(scores.risk[telling])])
    if scores.risk[safest] >= first.risk - 0.02:
        return None
    return _suggest(chain, scores, [safest])[0]
