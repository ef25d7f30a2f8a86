"""The answer in three sentences: what to set and how often it works, where the risk lies, whether to go on."""

from __future__ import annotations

from meltdoe.fit.stages.phrases import capital, good_phrase, interval_phrase, percent
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.next_melt.advice import Advice
from meltdoe.next_melt.stopping import Ending
from meltdoe.report.sentences import good_there

__all__ = ["answer_sentences"]

_WHY: dict[Ending, str] = {
    "reached": "the target counts as reached, and what is left is to confirm it",
    "melts spent": "the melts of the budget are used up",
    "firings spent": "the firings of the budget are used up",
    "money spent": "what is left of the budget does not pay for another melt",
    "out of reach": "the target is out of reach within these ranges and limits",
    "not worth it": "another melt is not worth what it costs",
    "go on": "it is not settled yet",
}


def answer_sentences(chain: ChainFit, advice: Advice | None, judged: bool) -> tuple[str, ...]:
    """Three sentences; one where there is nothing to answer."""
    if not judged:
        return (
            "No outcome of this series is judged good or bad, so no setting is better than another; see what was "
            "learnt.",
        )
    if advice is None:
        return ("No setting keeps every limit, so nothing can be recommended.",)
    best, series = advice.best, chain.series
    target = percent(series.target_chance)
    melted = bool(chain.log.entries)
    start = "The best setting so far is" if melted else "No melt has been made yet; by what was assumed, start at"
    verdict = advice.verdict
    return (
        f"{start} {series.show(best.settings)}, with a chance of success of {percent(best.chance)}, "
        f"{interval_phrase(best.low, best.high, chain.level)}.",
        _risk(chain, advice),
        f"{capital(verdict.word)}: {_WHY[verdict.ending]}; that the best setting succeeds at least {target} of the "
        f"time, as wanted, has a chance of {percent(verdict.reaches)}.",
    )


def _risk(chain: ChainFit, advice: Advice) -> str:
    shares = {name: float(share[0]) for name, share in chain.stage_failure_share(advice.best.raw).items()}
    worst = max(shares, key=lambda name: shares[name])
    stage = chain.stage(worst)
    if len(shares) == 1:
        return f"All of the remaining risk lies in {good_phrase(stage.outcome)}, the only outcome that is judged."
    chance = float(stage.chance_draws(advice.best.raw).mean())
    return (
        f"It is most likely to fail at {worst.replace('_', ' ')}: {percent(shares[worst])} of the expected failures "
        f"lie there, and a melt that gets that far has a chance of {percent(chance)} to be good"
        f"{good_there(stage.outcome)}."
    )
