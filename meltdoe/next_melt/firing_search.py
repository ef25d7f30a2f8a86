"""Which melts: candidates are looked at broadly, a shortlist closely, and a firing is filled melt by melt.

A shortlist is scored by what it tells per money (`information`) and by the gain in the best setting's chance (`gain`),
mixed by the weight of the two aims. Where no melt is expected to raise that chance by a point, gains are mostly Monte
Carlo error, and the melt that is itself most likely to succeed reaches most. A melt that costs more than knowing
everything would be worth is passed over while there are others. Where factors are set once per firing, several settings
of those are tried, a firing is filled for each, and the one that is worth most is kept (process-constrained batches:
Vellanki et al. 2017).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from meltdoe.fit.stages.stage_chain import N_DRAWS, ChainFit
from meltdoe.next_melt.firing_set import added_information, coarser
from meltdoe.next_melt.gain import expected_gain
from meltdoe.next_melt.information import staged_information
from meltdoe.next_melt.views import RANKING_DRAWS, ChainViews, chain_views
from meltdoe.next_melt.worth import expected_worth
from meltdoe.plans.optimal.candidates import candidate_settings
from meltdoe.series.factor import FloatArray

__all__ = [
    "FEW_DRAWS", "Scores", "best_firing", "choose", "risk_at", "score", "shortlist", "within_risk",
]  # fmt: skip

FEW_DRAWS = 200  # posterior draws used for the first look
_SHORTLIST = 120  # settings looked at closely
_FIRINGS, _DRAFT_FIRINGS = 6, 3  # settings of the shared factors that are tried, and from a draft
_A_POINT = 0.01  # gain in the best chance below which gains are not told apart
_JOINT_GAIN = 2  # melts already chosen up to which the joint gain of one more is enumerated
_SETTINGS_A_FIRING, _SHORTLIST_A_FIRING = 300, 60

Positions = npt.NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Scores:
    """Everything about a shortlist, arrays over its candidates.

    Parameters
    ----------
    by_stage : (n_stages, n), nats that each outcome is expected to bring.
    gain : expected gain in the best setting's chance.
    price : money expected for a melt in a full firing; ones where the series knows no prices.
    risk : chance of a costly failure.
    reach : gain, with `lift` times the chance of success of the melt itself. most_price : a melt that is worth making
        costs no more. value : what the two aims make of it, 1 at most.
    """

    views: ChainViews
    by_stage: FloatArray
    gain: FloatArray
    price: FloatArray
    risk: FloatArray
    reach: FloatArray
    value: FloatArray
    lift: float
    most_price: float

    @property
    def information(self) -> FloatArray:
        """Nats of all outcomes together, shape (n,)."""
        return np.asarray(self.by_stage.sum(axis=0))

    @property
    def payable(self) -> npt.NDArray[np.bool_]:
        """Which cost no more than `most_price`; all where none does, shape (n,)."""
        return _payable(self.price, self.most_price)

    @property
    def tops(self) -> tuple[float, float]:
        """Most information per price and most reach of any candidate; 1 where there is none."""
        return float((self.information / self.price).max()) or 1.0, float(self.reach.max()) or 1.0

    def share_of_top(self, other: Scores, place: int, weight: float) -> float:
        """The value of one candidate of another shortlist, on the scale of this one."""
        told = float(other.information[place] / other.price[place])
        top_told, top_reach = self.tops
        return weight * told / top_told + (1.0 - weight) * float(other.reach[place]) / top_reach


def shortlist(chain: ChainFit, wide: ChainViews, weight: float, most: int = _SHORTLIST) -> Positions:
    """The candidates worth a close look: most telling per money, most likely to succeed, and safest that still tell."""
    told = staged_information(wide.stages).sum(axis=0)
    telling = np.argsort(-told / _price_with_firing(chain, wide), kind="stable")
    hopeful = np.argsort(-wide.success_draws.mean(axis=0), kind="stable")
    part = round(most * (0.5 + 0.5 * weight))
    found = [telling[:part], hopeful[: most - part]]
    if any(chain.series.costs.loss.values()):
        risk = expected_worth(chain.series.costs, wide.names, wide.stages).costly_failure
        still_telling = np.flatnonzero(told >= 0.5 * told.max())
        found.append(still_telling[np.argsort(risk[still_telling], kind="stable")[: most // 10]])
    return np.unique(np.concatenate(found))


def score(
    chain: ChainFit,
    raw: FloatArray,
    targets: ChainViews,
    weight: float,
    *,
    lift: float | None = None,
    most_price: float = np.inf,
) -> Scores:
    """Score settings (n, n_factors) against the settings that may come out as the best.

    Parameters
    ----------
    lift : as in `Scores`, from another shortlist of the same melts; by default from these settings.
    most_price : money that knowing everything would be worth.
    """
    views = chain_views(chain, raw, RANKING_DRAWS)
    by_stage = staged_information(views.stages)
    gain = np.maximum(expected_gain(views.good_draws(targets)), 0.0)
    price = _price_with_firing(chain, views)
    risk = expected_worth(chain.series.costs, views.names, views.stages).costly_failure
    success = views.success_draws.mean(axis=0)
    if lift is None:
        lift = max(_A_POINT - float(gain.max()), 0.0) / max(float(success.max()), 1e-9)
    reach = gain + lift * success
    value = weight * _share_of_best(by_stage.sum(axis=0) / price) + (1.0 - weight) * _share_of_best(reach)
    value = np.where(_payable(price, most_price), value, 0.0)
    return Scores(views, by_stage, gain, price, risk, reach, value, lift, most_price)


def _payable(price: FloatArray, most_price: float) -> npt.NDArray[np.bool_]:
    cheap = np.asarray(price <= most_price)
    return cheap if cheap.any() else ~cheap


def choose(
    scores: Scores,
    targets: ChainViews,
    wanted: int,
    weight: float,
    tops: tuple[float, float] | None = None,
    first: FloatArray | None = None,
) -> tuple[list[int], float]:
    """Melts one after another, each for what it adds to those before it.

    The joint gain is exact for as many melts as have few joint ways to go; further ones count by what they tell.

    Parameters
    ----------
    tops : information per price and reach that count as 1; the best of these candidates where None.
    first : (n_factors,) the candidate that is melted in any case; the one of most value where None.

    Returns
    -------
    Positions of the melts, and what they are worth together.
    """
    chosen = [int(np.argmax(scores.value if first is None else np.all(scores.views.raw == first, axis=1)))]
    told = float((scores.information / scores.price)[chosen[0]])
    gain, reach = float(scores.gain[chosen[0]]), float(scores.reach[chosen[0]])
    top_told, top_reach = tops or scores.tops
    lifted = scores.reach - scores.gain
    stages = [coarser(stage) for stage in scores.views.stages] if wanted > 1 else []
    good = scores.views.good_draws(targets) if wanted > 1 else ()
    while len(chosen) < wanted:
        added = added_information(stages, chosen) / scores.price
        value = weight * _share_of_best(added)
        more = np.zeros_like(added)
        if weight < 1.0 and len(chosen) <= _JOINT_GAIN:
            more = np.maximum(expected_gain(good, chosen) - gain, 0.0)
            value = value + (1.0 - weight) * _share_of_best(more + lifted + 1e-9 * added)
        elif weight < 1.0:
            value = value + (1.0 - weight) * _share_of_best(added * scores.reach + 1e-9 * added)
        place = int(np.argmax(np.where(scores.payable, value, -1.0)))
        told, gain = told + float(added[place]), gain + float(more[place])
        reach += float(more[place] + lifted[place])
        chosen.append(place)
    return chosen, weight * told / top_told + (1.0 - weight) * reach / top_reach


def best_firing(
    chain: ChainFit,
    scores: Scores,
    targets: ChainViews,
    wanted: int,
    weight: float,
    most_risk: float | None,
    seed: int,
    first: FloatArray | None = None,
) -> tuple[Scores, list[int]]:
    """Try several settings of the shared factors, fill a firing for each, keep the one that is worth most.

    Parameters
    ----------
    first : (n_factors,) a candidate that is melted in any case, or None.
    """
    series = chain.series
    shared = list(series.per_firing)
    tried: dict[tuple[float, ...], float] = {}
    for i in np.argsort(-scores.value, kind="stable"):
        if first is None or np.all(scores.views.raw[i, shared] == first[shared]):
            tried.setdefault(tuple(scores.views.raw[i, shared]), float(scores.value[i]))
        if len(tried) == (_FIRINGS if chain.n_draws >= N_DRAWS["full"] else _DRAFT_FIRINGS):
            break
    best: tuple[float, Scores, list[int]] | None = None
    for common in tried:
        same = np.all(scores.views.raw[:, shared] == common, axis=1)
        settings = series.settings(scores.views.raw[int(np.flatnonzero(same)[0])])
        held = {series.factor_names[i]: settings[series.factor_names[i]] for i in shared}
        raw = np.vstack([candidate_settings(series, _SETTINGS_A_FIRING, seed, per_firing=held), scores.views.raw[same]])
        raw = raw[within_risk(chain, raw, most_risk)]
        if len(raw) > _SHORTLIST_A_FIRING:
            wide = chain_views(chain, raw, FEW_DRAWS, in_full=False)
            raw = raw[shortlist(chain, wide, weight, _SHORTLIST_A_FIRING)]
        raw = raw if first is None else np.vstack([first, raw])
        near = score(chain, raw, targets, weight, lift=scores.lift, most_price=scores.most_price)
        chosen, worth = choose(near, targets, wanted, weight, scores.tops, first)
        if best is None or worth > best[0]:
            best = (worth, near, chosen)
    assert best is not None
    return best[1], best[2]


def within_risk(chain: ChainFit, raw: FloatArray, most_risk: float | None) -> Positions:
    """Positions of the settings that keep the ceiling on a costly failure; of the safest ones where none can."""
    if most_risk is None:
        return np.arange(len(raw))
    risk = risk_at(chain, raw)
    return np.flatnonzero(risk <= max(most_risk, float(risk.min())))


def risk_at(chain: ChainFit, raw: FloatArray) -> FloatArray:
    """Chance of a costly failure at raw settings (n, n_factors), from all draws, shape (n,)."""
    if not any(chain.series.costs.loss.values()):
        return np.zeros(len(raw))
    views = chain_views(chain, raw, in_full=False)
    return expected_worth(chain.series.costs, views.names, views.stages).costly_failure


def _price_with_firing(chain: ChainFit, views: ChainViews) -> FloatArray:
    costs = chain.series.costs
    if not costs.known:
        return np.ones(len(views.raw))
    share = costs.firing / chain.series.kiln.melts_per_firing
    return np.asarray(np.maximum(expected_worth(costs, views.names, views.stages).price + share, 1e-9))


def _share_of_best(score: FloatArray) -> FloatArray:
    top = float(score.max())
    return np.asarray(score / top) if top > 0.0 else np.zeros_like(score)
