"""Advice in words: why this melt, why go on or stop. The figures come from `meltdoe.next_melt`."""

from __future__ import annotations

from meltdoe.next_melt.advice import Advice, Suggestion
from meltdoe.next_melt.stopping import confirmation_melts
from meltdoe.series.melt_series import MeltSeries

__all__ = ["aim_sentence", "why_not_another", "why_this_melt", "why_verdict"]


def _percent(chance: float) -> str:
    return f"{100 * chance:.0f} %"


def _points(change: float) -> str:
    return f"{100 * change:.1f} points"


def _money(series: MeltSeries, amount: float) -> str:
    return f"{amount:.0f} {series.budget.currency}".strip()


def why_verdict(series: MeltSeries, advice: Advice) -> str:
    """The reason to go on or to stop, in one to three sentences with the figures."""
    v, target = advice.verdict, _percent(series.target_chance)
    said = f"the best setting is {_percent(v.reaches)} likely to succeed at least {target} of the time"
    if v.ending == "reached":
        n = confirmation_melts(series.target_chance)
        return (
            f"The target is reached: {said}. Before relying on it, confirm: {n} good melts in a row at that setting "
            f"would show a chance of at least {target} without any model (90 % lower bound); 3 in a row show only "
            f"{_percent(0.1 ** (1 / 3))}."
        )
    if v.ending == "melts spent":
        return f"The budget of {series.budget.melts} melts is used up; {said}."
    if v.ending == "money spent":
        left = max((series.budget.money or 0.0) - v.spent, 0.0)
        return (
            f"The next melt is expected to cost {_money(series, v.cost)} and about {_money(series, left)} of the "
            f"budget is left; {said}."
        )
    if v.ending == "out of reach":
        return (
            f"Out of reach within these ranges and limits: the chance that any setting at all succeeds at least "
            f"{target} of the time is {_percent(v.reachable)}. Move a range or a limit, or lower the target."
        )
    if v.ending == "not worth it":
        worth = _money(series, v.most_gain * (series.budget.money or 0.0))
        return (
            f"Another melt is not worth its cost: even knowing everything would raise the best chance by only "
            f"{_points(v.most_gain)}, {worth} of the budget, and the next melt is expected to cost "
            f"{_money(series, v.cost)}."
        )
    return (
        f"{said[0].upper()}{said[1:]}, too little to stop. Knowing everything would raise the best chance by "
        f"{_points(v.most_gain)}; the most hopeful single melt is expected to raise it by {_points(v.gain)}."
    )


def why_this_melt(series: MeltSeries, advice: Advice, melt: Suggestion) -> str:
    """Why one of the proposed melts was chosen: what it tells, at which stage, at what chance, cost and risk."""
    place = advice.melts.index(melt)
    most = max(melt.share_by_stage, key=lambda name: melt.share_by_stage[name])
    beside = (
        ""
        if place == 0
        else f", beside what the {'melt' if place == 1 else 'melts'} above {'tells' if place == 1 else 'tell'}"
    )
    parts = [
        f"It is expected to tell {melt.information:.2f} nats{beside}, most of it about "
        f'"{series.outcome(most).title}" ({_percent(melt.share_by_stage[most])} of what it tells)',
        f"its chance of full success is {_percent(melt.chance)} (between {_percent(melt.low)} and "
        f"{_percent(melt.high)} with {_percent(advice.level)} probability)",
    ]
    if series.costs.known:
        parts.append(
            f"it is expected to cost {_money(series, melt.cost)} with its share of the firing and of likely losses"
        )
    if melt.risk > 0.0:
        parts.append(f"a costly failure has a chance of {_percent(melt.risk)}")
    return "; ".join(parts) + "."


def why_not_another(series: MeltSeries, advice: Advice) -> list[str]:
    """The proposed melt against the second best, a repeat of the best setting, and the safest one that still tells."""
    lines = []
    first = advice.melts[0]
    if advice.runner_up is not None:
        other = advice.runner_up
        lines.append(
            f"Second best: {series.show(other.settings)}; it would tell {other.information:.2f} nats at a chance of "
            f"{_percent(other.chance)}."
        )
    if advice.best_again < first.information:
        lines.append(
            f"One more melt at the best setting so far would tell {advice.best_again:.2f} nats, "
            f"against {first.information:.2f} for the melt proposed."
        )
    else:
        lines.append(
            f"One more melt at the best setting so far would tell more ({advice.best_again:.2f} nats), but at a higher "
            "price for what it brings; it is the choice if only confirmation is wanted."
        )
    if advice.safest is not None:
        lines.append(
            f"Safer: {series.show(advice.safest.settings)}; chance of a costly failure {_percent(advice.safest.risk)} "
            f"instead of {_percent(first.risk)}, telling {advice.safest.information:.2f} nats."
        )
    return lines


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
