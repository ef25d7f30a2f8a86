"""Ways of choosing melts, played at a simulated bench.

A policy is a function that goes on making melts at a `Bench` until it would stop. All of them are judged by the same
fit, so that a rehearsal compares the melts that were chosen and not the arithmetic behind them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from meltdoe.errors import WrongUsage
from meltdoe.fit.stages.stage_chain import BestSetting, ChainFit, fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.next_melt.advice import next_melts
from meltdoe.next_melt.stopping import SURE, money_spent
from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.plans.optimal.candidates import candidate_settings
from meltdoe.rehearsal.truth import Truth
from meltdoe.series.budget import USUAL_SERIES
from meltdoe.series.factor import Amount, FloatArray, Setting
from meltdoe.series.melt_series import MeltSeries

__all__ = ["POLICIES", "Bench", "Policy", "chosen_policies", "numbered_on"]

_SMALL_START = 4  # melts, spread evenly over the region


@dataclass(eq=False)
class Bench:
    """One series being played: what was melted so far, and what is made of it.

    Parameters
    ----------
    plan : the plan that policies with a plan begin with.
    entries : melts on record, those from before the rehearsal first.
    number : of the simulated series; fixes the draws of its fits.
    needed : melts made when the recommended setting first truly reached the target, as far as anybody looked.
    ending : why the advice was to stop; empty where a policy ended by itself.
    """

    truth: Truth
    plan: Plan
    rng: np.random.Generator
    number: int
    entries: tuple[Entry, ...] = ()
    needed: int | None = None
    ending: str = ""
    before: int = field(init=False)
    _fitted: tuple[int, ChainFit] | None = field(default=None, init=False)

    def __post_init__(self) -> None:
        self.before = len(self.entries)

    @property
    def series(self) -> MeltSeries:
        return self.truth.series

    @property
    def log(self) -> Log:
        return Log(self.series, self.entries)

    @property
    def made(self) -> tuple[Entry, ...]:
        """The simulated melts."""
        return self.entries[self.before :]

    @property
    def left(self) -> int:
        """Melts that the budget still has."""
        return max(0, (self.series.budget.melts or USUAL_SERIES) - len(self.entries))

    @property
    def affordable(self) -> bool:
        """Whether there is a melt, a firing and the money for one more firing."""
        budget, costs = self.series.budget, self.series.costs
        firings = len({entry.firing for entry in self.entries})
        paid = budget.money is None or money_spent(self.log) + costs.melt + costs.firing <= budget.money
        return self.left > 0 and paid and (budget.firings is None or firings < budget.firings)

    def make(self, settings: Sequence[Mapping[str, Setting]]) -> None:
        """Make the melts of one firing, as many as the budget still has."""
        number = 1 + max((entry.melt for entry in self.entries), default=0)
        firing = 1 + max((entry.firing for entry in self.entries), default=0)
        self.make_planned(
            [PlannedMelt(number + i, firing, number + i, one, "") for i, one in enumerate(settings[: self.left])]
        )

    def make_planned(self, melts: Sequence[PlannedMelt]) -> None:
        """Make melts of a plan."""
        self.entries += self.truth.melted(melts, self.rng)

    @property
    def chain(self) -> ChainFit:
        """The fit of everything melted so far; looking at it notes whether its recommendation works."""
        if self._fitted is None or self._fitted[0] != len(self.entries):
            self._fitted = (len(self.entries), fit_chain(self.series, self.log, seed=self.number, effort="draft"))
            if self.needed is None and self.true_chance >= self.series.target_chance:
                self.needed = len(self.made)
        return self._fitted[1]

    @property
    def best(self) -> BestSetting:
        return self.chain.best()

    @property
    def true_chance(self) -> float:
        """True chance of success at the setting that would be recommended now."""
        return float(self.truth.chance(self.best.raw[None, :])[0])

    @property
    def claimed(self) -> bool:
        """Whether the program would say that the target is reached."""
        return self.best.chance_reaches_target >= SURE


def numbered_on(plan: Plan, log: Log) -> Plan:
    """The plan with melts and firings counted on from those on record, so that none is taken for one of them."""
    melts, firings = max(log.melt_numbers, default=0), max((entry.firing for entry in log.entries), default=0)
    later = tuple(replace(melt, melt=melt.melt + melts, firing=melt.firing + firings) for melt in plan.melts)
    return replace(plan, melts=later)


Policy = Callable[[Bench], None]


def _plan(bench: Bench) -> None:
    """The plan, then stop."""
    bench.make_planned(bench.plan.melts)


def _follow_up(bench: Bench) -> None:
    """The plan, then firing by firing as the program advises."""
    bench.make_planned(bench.plan.melts)
    _advised(bench)


def _step_by_step(bench: Bench) -> None:
    """A few melts spread over the region, then firing by firing as the program advises."""
    start = min(_SMALL_START, max(1, bench.left // 2))
    if bench.affordable:
        spread = make_plan(bench.series, "space-filling", start, seed=bench.number)
        bench.make_planned(numbered_on(spread, bench.log).melts)
    _advised(bench)


def _advised(bench: Bench) -> None:
    while bench.affordable and not bench.claimed:
        wanted = min(bench.series.kiln.melts_per_firing, bench.left)
        advice = next_melts(bench.chain, seed=bench.number, count=wanted)
        if advice.verdict.word == "stop":
            bench.ending = advice.verdict.ending
            return
        bench.make([melt.settings for melt in advice.melts])


def _one_at_a_time(bench: Bench) -> None:
    """From the middle, one factor after another to the setting that got furthest, round after round."""
    series = bench.series
    settings = candidate_settings(series, 400, bench.number)
    here = settings[int(np.argmin(_distance(series, settings)))]
    best = _got(bench, [here])[0]
    while bench.affordable and not bench.claimed:
        for i in range(len(series.factors)):
            for raw in _firings(series, i, _others(series, here, i)):
                if not bench.affordable or bench.claimed:
                    return
                for row, score in zip(raw, _got(bench, raw), strict=False):
                    if score > best:
                        here, best = row, score
        best = _got(bench, [here])[0] if bench.affordable else best  # a lucky melt must not stand for ever


def _others(series: MeltSeries, here: FloatArray, i: int) -> list[FloatArray]:
    """Other settings of one factor, the rest as it stands: both ends and the middle, or every option."""
    factor = series.factors[i]
    values = factor.snap(factor.decoded(np.array([-1.0, 0.0, 1.0]))) if isinstance(factor, Amount) else factor.grid()
    rows = np.tile(here, (len(values), 1))
    rows[:, i] = values
    return [row for row in rows[series.allowed(rows)] if row[i] != here[i]]


def _firings(series: MeltSeries, i: int, rows: list[FloatArray]) -> Iterator[list[FloatArray]]:
    """Dealt out to firings: alone where the factor is set per firing."""
    size = 1 if i in series.per_firing else series.kiln.melts_per_firing
    for start in range(0, len(rows), size):
        yield rows[start : start + size]


def _got(bench: Bench, raw: Sequence[FloatArray]) -> list[float]:
    """Make the melts of a firing; how many outcomes were good in each."""
    series, before = bench.series, len(bench.entries)
    bench.make([series.settings(row) for row in raw])
    return [
        float(sum(series.outcome(name).is_good(seen) is True for name, seen in entry.seen.items()))
        for entry in bench.entries[before:]
    ]


def _distance(series: MeltSeries, raw: FloatArray) -> FloatArray:
    """Coded distance from the middle of the region."""
    columns = np.hstack([series.coding.factor_columns(name, raw) for name in series.factor_names])
    centre = np.hstack(
        [series.coding.factor_columns(name, series.coding.centre()[None, :]) for name in series.factor_names]
    )
    return np.asarray(np.linalg.norm(columns - centre, axis=1))


def _random(bench: Bench) -> None:
    """Settings drawn at random from all that keep the limits."""
    series = bench.series
    while bench.affordable and not bench.claimed:
        table = candidate_settings(series, 400, int(bench.rng.integers(2**31)))
        first = series.settings(table[int(bench.rng.integers(len(table)))])
        held = {series.factor_names[i]: first[series.factor_names[i]] for i in series.per_firing}
        same = candidate_settings(series, 400, int(bench.rng.integers(2**31)), per_firing=held)
        more = bench.rng.integers(len(same), size=series.kiln.melts_per_firing - 1)
        bench.make([first, *(series.settings(same[int(row)]) for row in more)])


POLICIES: Mapping[str, tuple[Policy, str]] = {
    "plan": (_plan, "the plan, then stop"),
    "follow-up": (_follow_up, "the plan, then firing by firing as the program advises"),
    "step-by-step": (_step_by_step, "a few melts spread over the region, then firing by firing as the program advises"),
    "one-at-a-time": (_one_at_a_time, "from the middle, one factor after another"),
    "random": (_random, "settings drawn at random"),
}


def chosen_policies(names: Sequence[str]) -> tuple[str, ...]:
    """Names of policies without repeats; "all" stands for every one.

    Raises
    ------
    WrongUsage
        For a name that is no policy.
    """
    every = [name for given in names for name in (POLICIES if given == "all" else (given,))]
    for name in every:
        if name not in POLICIES:
            raise WrongUsage(f'"{name}" is no policy; take one of {", ".join(POLICIES)}, or all')
    return tuple(dict.fromkeys(every))
