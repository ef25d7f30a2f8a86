"""Whole series played before a penny is spent: melts chosen by a policy, made in a possible truth, fitted and judged.

Truths are draws of the chain fitted to the melts so far, or to beliefs alone; or one that the user states. Every series
has its own stream of chance, fixed by the seed and its number alone, so that the numbers are the same whoever works
them out and in whatever order. Workers are sent what the possible truths are fitted from, not the truths themselves,
and fit them once.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Generator, Mapping
from concurrent.futures import Executor, Future, as_completed
from contextlib import closing
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Protocol

import numpy as np
import scipy

import meltdoe
from meltdoe.errors import WrongUsage
from meltdoe.fit.stages.stage_chain import ChainFit, fit_chain
from meltdoe.log.melt_log import Log
from meltdoe.next_melt.stopping import money_spent
from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.melt_plan import Plan
from meltdoe.plans.optimal.candidates import candidate_settings
from meltdoe.rehearsal.played import PlayedSeries, Rehearsal, TruthSource
from meltdoe.rehearsal.policies import POLICIES, Bench, numbered_on
from meltdoe.rehearsal.stated_truth import StatedTruth
from meltdoe.rehearsal.truth import DrawnTruth, Truth
from meltdoe.series.melt_series import MeltSeries

__all__ = ["Finished", "Rehearsal", "rehearse"]

_CANDIDATES = 1200


class Finished(Protocol):
    """Where series that were played stay, so that a rehearsal that was stopped goes on where it was."""

    def found(self, key: str, policy: str) -> Mapping[int, PlayedSeries]:
        """Series of the rehearsal `key` played with a policy, by number."""

    def keep(self, key: str, policy: str, number: int, played: PlayedSeries) -> None:
        """Put one down."""


@dataclass(frozen=True)
class _Script:
    """All that a series is played from; equal where the key is."""

    key: str
    series: MeltSeries = field(compare=False)
    log: Log = field(compare=False)
    plan: Plan = field(compare=False)
    truth: StatedTruth | None = field(compare=False)
    seed: int = field(compare=False)


@dataclass(frozen=True, slots=True)
class _Task:
    """One series: its number, the draw that is its truth, and whether the target can be reached there."""

    number: int
    draw: int
    reachable: bool


def rehearse(
    series: MeltSeries,
    *,
    log: Log | None = None,
    plan: Plan | None = None,
    policy: str = "plan",
    truth: StatedTruth | None = None,
    count: int = 60,
    seed: int | None = None,
    reachable_only: bool = False,
    executor: Executor | None = None,
    finished: Finished | None = None,
    tell: Callable[[int], object] | None = None,
) -> Rehearsal:
    """Play whole series.

    Parameters
    ----------
    log : melts already made; they shape the truths, are in every fit and are not paid again.
    plan : the plan to begin with; drawn up where None.
    policy : one of `meltdoe.rehearsal.policies.POLICIES`.
    truth : how the glass is supposed to behave; draws from the melts so far, or from beliefs before there are any,
        where None. Series under a stated truth begin with the first melt: `log` is left out.
    count : series to play.
    seed : fixes everything that is left to chance; the series' own where None.
    reachable_only : play only truths in which some allowed setting reaches the target, where there are any: the
        question when plans are compared is which of them finds it.
    executor : anything that follows `concurrent.futures.Executor`; the numbers do not depend on it.
    finished : keeps the series that are played and gives back those played before.
    tell : called with the number of series played so far.

    Raises
    ------
    WrongUsage
        For a policy that does not exist, or a count below 1.
    """
    if policy not in POLICIES:
        raise WrongUsage(f'"{policy}" is no policy; take one of {", ".join(POLICIES)}')
    if count < 1:
        raise WrongUsage(f"a rehearsal plays at least one series, not {count}")
    seed = series.seed if seed is None else seed
    log = Log(series) if log is None or truth is not None else log
    plan = plan or numbered_on(make_plan(series, seed=seed), log)
    script = _Script(_key(series, log, plan, truth, seed, reachable_only), series, log, plan, truth, seed)
    tasks = _tasks(script, count, reachable_only)
    played = dict(finished.found(script.key, policy)) if finished is not None else {}
    played = {task.number: played[task.number] for task in tasks if task.number in played}
    left = [task for task in tasks if task.number not in played]
    with closing(_results(script, policy, left, executor)) as results:  # what still waits is called off on leaving
        for task, one in results:
            played[task.number] = one
            if finished is not None:
                finished.keep(script.key, policy, task.number, one)
            if tell is not None:
                tell(len(played))
    source: TruthSource = "stated" if truth is not None else "melts" if log.entries else "beliefs"
    return Rehearsal(series, policy, tuple(played[task.number] for task in tasks), source)


def _results(
    script: _Script, policy: str, tasks: list[_Task], executor: Executor | None
) -> Generator[tuple[_Task, PlayedSeries], None, None]:
    """Series as they are done, in any order."""
    if executor is None:
        for task in tasks:
            yield task, _play(script, policy, task)
        return
    running: dict[Future[PlayedSeries], _Task] = {executor.submit(_play, script, policy, task): task for task in tasks}
    try:
        for done in as_completed(running):
            yield running[done], done.result()
    finally:
        for future in running:
            future.cancel()


def _tasks(script: _Script, count: int, reachable_only: bool) -> list[_Task]:
    """Which truth each series is played in."""
    series = script.series
    candidates = candidate_settings(series, _CANDIDATES, script.seed)
    if script.truth is not None:
        reachable = bool(script.truth.chance(candidates).max() >= series.target_chance)
        return [_Task(number, 0, reachable) for number in range(count)]
    worlds = _worlds(script)
    reaches = worlds.success_draws(candidates).max(axis=1) >= series.target_chance
    draws = np.random.default_rng(script.seed).permutation(worlds.n_draws)
    if reachable_only and reaches.any():
        draws = draws[reaches[draws]]
    chosen = draws[np.arange(count) % len(draws)]
    return [_Task(number, int(draw), bool(reaches[draw])) for number, draw in enumerate(chosen)]


def _key(series: MeltSeries, log: Log, plan: Plan, truth: StatedTruth | None, seed: int, reachable_only: bool) -> str:
    """Checksum of everything that the numbers depend on but the policy: what is played, and what plays it."""
    told = (
        meltdoe.__version__, np.__version__, scipy.__version__, replace(series, folder=None), log.entries, plan.melts,
        None if truth is None else truth.outcomes, seed, reachable_only,
    )  # fmt: skip
    return hashlib.sha256(repr(told).encode()).hexdigest()[:32]


@lru_cache(maxsize=2)
def _worlds(script: _Script) -> ChainFit:
    """The chain whose draws are the possible truths; fitted once in every process."""
    return fit_chain(script.series, script.log, seed=script.seed)


def _play(script: _Script, policy: str, task: _Task) -> PlayedSeries:
    """One series from its first melt to the recommendation."""
    series = script.series
    truth: Truth = script.truth if script.truth is not None else DrawnTruth(_worlds(script), task.draw)
    rng = np.random.default_rng([abs(script.seed), task.number])
    bench = Bench(truth, script.plan, rng, task.number, script.log.entries)
    choose, _ = POLICIES[policy]
    choose(bench)
    best, true_chance = bench.best, bench.true_chance
    made = Log(series, bench.made)
    return PlayedSeries(
        melts=len(bench.made),
        reachable=task.reachable,
        stated=best.chance,
        true_chance=true_chance,
        reached=true_chance >= series.target_chance,
        claimed=bench.claimed,
        needed=bench.needed,
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
