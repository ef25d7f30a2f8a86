"""Plans compared, drawn up and rehearsed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from meltdoe.errors import ProblemsFound
from meltdoe.steps.reading import plan_or_none, read_log, read_series

if TYPE_CHECKING:
    from meltdoe.log.melt_log import Log
    from meltdoe.plans.comparison import PlanComparison
    from meltdoe.plans.melt_plan import Plan
    from meltdoe.rehearsal.simulated_series import Rehearsal
    from meltdoe.series.melt_series import MeltSeries

__all__ = [
    "compare_plans",
    "draw_up_plan",
    "rehearse_folder",
]


def compare_plans(
    series: MeltSeries,
    rehearsals: int = 0,
    seed: int | None = None,
    *,
    effect: float = 2.0,
    chances_shown: tuple[float, float] = (0.2, 0.8),
    days_per_firing: float = 2.0,
    workers: int | None = 1,
    tell: Callable[[str, int, int], object] | None = None,
) -> PlanComparison:
    """Plans side by side within what the melts on record leave of the budget, each rehearsed on so many series.

    Parameters
    ----------
    effect, chances_shown : change of a measured outcome, in melt-to-melt standard deviations, and of a pass chance
        that the power is for.
    days_per_firing : from loading the kiln to opening it.
    workers : processes that play the series; all cores where None.
    tell : called with the plan's design, the series played so far and how many there will be.
    """
    from meltdoe.log.melt_log import Log
    from meltdoe.next_melt.left import left_of_budget
    from meltdoe.plans.comparison import compare_plans as compare
    from meltdoe.rehearsal.simulated_series import rehearse
    from meltdoe.rehearsal.workers import core_workers

    try:
        left = left_of_budget(read_log(series))
    except ProblemsFound:  # told already; plans can be compared without a log
        left = left_of_budget(Log(series))
    budget = replace(series.budget, melts=left.melts, firings=left.firings, money=left.money)
    series = replace(series, budget=budget)
    with core_workers(8 * rehearsals, workers) as executor:  # about eight plans

        def play(plan: Plan) -> dict[str, float]:
            def told(done: int) -> None:
                if tell is not None:
                    tell(f"{plan.design}, {len(plan.melts)} melts", done, rehearsals)

            return rehearse(
                series, plan=plan, count=rehearsals, seed=seed, reachable_only=True, executor=executor, tell=told
            ).summary()

        return compare(
            series,
            rehearse=play if rehearsals else None,
            seed=seed,
            effect=effect,
            chances_shown=chances_shown,
            days_per_firing=days_per_firing,
        )


def draw_up_plan(
    folder: Path,
    *,
    design: str = "auto",
    melts: int | None = None,
    centre_points: int = 0,
    seed: int | None = None,
    replicates: int = 0,
    keep_clear: Sequence[str] = (),
    criterion: str = "",
    variance_ratios: Sequence[float] = (1.0,),
    reverse: Sequence[str] = (),
    hold: Sequence[str] = (),
    blocks: int = 1,
) -> tuple[Plan, Path]:
    """Draw up a plan for what is not melted yet and write plan.csv; returns the plan and the file.

    The keywords are those of `meltdoe.plans.draw_up.make_plan`.
    """
    from meltdoe.files.store.log_csv import series_folder
    from meltdoe.files.store.plan_csv import PLAN_NAME, write_plan
    from meltdoe.plans.draw_up import make_plan
    from meltdoe.steps.glass import refuse_early_glass

    series = read_series(folder)
    log = read_log(series)
    plan = make_plan(
        series,
        design,
        melts,
        seed,
        centre_points=centre_points,
        replicates=replicates,
        keep_clear=keep_clear,
        criterion=criterion,
        variance_ratios=variance_ratios,
        reverse=reverse,
        hold=hold,
        blocks=blocks,
        **_so_far(log),
    )
    refuse_early_glass(series, log, plan)
    return write_plan(series, plan), series_folder(series) / PLAN_NAME


def rehearse_folder(
    folder: Path,
    *,
    policies: Sequence[str] = ("plan",),
    count: int = 60,
    seed: int | None = None,
    truth: Path | None = None,
    from_beliefs: bool = False,
    workers: int | None = 1,
    cluster: str | None = None,
    tell: Callable[[str, int, int], object] | None = None,
) -> tuple[Rehearsal, ...]:
    """Play whole series with the plan of a folder, or with one drawn up for it.

    Series that are finished are put down in rehearsal.jsonl; the same call takes them up again.

    Parameters
    ----------
    policies : one or more of `meltdoe.rehearsal.policies.POLICIES`; "all" stands for every one.
    truth : file that states how the glass is supposed to behave. from_beliefs : take truths from beliefs alone. Either
        plays from the first melt, as if nothing were melted yet.
    workers : processes that play the series; all cores where None. cluster : address of a Dask cluster instead.
    tell : called with the policy, the series played so far and how many there will be.
    """
    from meltdoe.files.store.log_csv import series_folder
    from meltdoe.files.store.rehearsal_jsonl import FinishedSeries
    from meltdoe.log.melt_log import Log
    from meltdoe.rehearsal.policies import chosen_policies
    from meltdoe.rehearsal.simulated_series import rehearse
    from meltdoe.rehearsal.workers import cluster_workers, core_workers

    chosen = chosen_policies(policies)
    series = read_series(folder)
    stated = None
    if truth is not None:
        from meltdoe.files.series.truth_toml import read_truth

        stated = read_truth(truth, series)
    log = Log(series) if truth is not None or from_beliefs else read_log(series)
    plan = _what_is_left(series, log, seed)
    finished = FinishedSeries(series_folder(series))
    with cluster_workers(cluster) if cluster else core_workers(len(chosen) * count, workers) as executor:

        def played(policy: str) -> Rehearsal:
            def told(done: int) -> None:
                if tell is not None:
                    tell(policy, done, count)

            return rehearse(
                series,
                log=log,
                plan=plan,
                policy=policy,
                truth=stated,
                count=count,
                seed=seed,
                executor=executor,
                finished=finished,
                tell=told,
            )

        return tuple(played(policy) for policy in chosen)


def _what_is_left(series: MeltSeries, log: Log, seed: int | None) -> Plan:
    """The planned melts that are not made yet; a plan for what the budget still has, where none are."""
    from meltdoe.plans.draw_up import make_plan

    plan = plan_or_none(series)
    left = [] if plan is None else [melt for melt in plan.melts if melt.melt not in log.melt_numbers]
    if plan is not None and left:
        return replace(plan, melts=tuple(left))
    return make_plan(
        series,
        seed=seed,
        **_so_far(log),
    )


def _so_far(log: Log) -> dict[str, Any]:
    """What `make_plan` is told of the melts made; planned melts that were passed over are not used up.

    A melt with a setting that nobody knows any more counts as made, but no design can be completed from it.
    """
    firings = [entry.firing for entry in log.entries]
    raw = log.raw
    whole = [bool(np.isfinite(row).all()) for row in raw]
    return {
        "first_melt": 1 + max(log.melt_numbers, default=0),
        "first_firing": 1 + max(firings, default=0),
        "existing": raw[whole] if any(whole) else None,
        "existing_firings": [firing for firing, known in zip(firings, whole, strict=True) if known] or None,
        "used": (len(log.melt_numbers), len(set(firings))),
    }
