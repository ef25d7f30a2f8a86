"""Simulation study of the inference: do 90 % intervals cover, and do stated chances come true?

    python -m tests.benchmarks.inference_study [--series 500] [--quick] [--seed 2026] [--workers 1] [--only WORDS]

prints one Markdown table a question. Every series has a stream of chance of its own, so the figures do not depend on
the number of workers. Targets: 88 to 92 % where the truth comes from the program's own prior, at least 85 % where it
does not; reliability slope 0.9 to 1.1 under the prior; expected Brier score no worse than that of any rival. A figure
that misses its target by less than two Monte Carlo errors is called unclear. Figures after +- are those errors.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np

from .coverage_scores import Figure, Played, brier, brier_gain, chances_covered, reliability, slopes_covered
from .rival_classifiers import RIVALS
from .simulated_chain import play_measured, play_passes
from .simulated_stage import OUTSIDE, play_stage

__all__ = ["STUDIES", "Study", "main"]

MELTS = (8, 12, 16, 24)


@dataclass(frozen=True, slots=True)
class Study:
    """One row of questions: a way to play a series, given melts and seed.

    Attributes
    ----------
    share : how many series it gets, as a share of those asked for.
    own : whether the truth comes from the very prior that the fit uses.
    rivals : whether other classifiers are fitted to every third series; they take longer than the program.
    """

    name: str
    play: Callable[..., Played]
    share: float = 1.0
    own: bool = True
    rivals: bool = False


def _stage(n: int, seed: tuple[int, ...], kind: str, truth: str, per_firing: int = 1, rivals: bool = False) -> Played:
    return play_stage(kind, truth, n, seed, per_firing=per_firing, rivals=rivals)  # type: ignore[arg-type]


STUDIES = (
    Study("pass/fail, truth from the prior", partial(_stage, kind="pass", truth="prior"), rivals=True),
    *(
        Study(
            f"pass/fail, {truth}",
            partial(_stage, kind="pass", truth=truth),
            share=0.5,
            own=False,
            rivals=True,
        )
        for truth in OUTSIDE
    ),
    Study("grades, truth from the prior", partial(_stage, kind="grade", truth="prior")),
    Study("measured, truth from the prior", partial(_stage, kind="measured", truth="prior"), share=0.5),
    Study("pass/fail, three melts a firing", partial(_stage, kind="pass", truth="prior", per_firing=3), share=0.5),
    Study("chain of three passes", play_passes, rivals=True),
    Study(
        "chain of three passes, main effects alone",
        partial(play_passes, straight=True),
        share=0.4,
        own=False,
        rivals=True,
    ),
    Study("chain of three passes, six melts half noted", partial(play_passes, half_noted=6), share=0.5, own=False),
    Study("one measured outcome through the log", play_measured, share=0.4, own=False),
)


def _one(study: int, seed: int, task: tuple[int, int]) -> Played:
    n, i = task
    chosen = STUDIES[study]
    more = {"rivals": True} if chosen.rivals and i % 3 == 0 else {}
    return chosen.play(n, (seed, study, n, i), **more)


def played_series(study: int, count: int, seed: int, workers: int) -> dict[int, list[Played]]:
    """`count` series of each length."""
    tasks = [(n, i) for n in MELTS for i in range(count)]
    play = partial(_one, study, seed)
    if workers > 1:
        with ProcessPoolExecutor(workers) as pool:
            done = list(pool.map(play, tasks, chunksize=8))
    else:
        done = [play(task) for task in tasks]
    return {n: done[j * count : (j + 1) * count] for j, n in enumerate(MELTS)}


def _verdict(judged: Sequence[tuple[Figure, float, float]]) -> str:
    if all(figure.within(low, high) for figure, low, high in judged):
        return "yes"
    return "unclear" if all(figure.within(low, high, 2.0) for figure, low, high in judged) else "no"


def _coverage_row(name: str, melts: str, own: bool, played: Sequence[Played]) -> str:
    slopes, chances, slope = slopes_covered(played), chances_covered(played), reliability(played)
    low, high = (0.88, 0.92) if own else (0.85, 1.0)
    judged = [(slopes, low, high), (chances, low, high)] + [(slope, 0.9, 1.1)] * own
    cells = [
        name,
        melts,
        str(len(played)),
        f"{100 * slopes.value:.1f} ± {100 * slopes.error:.1f}",
        f"{100 * chances.value:.1f} ± {100 * chances.error:.1f}",
        f"{slope.value:.2f} ± {slope.error:.2f}",
        _verdict(judged),
        f"{1000 * np.mean([one.seconds for one in played]):.0f}",
    ]
    return "| " + " | ".join(cells) + " |"


def _brier_row(name: str, melts: str, everything: Sequence[Played]) -> str:
    played = [one for one in everything if one.rivals]
    gains = [brier_gain(played, rival) for rival in RIVALS]
    cells = [name, melts, str(len(played)), f"{brier(played).value:.4f}"]
    cells += [
        f"{brier(played, rival).value:.4f} ({gain.value:+.4f} ± {gain.error:.4f})"
        for rival, gain in zip(RIVALS, gains, strict=True)
    ]
    cells.append(_verdict([(gain, 0.0, np.inf) for gain in gains]))
    return "| " + " | ".join(cells) + " |"


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the studies and print the tables."""
    parser = argparse.ArgumentParser(description="Simulation study of the inference.")
    parser.add_argument("--series", type=int, default=500, help="series of each length in the full studies")
    parser.add_argument("--quick", action="store_true", help="25 series of each length")
    parser.add_argument("--seed", type=int, default=2026)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--only", default="", help="only the studies whose name holds these words")
    asked = parser.parse_args(arguments)
    series = 25 if asked.quick else asked.series

    start = time.perf_counter()
    print(
        "| outcome and truth | melts | series | slopes covered, % | chances covered, % | reliability | met | ms/fit |"
    )
    print("|---|---|---|---|---|---|---|---|")
    scores = [
        f"| expected Brier score | melts | series | meltdoe | {' | '.join(RIVALS)} | met |",
        f"|---|---|---|---|{'---|' * len(RIVALS)}---|",
    ]
    for number, study in enumerate(STUDIES):
        if asked.only not in study.name:
            continue
        by_length = played_series(number, max(4, round(study.share * series)), asked.seed, asked.workers)
        everything = [one for played in by_length.values() for one in played]
        for melts, played in [*((str(n), one) for n, one in by_length.items()), ("all", everything)]:
            print(_coverage_row(study.name, melts, study.own, played), flush=True)
            if study.rivals:
                scores.append(_brier_row(study.name, melts, played))
    if len(scores) > 2:
        print("\n".join(["", *scores]))
    print(f"\nSeed {asked.seed}; {time.perf_counter() - start:.0f} s in all.")


if __name__ == "__main__":
    main()
