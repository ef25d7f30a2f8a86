"""The next melt or firing, or a reason to stop: candidates are scored, sets are chosen, the verdict is given.

Two aims are mixed. *Learn* ranks by staged information per money (`information`), *reach* by the expected gain in the
best setting's chance (`gain`). Left to the program, the weight moves from learning to reaching as the budget of melts
is used up, and within the melts of a usual series at the latest: a longer budget is no reason to learn for longer. What
takes longer and is not always wanted (the forecast, what each result would lead to, where knowledge is thin, which
bounds stand in the way) is worked out when it is asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal, TypeAlias

import numpy as np

from meltdoe.errors import Inestimable
from meltdoe.fit.stages.stage_chain import N_DRAWS, BestSetting, ChainFit
from meltdoe.next_melt.believed_after import ResultBelief, believed_after
from meltdoe.next_melt.confirming import Confirmed, confirmed
from meltdoe.next_melt.firing_search import (
    FEW_DRAWS,
    Scores,
    best_firing,
    choose,
    risk_at,
    score,
    shortlist,
    within_risk,
)
from meltdoe.next_melt.forecast import Forecast, forecast_from
from meltdoe.next_melt.gain import most_that_could_be_gained
from meltdoe.next_melt.information import staged_information
from meltdoe.next_melt.left import Left, Room, Unmade, left_of_budget, unmade_melts
from meltdoe.next_melt.moves import Move, all_moves, moves_that_help
from meltdoe.next_melt.outlook import Outlook
from meltdoe.next_melt.planned import PlannedNext, planned_next
from meltdoe.next_melt.prospect import Prospect, hardly_reached, poor, prospect_of
from meltdoe.next_melt.stopping import (
    SPENT,
    Confirmation,
    Verdict,
    chance_reachable,
    confirmation,
    hope_left,
    most_worth_knowing,
    reachable_at_even_odds,
    stake,
    verdict,
)
from meltdoe.next_melt.suggestion import Suggestion, safest, suggest
from meltdoe.next_melt.thin_knowledge import ThinSpot, thin_spots
from meltdoe.next_melt.views import RANKING_DRAWS, chain_views
from meltdoe.next_melt.worth import melt_price
from meltdoe.plans.melt_plan import PlannedMelt
from meltdoe.plans.optimal.candidates import candidate_settings
from meltdoe.series.budget import USUAL_SERIES
from meltdoe.series.factor import FloatArray

__all__ = ["Advice", "Aim", "Ceiling", "Outlook", "Suggestion", "next_melts"]

Aim: TypeAlias = Literal["auto", "learn", "reach"]

_CANDIDATES, _DRAFT_CANDIDATES = 3000, 1000  # settings looked at first, and from a draft
_TARGETS = 200  # settings that may come out as the best
_FEWER = 4  # every so many draws are enough for what stands in the way of a series that goes on


@dataclass(frozen=True, slots=True)
class Ceiling:
    """What a ceiling on the chance of a costly failure does.

    Parameters
    ----------
    most_risk : the ceiling. kept : share of all settings looked at that keep it.
    best_risk : chance of a costly failure at the best setting.
    """

    most_risk: float
    kept: float
    best_risk: float


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
    wanted : melts that were asked for, or that a firing holds. left : what the budget allows.
    most_information : nats that the most telling single melt would bring.
    runner_up_share : what the runner-up is worth for the aim, as a share of the first proposal's worth.
    unmade : melts of the plan still to be made, or None. planned : the plan's next firing, held against the search;
        where it is followed its melts are the proposed ones.
    made : melts on record. room : how many more the budget allows, and which of its bounds says so.
    ceiling : what the ceiling on risk does, or None where none was set.
    confirmed : what melts planned as confirmation and made have shown, or None.
    outlook : what `forecast`, `results`, `thin`, `moves` and `confirmation` are worked out from; None leaves them out.
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
    wanted: int = 0
    left: Left = field(default_factory=lambda: Left(None, None, None))
    most_information: float = 0.0
    runner_up_share: float = 0.0
    unmade: Unmade | None = None
    planned: PlannedNext | None = None
    made: int = 0
    room: Room = field(default_factory=lambda: Room(None, ()))
    ceiling: Ceiling | None = None
    confirmed: Confirmed | None = None
    outlook: Outlook | None = field(default=None, repr=False, compare=False)

    @property
    def follows_plan(self) -> bool:
        """Whether the proposed melts are those of the plan."""
        return self.planned is not None and self.planned.followed

    @property
    def tries_best(self) -> bool:
        """Whether the best setting is melted before the target is called out of reach."""
        return self.verdict.last_try and not self.follows_plan

    @property
    def spent(self) -> bool:
        """Whether the budget is used up, so that any further melt goes beyond it."""
        return self.verdict.ending in SPENT

    @cached_property
    def forecast(self) -> Forecast | None:
        """Melts and money still needed; None where the target counts as reached."""
        if self.outlook is None or self.verdict.ending == "reached":
            return None
        gain = self.verdict.most_gain if self.verdict.ending == "go on" else np.inf
        return self._played_on(self.outlook, None if self.spent else self.room.melts, gain)

    def _played_on(self, here: Outlook, bound: int | None, gain: float) -> Forecast:
        played = here.played_settings(self.best, self.melts)
        price = melt_price(here.chain, self.best.raw)
        return forecast_from(here.chain, played, here.learn_weight, here.seed, bound, price, gain)

    @cached_property
    def prospect(self) -> Prospect | None:
        """Why going on will hardly end in certainty; None where it may, or before the first melt, or at a stop."""
        here, forecast = self.outlook, self.forecast
        if here is None or forecast is None or not self.made or self.verdict.word == "stop" or not poor(forecast):
            return None
        longer = self._played_on(here, None, np.inf) if forecast.within_budget else None
        settings = np.vstack([self.best.raw, here.targets.raw])
        if longer is not None and longer.horizon <= forecast.horizon:
            longer = None
        even_odds = reachable_at_even_odds(here.chain) if hardly_reached(forecast) else 1.0
        return prospect_of(forecast, longer, even_odds, self.best.chance, all_moves(here.chain, settings, _FEWER))

    @cached_property
    def likely_best(self) -> float | None:
        """As likely as not, the best of all settings succeeds no more often than this."""
        return None if self.outlook is None else float(np.median(self.outlook.targets.success_draws.max(axis=1)))

    @cached_property
    def results(self) -> tuple[ResultBelief, ...]:
        """What each result of the first proposed melt would lead to believe."""
        if self.outlook is None or not self.melts:
            return ()
        chain, targets = self.outlook.chain, self.outlook.targets.raw
        then = chain_views(chain, np.vstack([self.best.raw, targets]), in_full=False)
        today = then.success_draws.mean(axis=0)
        then = then.at(np.flatnonzero(today <= today[0] + 1e-12))  # the best stays the best until something is seen
        melt = chain_views(chain, self.melts[0].raw, in_full=False)
        names = [name for name, stage in zip(melt.names, melt.stages, strict=True) if stage.counts]
        return believed_after(chain.series, names, melt.good_draws(then), then.raw, 0)

    @cached_property
    def thin(self) -> tuple[ThinSpot, ...]:
        """Where along each factor knowledge is thin, the thinnest first."""
        return () if self.outlook is None else thin_spots(self.outlook.chain, self.outlook.views.raw)

    @cached_property
    def moves(self) -> tuple[Move, ...]:
        """Limits and ends of ranges that would have to move, where the target is out of reach."""
        if self.outlook is None or self.verdict.ending != "out of reach":
            return ()
        settings = np.vstack([self.best.raw, self.outlook.targets.raw])
        return moves_that_help(all_moves(self.outlook.chain, settings), self.verdict.reachable)

    @cached_property
    def confirmation(self) -> Confirmation | None:
        """What good melts in a row at the best setting would prove."""
        if self.outlook is None:
            return None
        chain = self.outlook.chain
        return confirmation(chain.success_draws(self.best.raw[None, :])[:, 0], chain.series.target_chance)


def next_melts(
    chain: ChainFit,
    *,
    count: int | None = None,
    aim: Aim = "auto",
    most_risk: float | None = None,
    seed: int | None = None,
    planned: Sequence[PlannedMelt] = (),
) -> Advice:
    """Choose the next melt or firing.

    Parameters
    ----------
    count : melts wanted; by default as many as one firing holds. Never more than the budget has left are proposed;
        where nothing is left, the one melt that would be worth most.
    aim : "learn", "reach", or "auto" for a mixture that moves towards reaching.
    most_risk : ceiling on the chance of a costly failure, 0..1; kept wherever any setting can keep it.
    seed : of the candidates; the series' own by default.
    planned : the melts of the plan, so that those still to be made are not forgotten.

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
    left, wanted = left_of_budget(chain.log), count or series.kiln.melts_per_firing
    best = chain.best()
    weight = {"learn": 1.0, "reach": 0.0}.get(aim, _learn_weight(chain))

    looked_through = _CANDIDATES if chain.n_draws >= N_DRAWS["full"] else _DRAFT_CANDIDATES
    raw = np.vstack([candidate_settings(series, looked_through, seed), best.raw])
    wide = chain_views(chain, raw, FEW_DRAWS, in_full=False)
    hopeful = np.argsort(-wide.success_draws.mean(axis=0))[:_TARGETS]
    targets = chain_views(chain, raw[hopeful], RANKING_DRAWS, in_full=False)
    safe = within_risk(chain, raw, most_risk)
    looked_at = wide if most_risk is None else wide.at(safe)
    reachable = chance_reachable(chain, wide)
    hope = hope_left(chain, reachable, best.raw, can_be_tried=len(raw) - 1 in safe)
    first = best.raw if hope == "last try" else None
    near = looked_at.raw[shortlist(chain, looked_at, weight)]
    most_gain = most_worth_knowing(chain, most_that_could_be_gained(targets.good_draws(targets)), best)
    most_price = np.inf if (worth := stake(series)) is None else most_gain * worth
    asked = near if first is None else np.vstack([first, near])
    scores = score(chain, asked, targets, weight, most_price=most_price)
    together = _payable(chain, scores, left, min(wanted, series.kiln.melts_per_firing))
    if together == 1 or not series.per_firing:
        chosen, pool = choose(scores, targets, together, weight, first=first)[0], scores
    else:
        pool, chosen = best_firing(chain, scores, targets, together, weight, most_risk, seed, first)
    suggestions = suggest(chain, pool, chosen)
    while len(suggestions) > 1 and left.money is not None and sum(melt.cost for melt in suggestions) > left.money:
        chosen = chosen[:-1]
        suggestions = suggest(chain, pool, chosen)
    first_worth = scores.share_of_top(pool, chosen[0], weight)
    unmade = unmade_melts(chain.log, planned)
    plan = None
    if unmade is not None:
        plan = planned_next(chain, planned, unmade, suggestions, scores, targets, weight, most_risk)
    if plan is not None and plan.followed:
        suggestions = plan.first(len(suggestions), series.costs.firing)
    else:
        suggestions = _numbered(suggestions, planned)
    same = np.all(np.isclose(scores.views.raw, suggestions[0].raw), axis=1)
    others = [int(i) for i in np.argsort(-scores.value) if not same[i]]
    return Advice(
        melts=suggestions,
        best=best,
        best_again=float(staged_information(chain_views(chain, best.raw[None, :], RANKING_DRAWS).stages).sum()),
        runner_up=suggest(chain, scores, others[:1])[0] if others else None,
        safest=safest(chain, scores, suggestions[0]),
        aim=aim,
        learn_weight=weight,
        verdict=verdict(
            chain,
            reaches=best.chance_reaches_target,
            reachable=reachable,
            hope=hope,
            gain=float(scores.gain.max()),
            most_gain=most_gain,
            cost=suggestions[0].cost,
        ),
        level=chain.level,
        wanted=wanted,
        left=left,
        most_information=max(float(scores.information.max()), suggestions[0].information),
        runner_up_share=float(scores.value[others[0]]) / first_worth if others and first_worth > 0.0 else 0.0,
        unmade=unmade,
        planned=plan,
        made=len(chain.log.melt_numbers),
        room=left.room(series.kiln.melts_per_firing, melt_price(chain, best.raw), series.costs.firing),
        ceiling=None if most_risk is None else _ceiling(chain, raw, best, most_risk),
        confirmed=confirmed(chain.log, planned),
        outlook=Outlook(chain, wide, targets, weight, seed, most_risk),
    )


def _numbered(melts: tuple[Suggestion, ...], planned: Sequence[PlannedMelt]) -> tuple[Suggestion, ...]:
    """The proposals in a firing that the plan has not given away."""
    after = 1 + max((melt.firing for melt in planned), default=0)
    return tuple(replace(melt, firing=max(melt.firing, after)) for melt in melts)


def _learn_weight(chain: ChainFit) -> float:
    budget = min(chain.series.budget.melts or USUAL_SERIES, USUAL_SERIES)
    return float(np.clip(0.7 * (1.0 - len(chain.log.entries) / budget), 0.0, 0.7))


def _payable(chain: ChainFit, scores: Scores, left: Left, wanted: int) -> int:
    """Of the melts wanted, as many as the budget has left; at least one, for who goes on all the same."""
    if left.firings == 0:
        return 1
    if left.melts is not None:
        wanted = min(wanted, left.melts)
    if chain.series.costs.known:
        share = chain.series.costs.firing / chain.series.kiln.melts_per_firing
        melt = max(float(scores.price[int(np.argmax(scores.value))]) - share, 0.0)
        payable = left.melts_payable(melt, chain.series.costs.firing)
        wanted = wanted if payable is None else min(wanted, payable)
    return max(wanted, 1)


def _ceiling(chain: ChainFit, raw: FloatArray, best: BestSetting, most_risk: float) -> Ceiling:
    risk = risk_at(chain, np.vstack([best.raw, raw]))
    return Ceiling(most_risk, float((risk[1:] <= most_risk).mean()), float(risk[0]))
