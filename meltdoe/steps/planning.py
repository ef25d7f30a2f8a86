"""Plans compared, drawn up and rehearsed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from meltdoe.steps.reading import plan_or_none, read_log, read_series

if TYPE_CHECKING:
    from meltdoe.plans.comparison import PlanComparison
    from meltdoe.plans.melt_plan import Plan
    from meltdoe.rehearsal.simulated_series import Rehearsal
    from meltdoe.series.melt_series import MeltSeries

__all__ = [
    "compare_plans",
    "draw_up_plan",
    "rehearse_folder",
]


def compare_plans(series: MeltSeries, rehearsals: int = 0, seed: int | None = None) -> PlanComparison:
    """Plans side by side, each rehearsed on `rehearsals` simulated series."""
    from meltdoe.plans.comparison import compare_plans as compare
    from meltdoe.rehearsal.simulated_series import rehearse

    def play(plan: Plan) -> dict[str, float]:
        return rehearse(series, plan=plan, count=rehearsals, seed=seed, reachable_only=True).summary()

    return compare(series, rehearse=play if rehearsals else None, seed=seed)


def draw_up_plan(
    folder: Path,
    *,
    design: str = "auto",
    melts: int | None = None,
    centre_points: int = 0,
    seed: int | None = None,
) -> tuple[Plan, Path]:
    """Draw up a plan for what is not melted yet and write plan.csv; returns the plan and the file."""
    from meltdoe.files.log_csv import series_folder
    from meltdoe.files.plan_csv import PLAN_NAME, write_plan
    from meltdoe.plans.draw_up import make_plan

    series = read_series(folder)
    log = read_log(series)
    plan = make_plan(
        series,
        design,
        melts,
        seed,
        first_melt=1 + max(log.melt_numbers, default=0),
        first_firing=1 + max((entry.firing for entry in log.entries), default=0),
        existing=log.raw if log.entries else None,
        centre_points=centre_points,
    )
    return write_plan(series, plan), series_folder(series) / PLAN_NAME


def rehearse_folder(
    folder: Path,
    *,
    policy: str = "plan",
    count: int = 60,
    seed: int | None = None,
    tell: Callable[[int], object] | None = None,
) -> Rehearsal:
    """Play whole series with the plan of a folder, or with one drawn up for it."""
    from meltdoe.rehearsal.simulated_series import rehearse

    series = read_series(folder)
    log = read_log(series)
    plan = None if log.entries else plan_or_none(series)
    return rehearse(series, log=log, plan=plan, policy=policy, count=count, seed=seed, tell=tell)
