"""Advice in words: why this melt, why go on or stop. The figures come from `meltdoe.next_melt`.

What may be expected of going on stands in `meltdoe.report.outlook_sentences`.
"""

from __future__ import annotations

import math

import numpy as np

from meltdoe.fit.stages.phrases import interval_phrase, listed, melts_phrase, percent
from meltdoe.next_melt.advice import Advice, Suggestion
from meltdoe.next_melt.stopping import Confirmation, Move, confirmation_melts
from meltdoe.series.factor import Amount
from meltdoe.series.melt_series import MeltSeries

__all__ = ["TELLS_SCALE", "aim_sentence", "money", "tells", "why_not_another", "why_this_melt", "why_verdict"]

TELLS_SCALE = "1 is the answer to a yes-or-no question that could go either way"
_MOST_MOVES = 3


def tells(information: float) -> str:
    """Information in the plain scale of `TELLS_SCALE`: from nats to bits, two digits."""
    return f"{information / math.log(2.0):.2f}"


def money(series: MeltSeries, amount: float) -> str:
    """An amount in the currency of the budget."""
    return f"{amount:.0f} {series.budget.currency}".strip()


def _points(change: float) -> str:
    return f"{100 * change:.1f} points"


def why_verdict(series: MeltSeries, advice: Advice) -> str:
    """The reason to go on or to stop, in one to three sentences with the figures."""
    v, target = advice.verdict, percent(series.target_chance)
    said = f"the best setting is {percent(v.reaches)} likely to succeed at least {target} of the time"
    if v.ending == "reached":
        return f"The target is reached: {said}. {_confirm(series, advice.confirmation)}"
    if v.ending in ("melts spent", "firings spent", "money spent"):
        return f"{_spent(series, advice)} The target is not reached yet: {said}."
    if v.ending == "out of reach":
        return (
            f"Out of reach within these ranges and limits: the chance that any setting at all succeeds at least "
            f"{target} of the time is {percent(v.reachable)}. {_moves(series, advice.moves)}"
        )
    if v.ending == "not worth it":
        of_what = "the money set aside" if series.budget.money is not None else "what the melts set aside would cost"
        worth = series.budget.money if series.budget.money is not None else _price_of_all(series)
        return (
            f"Another melt is not worth its cost: even knowing everything would raise the best chance by only "
            f"{_points(v.most_gain)}, worth {money(series, v.most_gain * worth)} where a sure success is worth "
            f"{of_what}; the next melt is expected to cost {money(series, v.cost)}. As things stand {said}."
        )
    return (
        f"{said[0].upper()}{said[1:]}, too little to stop. Knowing everything would raise the best chance by "
        f"{_points(v.most_gain)}; the most hopeful single melt is expected to raise it by {_points(v.gain)}."
    )


def _price_of_all(series: MeltSeries) -> float:
    share = series.costs.firing / series.kiln.melts_per_firing
    return (series.budget.melts or 0) * (series.costs.melt + share)


def _confirm(series: MeltSeries, found: Confirmation | None) -> str:
    target = percent(series.target_chance)
    if found is None:
        melts = confirmation_melts(series.target_chance)
        return (
            f"Before relying on it, confirm: {melts} good melts in a row at that setting would prove a chance of at "
            f"least {target} without any model (90 % lower bound)."
        )
    level = f"{100 * found.level:g} % lower bound"
    return (
        f"Before relying on it, confirm: {found.melts} good melts in a row at that setting would prove a chance of at "
        f"least {target} without any model ({level}); by the fit that run has a chance of {percent(found.all_good)}. "
        f"{found.few} in a row prove only {percent(found.few_prove)} without a model ({level}), and by the fit make it "
        f"{percent(found.few_reach)} likely that the target is reached."
    )


def _spent(series: MeltSeries, advice: Advice) -> str:
    v, budget = advice.verdict, series.budget
    if v.ending == "melts spent":
        return f"The budget of {budget.melts} melts is used up."
    if v.ending == "firings spent":
        return f"The budget of {budget.firings} firings is used up."
    left = max((budget.money or 0.0) - v.spent, 0.0)
    return (
        f"The next melt is expected to cost {money(series, v.cost)} with its firing and likely losses, and about "
        f"{money(series, left)} of the budget is left."
    )


def _moves(series: MeltSeries, moves: tuple[Move, ...]) -> str:
    if not moves:
        return "No single limit or end of a range would change that: lower the target, or vary something else."
    told = []
    for move in moves[:_MOST_MOVES]:
        if move.what == "limit":
            told.append(f'without the limit "{move.name}" it would be {percent(move.reachable)}')
        else:
            factor = series.factor(move.name)
            to = factor.show(move.to) if isinstance(factor, Amount) and move.to is not None else ""
            told.append(f"with the {move.what} of {move.name} at {to} it would be {percent(move.reachable)}")
    return (
        f"What would have to move: {listed(told)}. That carries the fit beyond what was melted; move only as far as "
        "kiln, crucible and the reason for the limit allow, or lower the target."
    )


def why_this_melt(series: MeltSeries, advice: Advice, melt: Suggestion) -> str:
    """Why one of the proposed melts was chosen: what it tells, at which stage, at what chance, cost and risk."""
    place = advice.melts.index(melt)
    most = max(melt.share_by_stage, key=lambda name: melt.share_by_stage[name])
    scale = f" ({TELLS_SCALE})" if place == 0 else ""
    beside = (
        ""
        if place == 0
        else f" beside what the {'melt' if place == 1 else 'melts'} above {'tells' if place == 1 else 'tell'}"
    )
    parts = [
        f"It is expected to tell {tells(melt.information)}{beside}{scale}, {percent(melt.share_by_stage[most])} of it "
        f'about "{series.outcome(most).title}"',
        f"its chance of full success is {percent(melt.chance)}, {interval_phrase(melt.low, melt.high, advice.level)}",
    ]
    if series.costs.known:
        parts.append(
            f"it is expected to cost {money(series, melt.cost)} with its share of the firing and of likely losses"
        )
    if melt.risk > 0.0:
        parts.append(f"a costly failure has a chance of {percent(melt.risk)}")
    if bool(np.allclose(melt.raw, advice.best.raw)):
        parts.append("it is the best setting so far, made to know its chance better")
    if melt.repeats:
        parts.append(f"it repeats {melts_phrase(melt.repeats)}, since one result leaves the chance open")
    return "; ".join(parts) + "."


def why_not_another(series: MeltSeries, advice: Advice) -> list[str]:
    """The proposed melt against the second best, a repeat of the best setting, and the safest one that still tells."""
    lines = []
    first = advice.melts[0]
    if advice.runner_up is not None:
        lines.append(_second(series, advice, advice.runner_up))
    if not np.allclose(first.raw, advice.best.raw):
        lines.append(_again(series, advice, first))
    if advice.safest is not None:
        lines.append(
            f"Safer: {series.show(advice.safest.settings)}; chance of a costly failure {percent(advice.safest.risk)} "
            f"instead of {percent(first.risk)}, telling {tells(advice.safest.information)} instead of "
            f"{tells(first.information)}."
        )
    return lines


def _second(series: MeltSeries, advice: Advice, other: Suggestion) -> str:
    parts = [f"it would tell {tells(other.information)}", f"succeed with a chance of {percent(other.chance)}"]
    if series.costs.known:
        parts.append(f"cost {money(series, other.cost)} in a firing of its own")
    said = f"Second best: {series.show(other.settings)}; {listed(parts)}."
    if advice.runner_up_share > 1.005:
        return f"{said} Alone it would be worth more, but not the firing that it would have to share."
    if advice.runner_up_share > 0.0:
        return f"{said} For the aim it is worth {percent(min(advice.runner_up_share, 0.99))} of the first proposal."
    return said


def _again(series: MeltSeries, advice: Advice, first: Suggestion) -> str:
    again = f"One more melt at the best setting so far would tell {tells(advice.best_again)}"
    if advice.best_again < first.information:
        return f"{again}, against {tells(first.information)} for the melt proposed."
    counted = "its cost and what it could do" if series.costs.known else "what it could do"
    return (
        f"{again}, more than the {tells(first.information)} of the melt proposed, but ranks behind it once {counted} "
        "for the best chance are counted; it is the choice if only confirmation is wanted."
    )


def aim_sentence(advice: Advice) -> str:
    """Which aim was followed, and why."""
    if advice.aim == "learn":
        return "Aim: learn which choices matter, as asked."
    if advice.aim == "reach":
        return "Aim: reach a setting that works, as asked."
    learning = round(100 * advice.learn_weight)
    return (
        f"Aim: {learning} % learning which choices matter and {100 - learning} % "
        "reaching a setting that works; the weight moves to reaching as the melts are used up."
    )
