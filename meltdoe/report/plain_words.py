"""The few numbers of a page for people who want no statistics: counts, and a chance as a share of pieces.

The numbers are those of the other pages; only the words around them differ.
"""

from __future__ import annotations

from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.phrases import capital, percent
from meltdoe.fit.stages.stage_chain import ChainFit
from meltdoe.report.sentences import judged_phrase
from meltdoe.series.outcome import Outcome

__all__ = ["plain_chance", "plain_counts"]


def plain_counts(chain: ChainFit) -> tuple[str, ...]:
    """How many melts were good at each stage."""
    said = []
    for stage in chain.stages:
        title = _title(stage.outcome)
        if not stage.n_seen:
            said.append(f"{title} not seen yet.")
        elif not stage.outcome.counts:
            said.append(f"{title} described {stage.n_seen} time{'s' * (stage.n_seen != 1)}, not judged.")
        else:
            said.append(f"{title} {stage.n_good} of {stage.n_seen} that got so far.")
    return tuple(said)


def _title(outcome: Outcome) -> str:
    """What was looked at, as the question was put where there is one, and what was good: "Did it pour? Yes:"."""
    if not outcome.question:
        return f"{capital(judged_phrase(outcome))}:"
    asked = outcome.question.rstrip(" .:;")
    if not outcome.counts:
        return asked if asked.endswith("?") else f"{asked}:"
    good = outcome.good_words
    return f"{asked} {capital(good)}:" if asked.endswith("?") else f"{asked}; good is {good}:"


def plain_chance(chain: ChainFit, best: BestSetting) -> str:
    """How often the next piece comes out well, in words that need no statistics."""
    if not chain.log.entries:
        return ""
    n = len(chain.log.melt_numbers)
    odds = round(100 * chain.level)
    wanted = percent(chain.series.target_chance)
    sure = percent(best.chance_reaches_target)
    return (
        f"By what {n} test melt{'s show' if n != 1 else ' shows'}, {percent(best.chance)} of the pieces made this way "
        f"should come out well. So few melts cannot settle it: the true share may be as low as {percent(best.low)} or "
        f"as high as {percent(best.high)} ({odds} in 100 that it lies in between). The maker wants {wanted}; that it "
        f"is so much has a chance of {sure}."
    )
