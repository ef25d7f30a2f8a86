"""Whole series played before a penny is spent: plan, melt, fit, next, stop, against possible truths."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Literal, TypeAlias

import numpy as np

from meltdoe.errors import WrongUsage
from meltdoe.fit.stage_chain import ChainFit, fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.next_melt.advice import next_melts
from meltdoe.next_melt.stopping import money_spent
from meltdoe.plans.candidates import candidate_settings
from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.rehearsal.truth import Truth
from meltdoe.series.melt_series import MeltSeries

__all__ = ["POLICIES", "PlayedSeries", "Policy", "Rehearsal", "rehearse"]

Policy: TypeAlias = Literal["plan", "next"]

POLICIES: dict[str, str] = {
    "plan": "the plan, then stop",
    "next": "the plan, then melt by melt until the program says stop",
}
_SURE = 0.90  # chance of reaching the target from which success is claimed
_CANDIDATES = 1200
_USUAL_SERIES = 14


@dataclass(frozen=True, slots=True)
class PlayedSeries:
    """How one simulated series ended.

    Parameters
    ----------
    reachable : whether any allowed setting truly reaches the target.
    stated, true_chance : chance of success stated for the recommended setting, and its true one.
    reached : whether the recommended setting truly reaches the target.
    claimed : whether the program would have said "reached".
    losses : melts with a failure that has a loss to it.
    """

    melts: int
    reachable: bool
    stated: float
    true_chance: float
    reached: bool
    claimed: bool
    losses: int
    money: float


@dataclass(frozen=True)
class Rehearsal:
    """Simulated series of one policy, and what they come to.

    Parameters
    ----------
    melts_known : whether melts already made shaped the truths.
    """

    series: MeltSeries
    policy: str
    played: tuple[PlayedSeries, ...]
    melts_known: bool

    @property
    def count(self) -> int:
        return len(self.played)

    @property
    def reachable(self) -> float:
        """Share of the truths in which some allowed setting reaches the target."""
        return float(np.mean([one.reachable for one in self.played]))

    @property
    def reached(self) -> float:
        """Share of series whose recommended setting truly reaches the target."""
        return float(np.mean([one.reached for one in self.played]))

    @property
    def error(self) -> float:
        """Monte Carlo standard error of `reached`."""
        return float(np.sqrt(max(self.reached * (1.0 - self.reached), 1.0 / self.count) / self.count))

    @property
    def true_chance(self) -> float:
        """Mean true chance of the recommended settings."""
        return float(np.mean([one.true_chance for one in self.played]))

    @property
    def true_chance_error(self) -> float:
        """Monte Carlo standard error of `true_chance`."""
        return float(np.std([one.true_chance for one in self.played]) / np.sqrt(max(self.count - 1, 1)))

    @property
    def claimed(self) -> float:
        """Share of series in which success was claimed."""
        return float(np.mean([one.claimed for one in self.played]))

    @property
    def false_claims(self) -> float:
        """Share of all series in which success was claimed and the recommended setting does not reach the target."""
        return float(np.mean([one.claimed and not one.reached for one in self.played]))

    @property
    def melts_median(self) -> float:
        return float(np.median([one.melts for one in self.played]))

    @property
    def melts_low(self) -> float:
        return float(np.quantile([one.melts for one in self.played], 0.1))

    @property
    def melts_high(self) -> float:
        return float(np.quantile([one.melts for one in self.played], 0.9))

    @property
    def losses(self) -> float:
        """Mean number of costly failures."""
        return float(np.mean([one.losses for one in self.played]))

    @property
    def money(self) -> float:
        return float(np.mean([one.money for one in self.played]))

    def summary(self) -> dict[str, float]:
        """The figures that a table of plans shows."""
        return {
            "series": float(self.count),
            "reached": self.reached,
            "true_chance": self.true_chance,
            "true_chance_error": self.true_chance_error,
            "melts": self.melts_median,
            "losses": self.losses,
            "money": self.money,
        }

    def document(self) -> dict[str, Any]:
        """Everything as JSON types."""
        return {
            "policy": self.policy,
            "series": self.count,
            "reachable": self.reachable,
            "reached": self.reached,
            "error": self.error,
            "claimed": self.claimed,
            "false_claims": self.false_claims,
            "true_chance": self.true_chance,
            "melts_needed": {"median": self.melts_median, "low": self.melts_low, "high": self.melts_high},
            "losses": self.losses,
            "money": self.money,
        }


def rehearse(
    series: MeltSeries,
    *,
    log: Log | None = None,
    plan: Plan | None = None,
    policy: str = "plan",
    count: int = 60,
    seed: int | None = None,
    reachable_only: bool = False,
    executor: Executor | None = None,
    tell: Callable[[int], object] | None = None,
) -> Rehearsal:
    """Play whole series against truths drawn from the prior, or from the posterior where melts are logged.

    Parameters
    ----------
    plan : the plan to begin with; drawn up where None.
    policy : one of `POLICIES`.
    count : series to play.
    reachable_only : play only truths in which some allowed setting reaches the target, where there are any: the
        question when plans are compared is which of them finds it.
    executor : anything with `map`, such as a process pool; the numbers do not depend on it.
    tell : called with the number of series played so far.

    Raises
    ------
    WrongUsage
        For a policy that does not exist.
    """
    if policy not in POLICIES:
        raise WrongUsage(f'"{policy}" is no policy; take one of {", ".join(POLICIES)}')
    seed = series.seed if seed is None else seed
    log = log or Log(series)
    worlds = fit_chain(series, log, seed=seed)
    plan = plan or _numbered_on(make_plan(series, seed=seed), log)
    candidates = candidate_settings(series, _CANDIDATES, seed)
    best_there_is = worlds.success_draws(candidates).max(axis=1)
    draws = np.random.default_rng(seed).permutation(worlds.n_draws)
    if reachable_only and np.any(best_there_is >= series.target_chance):
        draws = draws[best_there_is[draws] >= series.target_chance]
    tasks = [(int(draws[i % len(draws)]), i) for i in range(count)]
    play = partial(_play, worlds, plan, policy, best_there_is, seed)
    played: list[PlayedSeries] = []
    results: Iterator[PlayedSeries] = map(play, tasks) if executor is None else executor.map(play, tasks, chunksize=4)
    for one in results:
        played.append(one)
        if tell is not None:
            tell(len(played))
    return Rehearsal(series, policy, tuple(played), melts_known=bool(log.entries))


def _numbered_on(plan: Plan, log: Log) -> Plan:
    """The plan with melts and firings counted on from those on record, so that none is taken for one of them."""
    melts, firings = max(log.melt_numbers, default=0), max((entry.firing for entry in log.entries), default=0)
    later = tuple(replace(melt, melt=melt.melt + melts, firing=melt.firing + firings) for melt in plan.melts)
    return replace(plan, melts=later)


def _play(
    worlds: ChainFit,
    plan: Plan,
    policy: str,
    best_there_is: np.ndarray[tuple[int], np.dtype[np.float64]],
    seed: int,
    task: tuple[int, int],
) -> PlayedSeries:
    """One series from the first planned melt to the recommendation; the stream of chance belongs to the task alone."""
    draw, number = task
    series, truth = worlds.series, Truth(worlds, draw)
    rng = np.random.default_rng([abs(seed), number])
    entries: tuple[Entry, ...] = worlds.log.entries + truth.melted(plan.melts, rng)
    chain = fit_chain(series, Log(series, entries), seed=number, effort="draft")
    if policy == "next":
        budget = series.budget.melts or _USUAL_SERIES
        while len(entries) < budget:
            advice = next_melts(chain, seed=number, count=min(series.kiln.melts_per_firing, budget - len(entries)))
            if advice.verdict.word == "stop":
                break
            number_next = 1 + max((entry.melt for entry in entries), default=0)
            proposed = [
                PlannedMelt(number_next + i, melt.firing, number_next + i, melt.settings, "next")
                for i, melt in enumerate(advice.melts)
            ]
            entries += truth.melted(proposed, rng)
            chain = fit_chain(series, Log(series, entries), seed=number, effort="draft")
    best = chain.best()
    true_chance = float(truth.chance(best.raw[None, :])[0])
    made = Log(series, entries[len(worlds.log.entries) :])
    return PlayedSeries(
        melts=len(made.entries),
        reachable=bool(best_there_is[draw] >= series.target_chance),
        stated=best.chance,
        true_chance=true_chance,
        reached=true_chance >= series.target_chance,
        claimed=best.chance_reaches_target >= _SURE,
        losses=_losses(made),
        money=money_spent(made),
    )


def _losses(log: Log) -> int:
    """Melts with a failure that has a loss to it."""
    series = log.series
    return sum(
        any(
            series.costs.loss.get(name, 0.0) > 0 and series.outcome(name).is_good(seen) is False
            for name, seen in entry.seen.items()
        )
        for entry in log.entries
    )
