"""What is timed for the table of speeds: invented series of any size, and a row for each kind of work.

A row names what is doubled and makes, for a size and a seed, the work to be timed; what it takes to prepare that is not
timed. Where work grows more than linearly, the reason stands beside it.
"""

from __future__ import annotations

import atexit
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from unittest.mock import patch

import numpy as np
from scipy.special import expit

from meltdoe.files.series.series_text import series_text
from meltdoe.files.store.log_csv import log_text
from meltdoe.files.store.recording import record_melt
from meltdoe.fit.stages.stage_chain import ChainFit, fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.next_melt import advice
from meltdoe.plans.comparison import compare_plans
from meltdoe.plans.draw_up import make_plan
from meltdoe.rehearsal.simulated_series import rehearse
from meltdoe.rehearsal.workers import core_workers
from meltdoe.series import Amount, Budget, Choice, GoodRange, Kiln, Limit, MeltSeries, Outcome, Seen, Unseen
from meltdoe.series.limit_parser import parse_comparison
from meltdoe.steps import check_folder, read_log, read_series, write_report

__all__ = ["ROWS", "Row", "Work"]

Work = Callable[[], object]
KINDS = ("pass", "measured", "grade", "pass")  # of the outcomes, in the order of the work
SHARES = "abcdefgh"


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table.

    Parameters
    ----------
    group, what : what is done, and what about it is doubled.
    size : the smaller size; 0 where nothing can be doubled.
    work : makes the work from a size and a seed.
    elapsed : whether elapsed seconds are told instead of seconds of the processor.
    runs : how often it is done for each seed.
    why : why it grows more than linearly, where it does.
    """

    group: str
    what: str
    size: int
    work: Callable[[int, int], Work]
    elapsed: bool = False
    runs: int = 2
    why: str = ""


def _series(
    factors: int = 4, outcomes: int = 1, *, kinds: tuple[str, ...] = ("pass",), held: int = 0, melts: int = 12,
    together: int = 1,
) -> MeltSeries:  # fmt: skip
    """Amounts of eleven steps, `held` of them set per firing, and outcomes one after the other; all invented."""
    found = []
    for k in range(outcomes):
        kind, after = kinds[k % len(kinds)], f"y{k}" if k else None
        if kind == "measured":
            found.append(Outcome(f"y{k + 1}", "measured", unit="%", bounds=(0, 100), after=after, good=GoodRange(60)))
        elif kind == "grade":
            found.append(Outcome(f"y{k + 1}", "grade", grades=("clear", "few", "many"), after=after, good=("clear",)))
        else:
            found.append(Outcome(f"y{k + 1}", "pass", after=after))
    return MeltSeries(
        title="Invented, for timing",
        factors=tuple(
            Amount(f"x{i + 1}", 0, 10, step=1, set_per="firing" if i < held else "melt") for i in range(factors)
        ),
        outcomes=tuple(found),
        kiln=Kiln(together),
        budget=Budget(melts=melts),
        target_chance=0.8,
    )


def _log(series: MeltSeries, melts: int, seed: int) -> Log:
    """Melts at random settings, of which every outcome is good in about three of four."""
    rng = np.random.default_rng(seed)
    together, names = series.kiln.melts_per_firing, series.factor_names
    raw = rng.integers(0, 11, size=(melts, len(names))).astype(float)
    for i in range(melts):
        for j in series.per_firing:
            raw[i, j] = raw[together * (i // together), j]
    slopes = rng.normal(0.0, 0.25, size=(len(series.outcomes), len(names)))
    chances = expit(1.1 + (raw - 5.0) @ slopes.T)
    return Log(
        series,
        tuple(
            Entry(i + 1, i // together + 1, series.settings(raw[i]), _seen(series, chances[i], rng))
            for i in range(melts)
        ),
    )


def _seen(series: MeltSeries, chances: np.ndarray, rng: np.random.Generator) -> Mapping[str, Seen]:
    seen: dict[str, Seen] = {}
    for outcome, chance in zip(series.outcomes, chances, strict=True):
        if outcome.after is not None and not series.outcome(outcome.after).is_good(seen[outcome.after]):
            seen[outcome.name] = Unseen.NOT_REACHED
        elif outcome.kind == "measured":
            seen[outcome.name] = float(np.clip(np.round(100 * chance + rng.normal(0, 10)), 0, 100))
        elif outcome.kind == "grade":
            seen[outcome.name] = outcome.grades[0 if rng.random() < chance else int(rng.integers(1, 3))]
        else:
            seen[outcome.name] = bool(rng.random() < chance)
    return seen


def _folder(series: MeltSeries, melts: int, seed: int) -> Path:
    """A folder with the series and so many melts on record."""
    folder = Path(tempfile.mkdtemp(prefix="speed-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    (folder / "series.toml").write_text(series_text(series), encoding="utf-8")
    written = read_series(folder)
    rows = [
        {"melt": str(entry.melt), "firing": str(entry.firing)}
        | {name: f"{value:g}" for name, value in entry.settings.items()}
        | {name: written.outcome(name).show(value) for name, value in entry.seen.items()}
        for entry in _log(series, melts, seed).entries
    ]
    (folder / "log.csv").write_text(log_text(written, rows), encoding="utf-8")
    read_log(written)  # enters them in the journal
    return folder


def _command(*words: str) -> Work:
    return lambda: subprocess.run([sys.executable, "-m", "meltdoe", *words], check=True, capture_output=True)


def _plan(design: str, factors: int, melts: int | None = None, *, held: int = 0, together: int = 1) -> Callable:
    """Work of a design whose number of factors or of melts is the size, whichever is given as 0."""

    def work(size: int, seed: int) -> Work:
        series = _series(factors or size, held=held, together=together, melts=128)
        return lambda: make_plan(series, design, size if melts == 0 else melts, seed)

    return work


def _mixture(size: int, seed: int) -> Work:
    total = f"{' + '.join(SHARES[:size])} <= 20"
    series = replace(
        _series(melts=64),
        factors=tuple(Amount(name, 0, 20, unit="wt%", step=1) for name in SHARES[:size]),
        limits=(Limit(total, "shares of one whole", parse_comparison(total)),),
    )
    return lambda: make_plan(series, "mixture", seed=seed)


def _array(size: int, seed: int) -> Work:
    series = replace(_series(melts=64), factors=tuple(Choice(f"x{i + 1}", ("a", "b", "c")) for i in range(size)))
    return lambda: make_plan(series, "array", seed=seed)


def _options(series: MeltSeries, seed: int) -> Work:
    return lambda: compare_plans(series, seed=seed)


def _fit(series: MeltSeries, melts: int, seed: int) -> Work:
    log = _log(series, melts, seed)
    return lambda: fit_chain(series, log, seed=seed)


def _fitted(series: MeltSeries, melts: int, seed: int) -> ChainFit:
    return fit_chain(series, _log(series, melts, seed), seed=seed)


def _next(series: MeltSeries, melts: int, seed: int, candidates: int = 3000) -> Work:
    chain = _fitted(series, melts, seed)

    def work() -> object:
        with patch.object(advice, "_CANDIDATES", candidates):
            return advice.next_melts(chain, seed=seed)

    return work


def _rehearsal(count: int, seed: int, policy: str, workers: int = 1) -> Work:
    series = _series(3, 2, melts=8)

    def work() -> object:
        with core_workers(count, workers) as executor:
            return rehearse(series, policy=policy, count=count, seed=seed, executor=executor)

    return work


def _check(size: int, seed: int) -> Work:
    folder = _folder(_series(4, 2), size, seed)
    return lambda: check_folder(folder)


def _record(size: int, seed: int) -> Work:
    folder = _folder(_series(4, 2), size, seed)
    settings: dict[str, float] = {f"x{i}": 5.0 for i in range(1, 5)}
    return lambda: record_melt(read_series(folder), settings=settings, seen={"y1": True, "y2": False})


def _report(size: int, seed: int) -> Work:
    folder = _folder(_series(4, 2), size, seed)
    return lambda: write_report(folder, seed=seed)


ROWS = (
    Row("start-up", "meltdoe --help, whole process", 0, lambda size, seed: _command("--help")),
    Row("start-up", "meltdoe check, whole process, by melts", 16,
        lambda size, seed: _command("check", str(_folder(_series(4, 2), size, seed)))),
    Row("check", "by melts on record", 64, _check),
    Row("record", "one melt more, by melts on record", 64, _record),
    Row("plan", "fraction in 16 melts, by factors", 5, _plan("fraction", 0, 16)),
    Row("plan", "fraction of 7 factors, by melts", 32, _plan("fraction", 7, 0)),
    Row("plan", "full factorial, by factors", 3, _plan("full", 0), why="2 to the number of factors melts: 8, then 64"),
    Row("plan", "Plackett-Burman of 11 factors, by melts", 12, _plan("plackett-burman", 11, 0)),
    Row("plan", "definitive screening, by factors", 4, _plan("definitive-screening", 0)),
    Row("plan", "Box-Behnken, by factors", 3, _plan("box-behnken", 0),
        why="15 melts, then 54: every pair of factors has its square of four"),
    Row("plan", "central composite, by factors", 3, _plan("central-composite", 0),
        why="20 melts, then 54: the corners double with each factor, as far as no fraction of them will do"),
    Row("plan", "orthogonal array of three settings, by factors", 3, _array),
    Row("plan", "simplex blends, by factors", 3, _mixture,
        why="10 melts, then 28: blends of two grow with the square of the factors"),
    Row("plan", "space-filling of 4 factors, by melts", 12, _plan("space-filling", 4, 0)),
    Row("plan", "Sobol sequence of 4 factors, by melts", 12, _plan("sobol", 4, 0)),
    Row("plan", "optimal of 4 factors, by melts", 20, _plan("optimal", 4, 0)),
    Row("plan", "optimal in 20 melts, by factors", 4, _plan("optimal", 0, 20),
        why="terms grow with the square of the factors, and a look at an exchange with that of the terms"),
    Row("plan", "optimal, 1 of 4 factors per firing, two melts each, by melts", 20,
        _plan("optimal", 4, 0, held=1, together=2)),
    Row("options", "all plans side by side, 4 factors, by melts", 10,
        lambda size, seed: _options(_series(4, 2, melts=size), seed), runs=1,
        why="four plans fit into 10 melts, six into 20"),
    Row("options", "all plans side by side, 14 melts, by factors", 3,
        lambda size, seed: _options(_series(size, 2, melts=14), seed), runs=1,
        why="four plans for 3 factors, six for 6, and their optimal ones as above"),
    Row("fit", "a pass, 4 factors, by melts", 12, lambda size, seed: _fit(_series(), size, seed)),
    Row("fit", "the same, two melts sharing a firing", 12,
        lambda size, seed: _fit(_series(held=1, together=2), size, seed)),
    Row("fit", "a measured outcome, 4 factors, by melts", 12,
        lambda size, seed: _fit(_series(kinds=("measured",)), size, seed)),
    Row("fit", "grades, 4 factors, by melts", 12, lambda size, seed: _fit(_series(kinds=("grade",)), size, seed)),
    Row("fit", "passes one after the other, 16 melts, by outcomes", 2,
        lambda size, seed: _fit(_series(4, size), 16, seed)),
    Row("fit", "the same, two melts sharing a firing", 2,
        lambda size, seed: _fit(_series(4, size, held=1, together=2), 16, seed)),
    Row("fit", "pass, measured, grade, pass, 16 melts, by outcomes", 2,
        lambda size, seed: _fit(_series(4, size, kinds=KINDS), 16, seed)),
    Row("fit", "a pass, 16 melts, by factors", 3, lambda size, seed: _fit(_series(size), 16, seed),
        why="every pattern of factors that may matter is weighed, 8 and then 64; products grow with their square"),
    Row("next", "2 passes, 16 melts, by factors", 3,
        lambda size, seed: _next(_series(size, 2, melts=30), 16, seed), runs=1,
        why="products and squares, worked out at every setting, grow with the square of the factors"),
    Row("next", "the same, 4 factors, by settings looked at", 3000,
        lambda size, seed: _next(_series(4, 2, melts=30), 16, seed, size), runs=1),
    Row("next", "the same, 4 factors, by melts on record", 8,
        lambda size, seed: _next(_series(4, 2, melts=30), size, seed), runs=1),
    Row("next", "the same, 1 of 4 factors per firing, by melts a firing", 2,
        lambda size, seed: _next(_series(4, 2, melts=30, held=1, together=size), 16, seed), runs=1),
    Row("rehearsal", "following the plan, by series", 8, lambda size, seed: _rehearsal(size, seed, "plan"), runs=1),
    Row("rehearsal", "melt by melt, by series", 4, lambda size, seed: _rehearsal(size, seed, "step-by-step"), runs=1),
    Row("rehearsal", "60 series following the plan, by workers", 1,
        lambda size, seed: _rehearsal(60, seed, "plan", size), runs=1,
        why="each worker starts by itself and loads the program; a single one is this process"),
    Row("rehearsal", "the same, elapsed seconds", 1,
        lambda size, seed: _rehearsal(60, seed, "plan", size), elapsed=True, runs=1,
        why="the same; more series pay for it"),
    Row("report", "the page and its figures, 2 outcomes, by melts", 12, _report, runs=1),
)  # fmt: skip
