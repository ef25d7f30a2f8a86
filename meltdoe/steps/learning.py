"""Fits and advice."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from meltdoe.steps.reading import plan_or_none, read_log, read_series

if TYPE_CHECKING:
    from meltdoe.fit.stages.stage_chain import ChainFit
    from meltdoe.next_melt.advice import Advice, Aim
    from meltdoe.plans.melt_plan import PlannedMelt
    from meltdoe.series.melt_series import MeltSeries

__all__ = [
    "add_to_plan",
    "advise",
    "fit_folder",
]


def fit_folder(folder: Path, *, seed: int | None = None, level: float = 0.90) -> ChainFit:
    """Fit every outcome of the series in a folder."""
    from meltdoe.fit.stages.stage_chain import fit_chain

    series = read_series(folder)
    return fit_chain(series, read_log(series), seed=seed, level=level)


def advise(
    folder: Path,
    *,
    count: int | None = None,
    aim: Aim = "auto",
    most_risk: float | None = None,
    seed: int | None = None,
) -> tuple[MeltSeries, Advice]:
    """Advice on the next melt or firing of the series in a folder."""
    from meltdoe.next_melt.advice import next_melts

    chain = fit_folder(folder, seed=seed)
    plan = plan_or_none(chain.series)
    planned = plan.melts if plan else ()
    return chain.series, next_melts(chain, count=count, aim=aim, most_risk=most_risk, seed=seed, planned=planned)


def add_to_plan(
    series: MeltSeries, advice: Advice, count: int | None = None, *, confirm: bool = False
) -> tuple[PlannedMelt, ...]:
    """Write the proposed melts behind those of the plan; where the target is reached, melts to confirm it instead.

    A setting that melts are confirming already goes on being confirmed, unless one of them was bad.

    Parameters
    ----------
    count : melts to confirm; by default as many as a firing holds.
    confirm : whether the best setting is to be confirmed though the target does not count as reached.

    Returns
    -------
    The rows added; none where the proposed melts are the plan's own.
    """
    from dataclasses import replace

    from meltdoe.files.store.plan_csv import write_plan
    from meltdoe.plans.melt_plan import CONFIRMATION, MELT_BY_MELT, PROPOSED, Plan, PlannedMelt

    each = series.kiln.melts_per_firing
    confirming = confirm or advice.verdict.ending == "reached"
    if advice.follows_plan and not confirming:
        return ()
    log, plan = read_log(series), plan_or_none(series)
    plan = plan or Plan(series, (), MELT_BY_MELT, "each firing chosen from what was known before it", series.seed)
    unmade = tuple(melt for melt in plan.melts if melt.melt not in log.melt_numbers)
    if confirm:  # it is meant to come next, in place of what was proposed before
        unmade = tuple(melt for melt in unmade if melt.purpose != PROPOSED)
    melt = 1 + max([*log.melt_numbers, *(planned.melt for planned in plan.melts)], default=0)
    firing = 1 + max([*(entry.firing for entry in log.entries), *plan.firings], default=0)
    begun = advice.confirmed  # what is being confirmed stays as it is, or its melts would not count together
    to_confirm = begun.settings if begun is not None and not begun.bad else advice.best.settings
    settings = [to_confirm] * (count or each) if confirming else [one.settings for one in advice.melts]
    planned_already = {series.show(there.settings) for there in unmade}
    if not confirming and planned_already.issuperset(series.show(one) for one in settings):
        return ()
    added = [
        PlannedMelt(melt + i, firing + i // each, 0, one, CONFIRMATION if confirming else PROPOSED)
        for i, one in enumerate(settings)
    ]
    to_come = tuple(replace(planned, order=i) for i, planned in enumerate((*unmade, *added), start=1))
    whole = write_plan(series, replace(plan, melts=to_come))
    return tuple(planned for planned in whole.melts if planned.melt >= melt)
