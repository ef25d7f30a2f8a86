"""Advice in words: why this melt, why go on or stop. The figures come from `meltdoe.next_melt`.

What may be expected of going on stands in `meltdoe.report.outlook_sentences`.
"""

from __future__ import annotations

import math

import numpy as np

from meltdoe.fit.stages.phrases import capital, interval_phrase, listed, melts_phrase, percent
from meltdoe.next_melt.advice import Advice, Suggestion
from meltdoe.next_melt.moves import Move
from meltdoe.next_melt.stopping import SPENT, SURE, Confirmation, confirmation_melts
from meltdoe.series.factor import Amount
from meltdoe.series.melt_series import MeltSeries

__all__ = [
    "MOST_MOVES",
    "TELLS_SCALE",
    "aim_sentence",
    "best_words",
    "bound_words",
    "confirmed_sentence",
    "firing_words",
    "heading",
    "likely_best_words",
    "money",
    "tells",
    "why_not_another",
    "why_this_melt",
    "why_verdict",
]

TELLS_SCALE = "1 is the answer to a yes-or-no question that could go either way"
MOST_MOVES = 3
_MOST_CONFIRMED = 60  # melts in a row that a workshop might still make


def tells(information: float) -> str:
    """Information in the plain scale of `TELLS_SCALE`: from nats to bits, two digits."""
    return f"{information / math.log(2.0):.2f}"


def money(series: MeltSeries, amount: float) -> str:
    """An amount in the currency of the budget."""
    return f"{amount:.0f} {series.budget.currency}".strip()


def _points(change: float) -> str:
    return f"{100 * change:.0f} points" if change >= 0.0995 else f"{100 * change:.1f} points"


def best_words(advice: Advice) -> str:
    """What the setting is called that would be used if the series ended now."""
    return "best setting so far" if advice.made else "best guess before any melt"


def firing_words(advice: Advice, melt: Suggestion) -> str:
    """The firing of a proposed melt; one beyond the budget has no number."""
    if advice.left.firings == 0:
        return "Firing beyond the budget"
    return f"Firing {melt.firing}" if melt.planned is None else f"Firing {melt.firing}, melt {melt.planned} of the plan"


def heading(advice: Advice) -> str:
    """The verdict in a few words."""
    if advice.verdict.word == "stop":
        return "STOP"
    if advice.tries_best:
        return "TRY THE BEST GUESS, THEN DECIDE"
    if advice.prospect is None:
        return "GO ON"
    return (
        "DECIDE FIRST" if advice.prospect.sight == "out of sight" else "GO ON, THOUGH TOO FEW MELTS ARE LEFT TO BE SURE"
    )


def why_verdict(series: MeltSeries, advice: Advice) -> str:
    """The reason to go on or to stop, in one to four sentences with the figures."""
    return " ".join(part for part in (_why(series, advice), confirmed_sentence(series, advice)) if part)


def confirmed_sentence(series: MeltSeries, advice: Advice) -> str:
    """What the melts made to confirm a setting prove without any model; empty where there are none."""
    found = advice.confirmed
    if found is None:
        return ""
    known, level = found.good + found.bad, f"{100 * found.level:g} % lower bound"
    unknown = len(found.melts) - known
    said = f"Made to confirm {series.show(found.settings)}: {melts_phrase(found.melts)}, {found.good} of {known} good"
    said += f", {unknown} not known yet" if unknown > 0 else ""
    if found.good:
        said += f", which proves a chance of at least {percent(found.proves)} without any model ({level})"
    target = f"{100 * series.target_chance:g} %"
    if found.needed == 0:
        return f"{said}: the target of {target} is confirmed there."
    if found.needed > _MOST_CONFIRMED:
        return f"{said}."
    return f"{said}; {found.needed} more, all good, would prove {target}."


def _why(series: MeltSeries, advice: Advice) -> str:
    v, target = advice.verdict, f"{100 * series.target_chance:g} %"
    named = "the best setting" if advice.made else "the best guess"
    said = f"the chance that {named} succeeds at least {target} of the time is {percent(v.reaches)}"
    if v.ending == "reached":
        confirm = "" if advice.confirmed else f" {_confirm(series, advice.confirmation)}"
        return f"The target is reached: {said}.{confirm}"
    if v.ending in SPENT:
        return (
            f"{_spent(series, advice)} The target is not shown to be reached: {said}, and {percent(SURE)} is "
            f"wanted.{_too_high(series)}"
        )
    if v.ending == "out of reach":
        return (
            f"Out of reach within these ranges and limits: the chance that any setting at all succeeds at least "
            f"{target} of the time is {percent(v.reachable)}{_likely(advice)}. {_moves(series, advice.moves)}"
            f"{_in_the_way(advice)}"
        )
    if v.ending == "not worth it":
        of_what = (
            "the money set aside" if series.budget.money is not None else "what all melts of the budget would cost"
        )
        worth = series.budget.money if series.budget.money is not None else _price_of_all(series)
        return (
            f"Another melt is not worth its cost: even knowing everything would raise the best chance by only "
            f"{_points(v.most_gain)}. A sure success is put at {money(series, worth)}, {of_what}; so many points of it "
            f"are {money(series, v.most_gain * worth)}, and the next melt is expected to cost {money(series, v.cost)}. "
            f"As things stand {said}."
        )
    if v.last_try:
        return (
            f"Hardly any hope is left: the chance that any setting at all succeeds at least {target} of the time is "
            f"{percent(v.reachable)}{_likely(advice)}. But no melt was made near the {best_words(advice)} yet, and "
            "what the fit says of places where nothing was melted rests on what was assumed before."
            f"{' Try it before giving up.' if advice.tries_best else ''}"
        )
    if advice.prospect is not None and advice.prospect.sight == "out of sight":
        said = f"the target of {target} is not in sight: {said}"
    start = capital(said) if advice.made else f"No melt has been made yet. By what was assumed, {said}"
    return (
        f"{start}; {percent(SURE)} would be enough to stop. One more melt is expected to raise the best chance by "
        f"about {_points(v.gain)}; knowing everything would raise it by {_points(v.most_gain)}."
        f"{_too_high(series)}"
    )


def likely_best_words(chance: float) -> str:
    """What the best of all settings can be expected to give."""
    return (
        "as likely as not, by the melts and by what was assumed before them, no setting within these bounds succeeds "
        f"more than {percent(chance)} of the time"
    )


def _likely(advice: Advice) -> str:
    return "" if advice.likely_best is None else f"; {likely_best_words(advice.likely_best)}"


def _too_high(series: MeltSeries) -> str:
    """That a target cannot be shown by the melts of a workshop; empty where it can."""
    melts = confirmation_melts(series.target_chance)
    if melts <= _MOST_CONFIRMED:
        return ""
    return (
        f" A target of {100 * series.target_chance:g} % is more than a workshop can show: without a model it would "
        f"take {melts} good melts in a row; think of lowering it."
    )


def _price_of_all(series: MeltSeries) -> float:
    share = series.costs.firing / series.kiln.melts_per_firing
    return (series.budget.melts or 0) * (series.costs.melt + share)


def _confirm(series: MeltSeries, found: Confirmation | None) -> str:
    target = f"{100 * series.target_chance:g} %"
    melts = confirmation_melts(series.target_chance) if found is None else found.melts
    level = f"{100 * (0.9 if found is None else found.level):g} % lower bound"
    prove = f"{melts} good melts in a row at that setting would prove a chance of at least {target} without any model"
    if melts > _MOST_CONFIRMED:
        said = f"It rests on the fit: {prove} ({level}), more than a workshop makes."
    else:
        said = f"Before relying on it, confirm: {prove} ({level})"
        said += "." if found is None else f"; by the fit that run has a chance of {percent(found.all_good)}."
    if found is None:
        return said
    return (
        f"{said} {found.few} in a row prove only {percent(found.few_prove)} without a model ({level}), and by the fit "
        f"make it {percent(found.few_reach)} likely that the target is reached."
    )


def _spent(series: MeltSeries, advice: Advice) -> str:
    v, budget = advice.verdict, series.budget
    if v.ending == "melts spent":
        return f"The budget of {budget.melts} melts is used up."
    if v.ending == "firings spent":
        return f"The budget of {budget.firings} firings is used up."
    left = (budget.money or 0.0) - v.spent
    all_of_it = f"The budget of {money(series, budget.money or 0.0)} is used up"
    rest = f" but for {money(series, left)}" if left >= 0.5 else ""
    return f"{all_of_it}{rest}: the next melt is expected to cost {money(series, v.cost)}, firing and losses included."


def _moves(series: MeltSeries, moves: tuple[Move, ...]) -> str:
    if not moves:
        return "No single limit or end of a range would change that: lower the target, or vary something else."
    told = [f"{bound_words(series, move)} it would be {percent(move.reachable)}" for move in moves[:MOST_MOVES]]
    return (
        f"What would have to move: {listed(told)}. That carries the fit beyond what was melted; move only as far as "
        "kiln, crucible and the reason for the limit allow, or lower the target."
    )


def bound_words(series: MeltSeries, move: Move) -> str:
    """A bound moved: "with the high end of peak at 1290 °C"."""
    if move.what == "limit":
        return f'without the limit "{move.name}"'
    factor = series.factor(move.name)
    to = factor.show(move.to) if isinstance(factor, Amount) and move.to is not None else ""
    return f"with the {move.what} of {move.name} at {to}"


def _in_the_way(advice: Advice) -> str:
    """The outcome that most of the expected failures at the best setting stand at; empty where it is the only one."""
    if advice.outlook is None:
        return ""
    shares = advice.outlook.chain.stage_failure_share(advice.best.raw)
    if len(shares) < 2:
        return ""
    name = max(shares, key=lambda one: float(shares[one][0]))
    return (
        f" {percent(float(shares[name][0]))} of the failures expected at the best setting are {name} turning out bad."
    )


def why_this_melt(series: MeltSeries, advice: Advice, melt: Suggestion) -> str:
    """Why one of the proposed melts was chosen: its chance, risk and cost, what it tells, and at which stage."""
    place = advice.melts.index(melt)
    most = max(melt.share_by_stage, key=lambda name: melt.share_by_stage[name])
    scale = f" ({TELLS_SCALE})" if place == 0 else f" beside the {'melt' if place == 1 else 'melts'} above"
    parts = [f"Chance of full success {percent(melt.chance)}, {interval_phrase(melt.low, melt.high, advice.level)}"]
    if melt.risk > 0.0:
        parts.append(f"a costly failure has a chance of {percent(melt.risk)}")
    if series.costs.known:
        parts.append(f"it is expected to cost {money(series, melt.cost)}, firing and losses included")
    parts.append(
        f"it is expected to tell {tells(melt.information)}{scale}, {percent(melt.share_by_stage[most])} of it about "
        f'"{series.outcome(most).title}"'
    )
    if bool(np.allclose(melt.raw, advice.best.raw)):
        parts.append(f"it is the {best_words(advice)}, made to know its chance better")
    if melt.repeats:
        n = len(melt.repeats)
        left_open = "one result leaves" if n == 1 else f"{n} results still leave"
        parts.append(f"it repeats {melts_phrase(melt.repeats)}, since {left_open} the chance open")
    return "; ".join(parts) + "."


def why_not_another(series: MeltSeries, advice: Advice) -> list[str]:
    """The proposed melt against the second best, a repeat of the best setting, and the safest one that still tells."""
    lines = []
    first = advice.melts[0]
    if advice.runner_up is not None and not advice.tries_best:
        lines.append(_second(series, advice, advice.runner_up))
    if not np.allclose(first.raw, advice.best.raw):
        lines.append(_again(series, advice, first))
    if advice.safest is not None:
        lines.append(
            f"Safer: {series.show(advice.safest.settings)}; chance of a costly failure {percent(advice.safest.risk)} "
            f"instead of {percent(first.risk)}, of full success {percent(advice.safest.chance)} instead of "
            f"{percent(first.chance)}; it tells {tells(advice.safest.information)} instead of "
            f"{tells(first.information)}, and is expected to raise the best chance by {_points(advice.safest.gain)} "
            f"instead of {_points(first.gain)}."
        )
    return lines


def _second(series: MeltSeries, advice: Advice, other: Suggestion) -> str:
    parts = [f"it would tell {tells(other.information)}", f"succeed with a chance of {percent(other.chance)}"]
    if series.costs.known:
        parts.append(f"cost {money(series, other.cost)} in a firing of its own")
    said = f"{'Outside the plan' if advice.follows_plan else 'Second best'}: {series.show(other.settings)}; "
    said += f"{listed(parts)}."
    if advice.follows_plan:
        return f"{said} A firing of such melts is not clearly better than going on with the plan."
    if advice.runner_up_share > 1.005:
        return f"{said} Alone it would be worth more, but not the firing that it would have to share."
    if advice.runner_up_share > 0.0:
        return f"{said} For the aim it is worth {percent(min(advice.runner_up_share, 0.99))} of the first proposal."
    return said


def _again(series: MeltSeries, advice: Advice, first: Suggestion) -> str:
    again = (
        f"{'One more' if advice.made else 'A'} melt at the {best_words(advice)} would tell {tells(advice.best_again)}"
    )
    if advice.best_again < first.information:
        return f"{again}, against {tells(first.information)} for the melt proposed."
    counted = "its cost and what it could do" if series.costs.known else "what it could do"
    return (
        f"{again}, more than the {tells(first.information)} of the melt proposed, but it ranks behind once {counted} "
        "for the best chance are counted; it is the choice if only confirmation is wanted."
    )


def aim_sentence(advice: Advice) -> str:
    """Which aim was followed, and why."""
    if advice.tries_best:
        return f"Aim: melt the {best_words(advice)} once."
    if advice.aim == "learn":
        return "Aim: learn which choices matter, as asked."
    if advice.aim == "reach":
        return "Aim: reach a setting that works, as asked."
    learning = round(100 * advice.learn_weight)
    if not learning:
        return "Aim: reach a setting that works; so late in a series nothing is melted for learning alone."
    return (
        f"Aim: {learning} % learning which choices matter and {100 - learning} % "
        "reaching a setting that works; the weight moves to reaching as the melts are used up."
    )
