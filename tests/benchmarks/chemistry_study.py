"""What the chemistry prior saves, and what it costs where it is wrong: `python -m tests.benchmarks.chemistry_study`.

Truths follow the viscosity of the glass, lie 60 °C off, ignore it, or turn it round. Each series melts a plan of 16
that the program draws up without chemistry, in its random order. After 1, 2, 3, 4, 6, 8, 12 and 16 melts the same log
is fitted with and without chemistry, and the setting that each recommends is looked up in the truth. Counted are

    chance   the true chance there, averaged over those eight looks
    melts    until it first reaches the target of 80 %, or 60 %; 18 where it never does

A recommendation that jumps about hits a good setting by chance and loses it again, so the first hit alone says little.
The melts being the same, errors are those of paired differences. Worth and trust are chosen on the half "tuning"; the
half "held out" is for the published figures alone.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.log.melt_log import Log
from meltdoe.plans.draw_up import make_plan
from meltdoe.series.chemistry import Chemistry

from .chemistry_truths import MELTS, SORTS, WORKSHOPS, chemistry_truth

__all__ = ["COUNTS", "Compared", "compared", "main", "measured", "needed"]

SEED = 2027
COUNTS = (1, 2, 3, 4, 6, 8, 12, MELTS)
TARGETS = (0.8, 0.6)


@dataclass(frozen=True)
class Compared:
    """One way of hearing chemistry against none on one sort of truth, as (mean, standard error of the difference).

    Parameters
    ----------
    chance : mean true chance at the recommended setting. gained : by how much it is better than without.
    needed : melts until 80 % and 60 % are reached. saved : by how many they are fewer.
    """

    chance: float
    gained: tuple[float, float]
    needed: tuple[float, ...]
    saved: tuple[tuple[float, float], ...]

    @property
    def loss(self) -> float:
        """Share of the chance of success that chemistry costs, below 0 where it helps."""
        return -self.gained[0] / (self.chance - self.gained[0])


def measured(
    sort: str, ways: Sequence[Chemistry | None], number: int, half: str = "tuning", own_term: bool = False
) -> NDArray[np.float64]:
    """True chance at the recommended setting after each of `COUNTS` melts of one series, (n_ways, n_counts)."""
    with threadpool_limits(1):  # small matrices: a second thread only waits
        plain = chemistry_truth(sort, None, half)
        rng = np.random.default_rng((SEED, list(WORKSHOPS).index(half), SORTS.index(sort), number))
        entries = tuple(plain.melted(make_plan(plain.series, melts=MELTS, seed=int(rng.integers(2**31))).melts, rng))
        found = []
        for way in ways:
            series = chemistry_truth(sort, way, half, own_term and way is not None).series
            for n in COUNTS:
                chain = fit_chain(series, Log(series, entries[:n]), effort="draft", seed=number)
                found.append(float(plain.chance(chain.best(plain.candidates).raw[None])[0]))
    return np.array(found).reshape(len(ways), len(COUNTS))


def needed(true: NDArray[np.float64], target: float) -> NDArray[np.float64]:
    """Melts until the chance first reaches the target, one element a series; true is (n_series, n_counts)."""
    reached = true >= target
    return np.where(reached.any(axis=1), np.array(COUNTS)[reached.argmax(axis=1)], MELTS + 2.0)


def compared(with_it: NDArray[np.float64], without: NDArray[np.float64]) -> Compared:
    """From tables (n_series, n_counts) of `measured` with the same melts."""

    def better(difference: NDArray[np.float64]) -> tuple[float, float]:
        return float(difference.mean()), float(difference.std(ddof=1) / np.sqrt(len(difference)))

    melts = [(needed(with_it, target), needed(without, target)) for target in TARGETS]
    return Compared(
        float(with_it.mean()),
        better(with_it.mean(axis=1) - without.mean(axis=1)),
        tuple(float(own.mean()) for own, _ in melts),
        tuple(better(plain - own) for own, plain in melts),
    )


def main(arguments: Iterable[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--series", type=int, default=40)
    parser.add_argument("--half", default="held out", choices=list(WORKSHOPS))
    parser.add_argument("--ways", nargs="+", default=["default"], help='worth and trust, such as "4:0.3"')
    parser.add_argument("--sorts", nargs="+", default=list(SORTS), choices=SORTS)
    parser.add_argument("--own-term", action="store_true", help="viscosity in the model in place of peak and flux")
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args(None if arguments is None else list(arguments))
    ways = [None, *map(_way, given.ways)]
    print(
        f"{given.half}: {given.series} series of {MELTS} melts a sort of truth; mean (error of the paired difference)"
    )
    with ProcessPoolExecutor(given.workers) as pool:
        for sort in given.sorts:
            play = partial(measured, sort, ways, half=given.half, own_term=given.own_term)
            found = np.array(list(pool.map(play, range(given.series))))
            for i, way in enumerate(["without", *given.ways]):
                one = compared(found[:, i], found[:, 0])
                melts = "; ".join(
                    f"to {target:.0%} {mean:5.2f}, saved {saved:+.2f} ({error:.2f})"
                    for target, mean, (saved, error) in zip(TARGETS, one.needed, one.saved, strict=True)
                )
                print(
                    f"{sort:14} {way:8} chance {one.chance:.3f}, gained {one.gained[0]:+.3f} ({one.gained[1]:.3f}), "
                    f"loss {one.loss:+.1%}; melts {melts}",
                    flush=True,
                )


def _way(text: str) -> Chemistry:
    if text == "default":
        return Chemistry("poured", "contained")
    worth, _, trust = text.partition(":")
    return Chemistry("poured", "contained", worth=float(worth), trust=float(trust or Chemistry().trust))


if __name__ == "__main__":
    main()
