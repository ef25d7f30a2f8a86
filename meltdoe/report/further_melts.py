"""What further melts at the recommended setting would do to its chance: invented outcomes, fitted quickly."""

from __future__ import annotations

import numpy as np

from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.phrases import percent
from meltdoe.fit.stages.stage_chain import ChainFit, fit_chain
from meltdoe.fit.stages.stage_fit import StageFit
from meltdoe.log.melt_log import Entry, Log
from meltdoe.series.outcome import GoodRange, Outcome, Seen, Unseen

__all__ = ["further_sentences"]

_FAILING, _GOOD = (1, 3), 3  # how many further melts are imagined


def further_sentences(chain: ChainFit, best: BestSetting) -> tuple[str, ...]:
    """The chance at the recommended setting after further failures there, and after further good melts."""
    shares = chain.stage_failure_share(best.raw)
    worst = max(shares, key=lambda name: float(shares[name][0]))
    fails = _chance_after(chain, best, dict.fromkeys(_FAILING, worst))
    holds = _chance_after(chain, best, {_GOOD: None})
    said = []
    if fails:
        told = ", ".join(
            f"{percent(chance)} after {n} such melt{'s' * (n != 1)}" for n, (chance, _) in sorted(fails.items())
        )
        said.append(
            f"Further melts at the recommended setting that fail at {worst} would bring its chance from "
            f"{percent(best.chance)} to {told} (quick fits)."
        )
    if holds:
        chance, reaches = holds[_GOOD]
        said.append(
            f"{_GOOD} further melts there that are good throughout would bring it to {percent(chance)}, and the chance "
            f"that it reaches the {percent(chain.series.target_chance)} wanted from "
            f"{percent(best.chance_reaches_target)} to {percent(reaches)}."
        )
    return tuple(said)


def _chance_after(chain: ChainFit, best: BestSetting, cases: dict[int, str | None]) -> dict[int, tuple[float, float]]:
    """The chance, and that it reaches the target, after each number of melts that end at a stage (None: all good)."""
    found = {}
    for n, failing in cases.items():
        seen = _ending(chain, best, failing)
        if seen is None:
            continue
        start, firing = max(chain.log.melt_numbers, default=0), max(chain.log.firings, default=0)
        more = tuple(Entry(start + k, int(firing) + k, best.settings, seen) for k in range(1, n + 1))
        log = Log(chain.series, (*chain.log.entries, *more))
        draws = fit_chain(chain.series, log, level=chain.level, seed=chain.seed, effort="draft").success_draws(best.raw)
        found[n] = float(draws.mean()), float((draws >= chain.series.target_chance).mean())
    return found


def _ending(chain: ChainFit, best: BestSetting, failing: str | None) -> dict[str, Seen] | None:
    """What would be seen of a melt that fails at a stage, or nowhere; None where no such value can be named."""
    seen: dict[str, Seen] = {}
    for stage in chain.stages:
        outcome = stage.outcome
        before = [seen[one.name] for one in chain.series.forerunners(outcome.name)]
        reached = all(
            one.is_good(value) is not False and value is not Unseen.NOT_REACHED
            for one, value in zip(chain.series.forerunners(outcome.name), before, strict=True)
        )
        if not outcome.counts or not reached:
            seen[outcome.name] = Unseen.LOST if reached else Unseen.NOT_REACHED
            continue
        value = _value(stage, best, good=outcome.name != failing)
        if value is None:
            return None
        seen[outcome.name] = value
    return seen


def _value(stage: StageFit, best: BestSetting, *, good: bool) -> Seen | None:
    outcome = stage.outcome
    if outcome.kind == "pass":
        return good
    if outcome.kind == "grade":
        wanted = [grade for grade in outcome.grades if (grade in _words(outcome)) == good]
        return (wanted[0] if good else wanted[-1]) if wanted else None
    assert isinstance(outcome.good, GoodRange)
    low, high = outcome.bounds or (-np.inf, np.inf)
    spread = float(np.exp(stage.posterior.shape[:, 0]).mean())
    ends = [end for end in (outcome.good.low, outcome.good.high) if np.isfinite(end)]
    if good:
        # what is expected there, where that is good: a bare pass would speak against the setting
        expected = float(np.clip(stage.outcome_draws(best.raw)[0].mean(), low, high))
        if expected in outcome.good:
            return expected
        inward = spread / 2 if np.isfinite(outcome.good.low) else -spread / 2
        return float(np.mean(ends)) if len(ends) == 2 else float(np.clip(ends[0] + inward, low, high))
    outside = float(np.clip(ends[0] + (-spread if ends[0] == outcome.good.low else spread), low, high))
    return outside if outside not in outcome.good else None


def _words(outcome: Outcome) -> tuple[str, ...]:
    return outcome.good if isinstance(outcome.good, tuple) else ()
