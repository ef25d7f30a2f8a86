"""Forecasts held against series that are really played on: `python -m tests.benchmarks.forecast_study`.

A forecast (`next_melt/forecast.py`) plays a series on in arrays, in normal form. Here the same truths, draws of the
posterior of what was melted so far, are played on with the program itself, fit and search anew after every firing.
Compared are the share of series in which the program never becomes sure of the target within the budget, and the share
whose recommended setting truly reaches it in the end. Errors of the played shares are binomial.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace

import numpy as np

from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.log.melt_log import Log
from meltdoe.next_melt.advice import next_melts
from meltdoe.next_melt.forecast import Forecast
from meltdoe.plans.draw_up import make_plan
from meltdoe.rehearsal.played import Rehearsal
from meltdoe.rehearsal.simulated_series import rehearse
from meltdoe.rehearsal.workers import core_workers
from meltdoe.series import Budget
from meltdoe.shipped import shipped_folder
from meltdoe.steps import read_log, read_series

from .policy_study import SEED

__all__ = ["CASES", "Case", "compared", "main"]


@dataclass(frozen=True)
class Case:
    """A shipped series after some of its melts, and how many more its budget is to allow."""

    example: str
    made: int
    more: int

    def log(self) -> Log:
        """What was melted until then, in a series with that budget and no prices: only melts are counted."""
        series = read_series(shipped_folder("examples") / self.example)
        entries = read_log(series).entries[: self.made]
        firings = len({entry.firing for entry in entries})
        budget = Budget(melts=self.made + self.more, firings=firings + self.more)
        return Log(replace(series, budget=budget, costs=type(series.costs)()), entries)


CASES = (
    Case("six-old-attempts", 6, 20),
    Case("fill-and-surface", 4, 16),
    Case("fill-and-surface", 8, 8),
    Case("obsidian-block", 8, 20),
)


def compared(case: Case, count: int, workers: int) -> tuple[Forecast | None, Rehearsal]:
    """The forecast, and the same played."""
    log = case.log()
    series = log.series
    forecast = next_melts(fit_chain(series, log, seed=SEED)).forecast
    nothing_planned = replace(make_plan(series, seed=SEED), melts=())
    with core_workers(count, workers) as executor:
        played = rehearse(
            series, log=log, plan=nothing_planned, policy="follow-up", count=count, seed=SEED, executor=executor
        )
    return forecast, played


def _share(hits: float, count: int) -> str:
    return f"{100 * hits:.0f} ± {100 * np.sqrt(max(hits * (1 - hits), 1 / count) / count):.0f}"


def main() -> None:
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--series", type=int, default=80)
    reader.add_argument("--workers", type=int, default=2)
    asked = reader.parse_args()
    print("| series | melts made | more | never sure, foretold % | played % | works, foretold % | played % |")
    print("|---" * 7 + "|")
    for case in CASES:
        forecast, played = compared(case, asked.series, asked.workers)
        if forecast is None:
            print(f"| {case.example} | {case.made} | {case.more} | reached already | | | |", flush=True)
            continue
        print(
            f"| {case.example} | {case.made} | {case.more} | {100 * forecast.never:.0f} | "
            f"{_share(1.0 - played.claimed, played.count)} | {100 * forecast.works:.0f} | "
            f"{_share(played.reached, played.count)} |",
            flush=True,
        )


if __name__ == "__main__":
    main()
