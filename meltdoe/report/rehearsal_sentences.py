"""Rehearsed series in words and rows; the figures come from `meltdoe.rehearsal`."""

from __future__ import annotations

import math
from collections.abc import Sequence

from meltdoe.rehearsal.played import Rehearsal
from meltdoe.rehearsal.policies import POLICIES
from meltdoe.series.melt_series import MeltSeries

__all__ = ["policy_columns", "policy_row", "policy_sentences", "rehearsal_sentences"]

_SOURCES = {
    "beliefs": "truths drawn from beliefs alone",
    "melts": "truths drawn from the melts so far",
    "stated": "the truth of the truth file",
}


def rehearsal_sentences(played: Rehearsal) -> list[str]:
    """One policy rehearsed, for people, with what it was played against and what it cannot say."""
    series = played.series
    target = f"{100 * series.target_chance:.0f} %"
    middle, low, high = played.melts
    lines = [
        f'{played.count} series played with the policy "{played.policy}" ({POLICIES[played.policy][1]}), against '
        f"{_SOURCES[played.source]}.",
        f"In {100 * played.reachable:.0f} % of them some allowed setting succeeds at least {target} of the time.",
        f"The recommended setting truly did so in {100 * played.reached:.0f} % of all series "
        f"(Monte Carlo error about {100 * played.error:.0f} points); its true chance was "
        f"{100 * played.true_chance:.0f} % on average, its stated one {100 * played.stated:.0f} %.",
        f"Reached was claimed in {100 * played.claimed:.0f} % of the series, and was false in "
        f"{100 * played.false_claims:.0f} % of them.",
        f"Melts made: {middle:.0f} (middle), {low:.0f} to {high:.0f} in 8 of 10 series; until the recommended setting "
        f"first worked: {_melts(played.melts_needed)}; costly failures: {played.losses:.1f} on average.",
    ]
    if series.costs.known:
        lines.append(
            f"Money: {played.money:.0f} {series.budget.currency} on average, losses included.".replace("  ", " ")
        )
    lines.append(_limits(played))
    return lines


def policy_columns(series: MeltSeries) -> list[str]:
    """Headings of the table of policies."""
    money = f"money {series.budget.currency}".strip()
    return ["policy", "reached", "melts needed", "melts made", money, "lost", "false claims"]


def policy_row(played: Rehearsal) -> list[str]:
    """One policy as a row under `policy_columns`."""
    return [
        played.policy,
        f"{100 * played.reached:.0f} %",
        _melts(played.melts_needed),
        f"{played.melts[0]:.0f}",
        f"{played.money:.0f}" if played.series.costs.known else "-",
        f"{played.losses:.1f}",
        f"{100 * played.false_claims:.0f} %",
    ]


def policy_sentences(played: Sequence[Rehearsal]) -> list[str]:
    """What the table of policies means."""
    first = played[0]
    target = f"{100 * first.series.target_chance:.0f} %"
    error = max(one.error for one in played)
    return [
        f"{first.count} series with each policy, all against {_SOURCES[first.source]}; in "
        f"{100 * first.reachable:.0f} % of them some allowed setting succeeds at least {target} of the time.",
        f"reached: share of the series whose recommended setting truly does (Monte Carlo error up to "
        f"{100 * error:.0f} points). melts needed: until it first did, the middle series and 8 of 10. lost: costly "
        "failures a series. false claims: series said to be reached that were not.",
        *(f"{one.policy}: {POLICIES[one.policy][1]}." for one in played),
        _limits(first),
    ]


def _melts(spread: tuple[float, float, float]) -> str:
    middle, low, high = ("never" if math.isinf(melts) else f"{melts:.0f}" for melts in spread)
    return middle if middle == low == high else f"{middle} ({low} to {high})"


def _limits(played: Rehearsal) -> str:
    if played.source == "stated":
        return "A rehearsal under a stated truth shows what would happen if it were so, not whether it is."
    return "A rehearsal is only as true as the beliefs and the model that it is drawn from."
