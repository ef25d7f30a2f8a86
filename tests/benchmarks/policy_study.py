"""Ways of choosing melts compared on invented truths: `python -m tests.benchmarks.policy_study [--half tuning]`.

Every policy recommends a setting after every melt. Counted are the melts until the recommended setting truly reaches
the target of 80 %, at most 30 (a series that never does counts as more than 30). The program stops by itself; what it
recommends then stands. Rivals never stop. Improvements are sought on the tuning half alone; the figure that counts
comes from the half held out.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit, logit
from threadpoolctl import threadpool_limits

from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.melt_plan import PlannedMelt
from meltdoe.rehearsal.policies import POLICIES, Bench
from meltdoe.series import Unseen

from .policy_rivals import RIVALS
from .policy_truths import BUDGET, HELD_OUT, TUNING, WrittenTruth

__all__ = ["HALVES", "OURS", "Watched", "main", "median_needed", "play", "recalibration"]

HALVES = {"tuning": TUNING, "held out": HELD_OUT}
OURS = ("follow-up", "step-by-step")
SEED = 2026


@dataclass(frozen=True)
class Watched:
    """One series.

    Parameters
    ----------
    true : true chance at the recommended setting after each melt.
    stated : chance stated for the last one (NaN where the policy states none). claimed : whether the program said that
        the target is reached.
    """

    true: tuple[float, ...]
    stated: float
    claimed: bool
    ending: str
    seconds: float

    def needed(self, target: float) -> float:
        """Melts until the recommended setting first reached the target; infinite where it never did."""
        return next((i + 1.0 for i, chance in enumerate(self.true) if chance >= target), np.inf)

    def kept(self, target: float) -> float:
        """Melts until it reached the target for good."""
        bad = [i for i, chance in enumerate(self.true) if chance < target]
        first = bad[-1] + 2.0 if bad else 1.0
        return first if first <= len(self.true) else np.inf


@dataclass(eq=False)
class _WatchedBench(Bench):
    """A bench where the recommendation is looked at after every melt."""

    true: list[float] = field(default_factory=list)

    def make_planned(self, melts: Iterable[PlannedMelt]) -> None:
        for melt in melts:
            super().make_planned([melt])
            self.true.append(self.true_chance)


def play(truth: WrittenTruth, policy: str, seed: tuple[int, ...]) -> Watched:
    """One series of one policy."""
    with threadpool_limits(1):  # small matrices: a second thread only waits
        return _played(truth, policy, seed)


def _played(truth: WrittenTruth, policy: str, seed: tuple[int, ...]) -> Watched:
    started = time.process_time()
    rng = np.random.default_rng(seed)
    if policy in OURS:
        number = int(rng.integers(2**31))
        bench = _WatchedBench(truth, make_plan(truth.series, seed=number), rng, number)
        POLICIES[policy][0](bench)
        return Watched(tuple(bench.true), bench.best.chance, bench.claimed, bench.ending, time.process_time() - started)
    rival = RIVALS[policy](truth.series, truth.candidates, rng)
    true = []
    for number in range(1, BUDGET + 1):
        raw = rival.next()
        (entry,) = truth.melted([PlannedMelt(number, number, number, truth.series.settings(raw), "")], rng)
        rival.saw(raw, float(sum(seen is True for seen in entry.seen.values() if not isinstance(seen, Unseen))))
        true.append(float(truth.chance(rival.recommended()[None, :])[0]))
    return Watched(tuple(true), np.nan, False, "", time.process_time() - started)


def median_needed(series: list[Watched], target: float, kept: bool = False) -> tuple[float, float, float]:
    """Median and the ends of the middle 80 % of the melts needed; each a value that occurred."""
    ordered = sorted(one.kept(target) if kept else one.needed(target) for one in series)
    last = len(ordered) - 1
    middle, low, high = (ordered[int(q * last + 0.5)] for q in (0.5, 0.1, 0.9))
    return middle, low, high


def pooled_median(needed: list[list[float]], seed: int = 0, draws: int = 1000) -> tuple[float, float]:
    """Median over all series of all truths, each truth with equal weight, and its bootstrap standard error."""
    rng = np.random.default_rng(seed)

    def middle(lists: list[np.ndarray[tuple[int], np.dtype[np.float64]]]) -> float:
        return float(np.median(np.minimum(np.concatenate(lists), BUDGET + 1.0)))

    arrays = [np.array(one) for one in needed]
    again = [middle([rng.choice(one, len(one)) for one in arrays]) for _ in range(draws)]
    return middle(arrays), float(np.std(again))


def recalibration(
    stated: np.ndarray[tuple[int], np.dtype[np.float64]], true: np.ndarray[tuple[int], np.dtype[np.float64]]
) -> tuple[float, float]:
    """Intercept and slope of the logistic recalibration of true chances on the logit of the stated ones (Cox 1958)."""
    x = logit(np.clip(stated, 1e-4, 1 - 1e-4))

    def loss(b: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
        p = np.clip(expit(b[0] + b[1] * x), 1e-12, 1 - 1e-12)
        return float(-(true * np.log(p) + (1 - true) * np.log1p(-p)).sum())

    a, b = minimize(loss, np.array([0.0, 1.0])).x
    return float(a), float(b)


def _one(half: str, seed: int, task: tuple[int, str, int]) -> Watched:
    place, policy, number = task
    return play(HALVES[half][place], policy, (seed, place, number))


def run(
    half: str, count: int, policies: tuple[str, ...], seed: int, workers: int, minutes: float = np.inf
) -> dict[tuple[int, str], list[Watched]]:
    """Rounds of one series a truth and policy, by truth and policy; a round has the same seeds in every policy.

    Parameters
    ----------
    count : rounds. minutes : no further round is begun after them.
    """
    found: dict[tuple[int, str], list[Watched]] = {}
    started = time.monotonic()
    with ProcessPoolExecutor(workers) as pool:
        for number in range(count):
            tasks = [(place, policy, number) for place in range(len(HALVES[half])) for policy in policies]
            for (place, policy, _), one in zip(tasks, pool.map(partial(_one, half, seed), tasks), strict=True):
                found.setdefault((place, policy), []).append(one)
            print(f"round {number + 1} of {count}, {time.monotonic() - started:.0f} s", file=sys.stderr, flush=True)
            if time.monotonic() - started > 60.0 * minutes:
                break
    return found


def _show(spread: tuple[float, float, float]) -> str:
    middle, low, high = ("> 30" if np.isinf(one) else f"{one:.0f}" for one in spread)
    return f"{middle} ({low} to {high})"


def tables(
    half: str,
    found: dict[tuple[int, str], list[Watched]],
    policies: tuple[str, ...],
    say: Callable[[str], object] = print,
) -> None:
    """The figures as Markdown."""
    truths = HALVES[half]
    for kept, title in ((False, "first reached"), (True, "reached for good")):
        say(f"Melts until the recommended setting {title} (median, 80 % range), {half}:\n")
        say("| truth | share of settings | " + " | ".join(policies) + " |")
        say("|---" * (len(policies) + 2) + "|")
        for place, truth in enumerate(truths):
            if truth.reachable:
                cells = [_show(median_needed(found[place, p], truth.series.target_chance, kept)) for p in policies]
                say(f"| {truth.name} | {100 * truth.share:.1f} % | " + " | ".join(cells) + " |")
        cells = []
        for p in policies:
            needed = [
                [
                    one.kept(truth.series.target_chance) if kept else one.needed(truth.series.target_chance)
                    for one in found[place, p]
                ]
                for place, truth in enumerate(truths)
                if truth.reachable
            ]
            middle, error = pooled_median(needed)
            cells.append(f"{middle:.1f} ± {error:.1f}")
        say("| all, median ± Monte Carlo error | | " + " | ".join(cells) + " |\n")
    for p in [p for p in policies if p in OURS]:
        say(f"{p}: {_honesty([(truth, one) for place, truth in enumerate(truths) for one in found[place, p]])}")
    for p in policies:
        seconds = [one.seconds for place, _ in enumerate(truths) for one in found[place, p]]
        say(f"{p}: {np.mean(seconds):.2f} s a series")


def _honesty(everything: list[tuple[WrittenTruth, Watched]]) -> str:
    """What the program claimed and stated, and what was so."""
    reachable = [(truth, one) for truth, one in everything if truth.reachable]
    reached = [one.true[-1] >= truth.series.target_chance for truth, one in reachable]
    given_up = [one.ending == "out of reach" for _, one in reachable]
    false = [one.claimed and one.true[-1] < truth.series.target_chance for truth, one in everything]
    hopeless = [one.claimed for truth, one in everything if not truth.reachable]
    stated, true = np.array([(one.stated, one.true[-1]) for _, one in everything]).T
    rng = np.random.default_rng(1)
    samples = [rng.integers(len(true), size=len(true)) for _ in range(100)]
    error = np.std([recalibration(stated[i], true[i])[1] for i in samples])
    intercept, slope = recalibration(stated, true)
    return (
        f"reached at the end {_percent(reached)} of {len(reached)} reachable, given up as out of reach "
        f"{_percent(given_up)}; claimed {_percent([one.claimed for _, one in everything])}, false claims "
        f"{_percent(false)} of all {len(false)}, {_percent(hopeless)} of {len(hopeless)} out of reach; recalibration "
        f"slope {slope:.2f} ± {error:.2f}, intercept {intercept:.2f}; mean chance stated {stated.mean():.2f}, true "
        f"{true.mean():.2f}; melts made, median {np.median([len(one.true) for _, one in everything]):.0f}"
    )


def _percent(flags: list[bool]) -> str:
    return f"{100 * np.mean(flags):.1f} %"


def main() -> None:
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--half", choices=tuple(HALVES), default="tuning")
    reader.add_argument("--series", type=int, default=24)
    reader.add_argument("--seed", type=int, default=SEED)
    reader.add_argument("--minutes", type=float, default=np.inf)
    reader.add_argument("--workers", type=int, default=2)
    reader.add_argument("--policies", nargs="*", default=[*OURS, *RIVALS])
    asked = reader.parse_args()
    started = time.time()
    policies = tuple(asked.policies)
    found = run(asked.half, asked.series, policies, asked.seed, asked.workers, asked.minutes)
    tables(asked.half, found, policies)
    rounds, minutes = len(found[0, policies[0]]), (time.time() - started) / 60
    print(f"{rounds} series a truth and policy, seed {asked.seed}, {minutes:.1f} minutes")


if __name__ == "__main__":
    main()
