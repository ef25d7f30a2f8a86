"""Rehearsed series in words and rows; the figures come from `meltdoe.rehearsal`.

A rehearsal is a sample of series: how many ended in some way is said as a count, and the share among all the series
that could be played as the exact interval that this count allows.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from meltdoe.fit.classical.exact_intervals import clopper_pearson
from meltdoe.fit.stages.phrases import percent
from meltdoe.rehearsal.played import FEW_SERIES, Rehearsal
from meltdoe.rehearsal.policies import POLICIES
from meltdoe.series.melt_series import MeltSeries

__all__ = ["policy_columns", "policy_row", "policy_sentences", "rehearsal_sentences"]

_LEVEL = 0.90

_SOURCES = {
    "beliefs": "truths drawn from beliefs alone",
    "melts": "truths drawn from the melts so far",
    "stated": "the truth of the truth file",
}


def rehearsal_sentences(played: Rehearsal) -> list[str]:
    """One policy rehearsed, for people, with what it was played against and what it cannot say."""
    series, count = played.series, played.count
    target = f"{100 * series.target_chance:.0f} %"
    lines = [
        f'{_series(count)} played with the policy "{played.policy}" ({POLICIES[played.policy][1]}), against '
        f"{_SOURCES[played.source]}.",
        f"In {_count(played.reachable, count)} some allowed setting succeeds at least {target} of the time.",
        f"The recommended setting truly did so in {_count(played.reached, count)}; "
        f"{_many_more(played.reached, count)}.",
        f"Its true chance was {100 * played.true_chance:.0f} % on average, the chance stated for it "
        f"{100 * played.stated:.0f} %.",
        _claims(played),
        f"Melts made: {_range(played.melts, count)}. Melts until the recommended setting first worked: "
        f"{_range(played.melts_needed, count)}. Costly failures: {played.losses:.1f} a series on average.",
    ]
    if series.costs.known:
        lines.append(
            f"Money: {played.money:.0f} {series.budget.currency} on average, losses included.".replace("  ", " ")
        )
    lines.append(_limits(played))
    if count < FEW_SERIES:
        lines.append("So few series show little more than that it runs: play 60 or more (--series 60) to compare.")
    return lines


def _claims(played: Rehearsal) -> str:
    claims = round(played.claimed * played.count)
    if not claims:
        return "In none did the program say that the target was reached."
    false = round(played.false_claims * played.count)
    wrong = "wrongly in none" if not false else f"wrongly in {false}"
    return f"In {_count(played.claimed, played.count)} the program said that the target was reached, {wrong} of them."


def _series(count: int) -> str:
    return "1 series" if count == 1 else f"{count} series"


def _count(share: float, count: int) -> str:
    """A share of the series played as a count of them."""
    return f"{round(share * count)} of {count}"


def _interval(share: float, count: int) -> str:
    low, high = clopper_pearson(round(share * count), count, _LEVEL)
    return f"{100 * low:.0f}-{100 * high:.0f} %"


def _many_more(share: float, count: int) -> str:
    """What the count says about very many such series."""
    low, high = clopper_pearson(round(share * count), count, _LEVEL)
    ends = f"{percent(low) if low else '0 %'} and {percent(high) if high < 1.0 else '100 %'}"
    return f"of very many such series it would be between {ends} ({100 * _LEVEL:g} % confidence)"


def policy_columns(series: MeltSeries) -> list[str]:
    """Headings of the table of policies."""
    money = f"money {series.budget.currency}".strip()
    return ["policy", "reached", "range", "melts needed", "made", money, "lost", "false"]


def policy_row(played: Rehearsal) -> list[str]:
    """One policy as a row under `policy_columns`."""
    count = played.count
    return [
        played.policy,
        _count(played.reached, count),
        _interval(played.reached, count),
        _melts(played.melts_needed),
        f"{played.melts[0]:.0f}",
        f"{played.money:.0f}" if played.series.costs.known else "-",
        f"{played.losses:.1f}",
        _count(played.false_claims, count),
    ]


def policy_sentences(played: Sequence[Rehearsal]) -> list[str]:
    """What the table of policies means."""
    first = played[0]
    target = f"{100 * first.series.target_chance:.0f} %"
    spread = "smallest to largest" if first.count < FEW_SERIES else "in 8 of 10 series"
    return [
        f"{_series(first.count)} with each policy, all against {_SOURCES[first.source]}; in "
        f"{_count(first.reachable, first.count)} some allowed setting succeeds at least {target} of the time.",
        "reached: series whose recommended setting truly does. range: what that says about very many such series "
        f"({100 * _LEVEL:g} % confidence); policies whose ranges overlap much are not told apart. melts needed: until "
        f"it first did, the middle series ({spread}). made: melts, the middle series. lost: costly failures a series. "
        "false: series said to be reached that were not.",
        *(f"{one.policy}: {POLICIES[one.policy][1]}." for one in played),
        _limits(first),
    ]


def _range(spread: tuple[float, float, float], count: int) -> str:
    middle, low, high = ("never" if math.isinf(melts) else f"{melts:.0f}" for melts in spread)
    if middle == low == high:
        return middle
    return f"{low} to {high}, {middle} in the middle" + ("" if count < FEW_SERIES else " (8 of 10 series)")


def _melts(spread: tuple[float, float, float]) -> str:
    middle, low, high = ("never" if math.isinf(melts) else f"{melts:.0f}" for melts in spread)
    return middle if middle == low == high else f"{middle} ({low} to {high})"


def _limits(played: Rehearsal) -> str:
    if played.source == "stated":
        return "A rehearsal under a stated truth shows what would happen if it were so, not whether it is."
    return "A rehearsal is only as true as the beliefs and the model that it is drawn from."
