"""What beliefs and chemistry foretell, where the melts agree with them, and the conclusion without, in sentences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from meltdoe.fit.checks.belief_check import BeliefCheck, BelievedChance, ChanceRange
from meltdoe.fit.stages.phrases import capital, good_phrase, interval_phrase, level_phrase, percent
from meltdoe.series.factor import Setting
from meltdoe.series.melt_series import MeltSeries

__all__ = ["belief_sentences", "chemistry_conclusion", "chemistry_sentences", "moved"]

_OPEN = 0.5  # an interval wider than this cannot speak for or against anybody


def belief_sentences(series: MeltSeries, check: BeliefCheck, melted: bool = True) -> tuple[str, ...]:
    """What beliefs foretell, what the melts made of them, and the conclusion without them.

    Parameters
    ----------
    melted : whether any melt is on record; without one there is only what the beliefs amount to.
    """
    if not melted:
        return tuple(f"{_foretold(series, one, check.level)}." for one in check.beliefs)
    said = [_belief(series, one, check.level) for one in check.beliefs]
    return (*said, *_without(series, check, "with your beliefs", "without them"))


def _without(series: MeltSeries, check: BeliefCheck, with_them: str, without_them: str) -> tuple[str, str]:
    """What would be concluded without one side's beliefs, and what stood before any melt."""
    best, without = check.best, check.best_without
    there = f"{percent(check.chance_without.mean)} ({_ends(check.chance_without)})"
    here = f"{percent(best.chance)} ({percent(best.low)} to {percent(best.high)})"
    text = f"At the best setting the chance of success is {here} {with_them} and {there} {without_them}"
    if check.other_setting:
        text += (
            f"; {without_them} the best setting would be {moved(series, without.settings, best.settings)}, "
            f"{percent(without.chance)} ({percent(without.low)} to {percent(without.high)})"
        )
    else:
        text += ", and no other setting would be clearly better"
    return (
        f"{text}; all with {level_phrase(check.level)}.",
        f"Before any melt the chance there stood at {percent(check.before_at_best.mean)} "
        f"({_ends(check.before_at_best)}).",
    )


def _foretold(series: MeltSeries, one: BelievedChance, level: float) -> str:
    belief, outcome = one.belief, series.outcome(one.belief.outcome)
    worth = f"worth {belief.worth:g} melt{'s' * (belief.worth != 1)}"
    return (
        f"Before any melt your beliefs put the chance of {good_phrase(outcome)} at {series.show(belief.at)} "
        f"{interval_phrase(one.before.low, one.before.high, level)} (you said {percent(belief.chance)}, {worth})"
    )


def _belief(series: MeltSeries, one: BelievedChance, level: float) -> str:
    text = (
        f"{_foretold(series, one, level)}; with the melts it is {percent(one.after.mean)} ({_ends(one.after)}), from "
        f"the melts without beliefs {percent(one.without.mean)} ({_ends(one.without)})."
    )
    return f"{text} The melts speak against this belief." if one.conflict else text


def _ends(chance: ChanceRange) -> str:
    return f"{percent(chance.low)} to {percent(chance.high)}"


def moved(series: MeltSeries, there: Mapping[str, Setting], here: Mapping[str, Setting]) -> str:
    """What is set otherwise there than here."""
    return series.show({name: value for name, value in there.items() if value != here[name]})


def chemistry_conclusion(series: MeltSeries, check: BeliefCheck) -> str:
    """What would be concluded without the chemistry."""
    return _without(series, check, "with the chemistry", "without it")[0]


def chemistry_sentences(series: MeltSeries, check: BeliefCheck) -> tuple[str, ...]:
    """Outcome by outcome where the melts bear chemistry out, the conclusion without it, and its own doubts."""
    by_outcome: dict[str, list[BelievedChance]] = {}
    for one in check.beliefs:
        by_outcome.setdefault(one.belief.outcome, []).append(one)
    said = [_outcome(series, name, told, check) for name, told in by_outcome.items()]
    said += _without(series, check, "with the chemistry", "without it")
    notes = series.chemistry_prior.notes if series.chemistry_prior else ()
    return (*said, *(f"{capital(note.rstrip('.'))}." for note in notes))


def _outcome(series: MeltSeries, name: str, told: Sequence[BelievedChance], check: BeliefCheck) -> str:
    against = [one for one in told if one.conflict]
    unsettled = [one for one in told if not one.conflict and one.without.high - one.without.low > _OPEN]
    worth = sum(one.belief.worth for one in told)
    trust = series.chemistry_prior.trust if series.chemistry_prior else 0.0
    text = (
        f"{capital(good_phrase(series.outcome(name)))}: chemistry counts as {worth:.2g} "
        f"melt{'' if f'{worth:.2g}' == '1' else 's'} where it is right; that had a chance of {percent(trust)} before "
        f"the first melt and has {percent(check.right[name])} now. Of the {len(told)} settings at which it speaks the "
        f"melts alone agree with it at {len(told) - len(against) - len(unsettled)}, speak against it at {len(against)} "
        f"and cannot yet judge at {len(unsettled)}."
    )
    if not against:
        return text
    worst = max(against, key=lambda one: abs(one.belief.chance - one.without.mean))
    alone = f"{percent(worst.without.mean)} ({percent(worst.without.low)} to {percent(worst.without.high)}"
    return (
        f"{text} They differ most at {series.show(worst.belief.at)}: chemistry says {percent(worst.belief.chance)}, "
        f"the melts alone say {alone} with {level_phrase(check.level)}); the two together give "
        f"{percent(worst.after.mean)}."
    )
