"""What a fitted chain says, in sentences that terminal and report share.

The small phrases (percentages, units, lists) and the sentence of each effect come from `meltdoe.fit`; here are the
sentences on a whole outcome or the whole chain. Pure functions: results in, text out.
"""

from __future__ import annotations

from meltdoe.fit.classical.exact_intervals import chance_at_least, clopper_pearson
from meltdoe.fit.stages.best_setting import BestSetting
from meltdoe.fit.stages.phrases import capital, good_phrase, interval_phrase, percent
from meltdoe.fit.stages.stage_chain import ChainFit, StageFit
from meltdoe.report.tables import times
from meltdoe.series.outcome import Outcome
from meltdoe.wording import listed

__all__ = [
    "MATTERS",
    "best_sentence",
    "chain_sentences",
    "counted_sentence",
    "good_there",
    "judged_phrase",
    "not_told_apart_sentences",
    "risk_sentence",
    "separation_sentences",
    "stage_sentences",
    "telling_sentences",
]

MATTERS = 0.5  # posterior chance from which a change of settings more likely than not matters
_WORTH_SHORTENING = 3  # effects from which sentences are left to the table


def judged_phrase(outcome: Outcome) -> str:
    """What a good outcome is called; the bare name of one that is only described."""
    return good_phrase(outcome) if outcome.counts else outcome.name.replace("_", " ")


def counted_sentence(stage: StageFit) -> str:
    """How many were good, with exact limits (Clopper & Pearson 1934) of the chance if every melt had been alike.

    Where all or none were good only one limit can be wrong, so the whole error is put there.
    """
    seen, good, level = stage.n_seen, stage.n_good, stage.level
    title = judged_phrase(stage.outcome)
    if not seen:
        return f"{capital(title)}: no melt has been seen for it yet."
    if not stage.outcome.counts:
        return f"{capital(title)}: seen {seen} times; it is described, not judged."
    verb = "was" if seen == 1 else "were"
    count = f"{capital(title)}: {good} of {seen} {verb} good"
    confidence = f"({100 * level:g} % confidence)"
    if good == seen:
        low = chance_at_least(good, seen, level)
        return f"{count}, which proves no more than a chance of at least {percent(low)} {confidence}."
    if good == 0:
        high = 1 - chance_at_least(seen, seen, level)
        return f"{count}, which still allows a chance of up to {percent(high)} {confidence}."
    low, high = clopper_pearson(good, seen, level)
    return f"{count}; over all their settings a chance between {percent(low)} and {percent(high)} {confidence}."


def stage_sentences(stage: StageFit) -> tuple[str, ...]:
    """Everything to be said on one outcome: the count, the effects that matter most first, splits, and notes."""
    told = [effect for effect in stage.effects if effect.estimable]
    told.sort(key=lambda effect: -(effect.inclusion or 0.0))
    split = () if stage.separation is None else (stage.separation.sentence,)
    return (counted_sentence(stage), *(effect.sentence for effect in told), *split, *stage.notes)


def telling_sentences(stage: StageFit) -> tuple[str, ...]:
    """The same where a table of all effects stands beside: sentences of those that matter, the others by their names.

    Where none more likely than not matters, that is said, and the one that comes nearest.
    """
    told = sorted((e for e in stage.effects if e.estimable), key=lambda effect: -(effect.inclusion or 0.0))
    if len(told) < _WORTH_SHORTENING or any(effect.inclusion is None for effect in told):
        return stage_sentences(stage)
    likely = [effect for effect in told if (effect.inclusion or 0.0) >= MATTERS]
    shown = likely or told[:1]
    others = listed([times(effect.label) for effect in told[len(shown) :]])
    said = [effect.sentence for effect in shown]
    if not likely:
        said.insert(0, "No change of settings more likely than not matters here; the nearest to it comes first.")
    if others:
        said.append(f"Less likely than not to matter, with numbers in the table below: {others}.")
    split = () if stage.separation is None else (stage.separation.sentence,)
    return (counted_sentence(stage), *said, *split, *stage.notes)


def best_sentence(chain: ChainFit, best: BestSetting) -> str:
    """The best setting with its chance and interval, and how likely it reaches the target."""
    target = percent(chain.series.target_chance)
    named = "Best setting so far" if chain.log.entries else "Best guess before any melt, by what was assumed"
    return (
        f"{named}: {chain.series.show(best.settings)}. Chance of success there {percent(best.chance)}, "
        f"{interval_phrase(best.low, best.high, chain.level)}; that it reaches the {target} wanted has a chance of "
        f"{percent(best.chance_reaches_target)}."
    )


def risk_sentence(chain: ChainFit, best: BestSetting) -> str:
    """Which outcome carries most of the risk that is left at the best setting."""
    shares = {name: float(share[0]) for name, share in chain.stage_failure_share(best.raw).items()}
    if not shares or not sum(shares.values()):
        return "No outcome is judged, so there is no risk to share out."
    if len(shares) == 1:
        return f"All of the remaining risk lies in {next(iter(shares))}, the only outcome that is judged."
    worst = max(shares, key=lambda name: shares[name])
    stage = chain.stage(worst)
    chance = float(stage.chance_draws(best.raw).mean())
    return (
        f"The largest part of the remaining risk lies in {worst.replace('_', ' ')}: {percent(shares[worst])} of the "
        f"expected failures lie there, and a melt that gets that far has a chance of {percent(chance)} to be good"
        f"{good_there(stage.outcome)}."
    )


def good_there(outcome: Outcome) -> str:
    """What good means, in brackets; nothing for a pass, which says it by its name."""
    return "" if outcome.kind == "pass" else f" ({good_phrase(outcome)})"


def not_told_apart_sentences(chain: ChainFit) -> tuple[str, ...]:
    """What the melts cannot tell apart, for each outcome."""
    found = []
    for stage in chain.stages:
        reasons = dict.fromkeys(effect.why_not for effect in stage.effects if not effect.estimable)
        found += [f"{capital(judged_phrase(stage.outcome))}: {reason}." for reason in reasons]
    return tuple(found)


def separation_sentences(chain: ChainFit) -> tuple[str, ...]:
    """The perfect splits, with the melts that make them."""
    return tuple(stage.separation.sentence for stage in chain.stages if stage.separation is not None)


def chain_sentences(chain: ChainFit, best: BestSetting | None = None) -> tuple[str, ...]:
    """The conclusion in the order in which it is wanted: best setting, risk, what is split, what cannot be said.

    Parameters
    ----------
    best : the best setting where it has been found already.
    """
    found = chain.best() if best is None else best
    return (
        best_sentence(chain, found),
        risk_sentence(chain, found),
        *separation_sentences(chain),
        *not_told_apart_sentences(chain),
    )
