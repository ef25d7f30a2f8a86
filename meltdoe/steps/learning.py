"""Fits and advice."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from meltdoe.steps.reading import plan_or_none, read_log, read_series

if TYPE_CHECKING:
    from meltdoe.fit.stages.stage_chain import ChainFit
    from meltdoe.next_melt.advice import Advice, Aim
    from meltdoe.series.melt_series import MeltSeries

__all__ = [
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
