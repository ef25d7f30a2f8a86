"""Rehearsals timed, and what they state held against what is so: `python -m tests.benchmarks.rehearsal_study`.

Truths come from the program's own prior and beliefs, as in `meltdoe rehearse`. Per series and policy: seconds for all
series on the workers given; the slope and intercept of the logistic recalibration of the true chance at the recommended
setting on the logit of the stated one (1 and 0 where statements are right; Cox 1958, Biometrika 45, 562-565, from
memory), with bootstrap standard errors; and the share of claims that were false.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace

import numpy as np

from meltdoe.rehearsal.played import Rehearsal
from meltdoe.rehearsal.simulated_series import rehearse
from meltdoe.rehearsal.workers import core_workers
from meltdoe.series import Amount, Budget, Choice, Kiln, MeltSeries, Outcome
from meltdoe.shipped import shipped_folder
from meltdoe.steps import read_series

from .policy_study import SEED, recalibration

__all__ = ["SERIES", "calibration", "main"]

_MELTS = 12


def _three_passes() -> MeltSeries:
    return MeltSeries(
        title="Invented: three passes",
        factors=(
            Amount("flux", 15, 40, unit="wt%", step=1),
            Amount("peak", 1100, 1250, unit="°C", step=10),
            Amount("hold", 1, 8, unit="h", step=1),
            Choice("packing", ("loose", "pressed")),
        ),
        outcomes=(Outcome("contained", "pass"), Outcome("poured", "pass", after="contained"),
                  Outcome("whole", "pass", after="poured")),
        target_chance=0.8,
        kiln=Kiln(2),
        budget=Budget(melts=_MELTS),
    )  # fmt: skip


def _example() -> MeltSeries:
    series = read_series(shipped_folder("examples") / "obsidian-block")
    return replace(series, budget=Budget(melts=_MELTS))


SERIES = {"three passes, 4 factors": _three_passes, "obsidian-block, 5 factors, 5 outcomes": _example}


def calibration(played: Rehearsal, draws: int = 200) -> tuple[float, float, float, float]:
    """Slope, its standard error, intercept, its standard error."""
    stated = np.array([one.stated for one in played.played])
    true = np.array([one.true_chance for one in played.played])
    rng = np.random.default_rng(0)
    again = np.array([recalibration(stated[i], true[i]) for i in rng.integers(len(true), size=(draws, len(true)))])
    intercept, slope = recalibration(stated, true)
    return slope, float(again[:, 1].std()), intercept, float(again[:, 0].std())


def main() -> None:
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--series", type=int, default=200)
    reader.add_argument("--workers", type=int, default=2)
    reader.add_argument("--policies", nargs="*", default=["plan", "follow-up", "step-by-step"])
    asked = reader.parse_args()
    print("| series | policy | played | wall, s | melts | stated | true | slope | intercept | claimed | false claims |")
    print("|---" * 11 + "|")
    for name, make in SERIES.items():
        for policy in asked.policies:
            started = time.perf_counter()
            with core_workers(asked.series, asked.workers) as executor:
                played = rehearse(make(), policy=policy, count=asked.series, seed=SEED, executor=executor)
            seconds = time.perf_counter() - started
            slope, slope_error, intercept, intercept_error = calibration(played)
            stated, true = (float(np.mean([getattr(one, what) for one in played.played]))
                            for what in ("stated", "true_chance"))  # fmt: skip
            melts = np.mean([one.melts for one in played.played])
            print(
                f"| {name} | {policy} | {asked.series} | {seconds:.0f} | {melts:.1f} | {stated:.3f} | {true:.3f} | "
                f"{slope:.2f} ± {slope_error:.2f} | {intercept:.2f} ± {intercept_error:.2f} | "
                f"{100 * played.claimed:.0f} % | {100 * played.false_claims:.1f} % |",
                flush=True,
            )


if __name__ == "__main__":
    main()
