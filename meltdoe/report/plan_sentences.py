"""Plans and rehearsals in words and rows; the figures come from `meltdoe.plans` and `meltdoe.rehearsal`."""

from __future__ import annotations

from collections.abc import Mapping

from meltdoe.plans.comparison import PlanOption
from meltdoe.rehearsal.simulated_series import Rehearsal
from meltdoe.series.melt_series import MeltSeries

__all__ = ["option_columns", "option_row", "rehearsal_note", "rehearsal_sentences"]


def option_columns(series: MeltSeries) -> list[str]:
    """Headings of the table of plans."""
    money = f"cost {series.budget.currency}".strip()
    return ["plan", "melts", "firings", money, "power", "finds", "lost"]


def option_row(series: MeltSeries, option: PlanOption) -> list[str]:
    """One plan as a row under `option_columns`."""
    played = option.rehearsal or {}
    return [
        option.name,
        str(option.melts),
        str(option.firings),
        f"{option.cost.total:.0f}" if series.costs.known else "-",
        f"{100 * option.power:.0f} %",
        f"{100 * played['true_chance']:.0f} %" if "true_chance" in played else "-",
        f"{played['losses']:.1f}" if "losses" in played else "-",
    ]


def rehearsal_note(played: Mapping[str, float], series: MeltSeries) -> str:
    """What the columns of rehearsed figures mean."""
    return (
        "power: chance of showing a strong effect. finds: true chance of success at the setting that each plan alone "
        "ends with, and lost: costly failures on the way, both averages of "
        f"{played['series']:.0f} series played against truths from your beliefs in which "
        f"{100 * series.target_chance:.0f} % can be reached."
    )


def rehearsal_sentences(played: Rehearsal) -> list[str]:
    """A rehearsal for people, with what it was played against and what it cannot say."""
    series = played.series
    target = f"{100 * series.target_chance:.0f} %"
    lines = [
        f'{played.count} series played with the policy "{played.policy}", against truths drawn from '
        f"{'the melts so far' if played.melts_known else 'beliefs alone'}.",
        f"In {100 * played.reachable:.0f} % of these truths some allowed setting succeeds at least {target} of the "
        "time.",
        f"The recommended setting truly did so in {100 * played.reached:.0f} % of all series "
        f"(Monte Carlo error about {100 * played.error:.0f} points); its true chance was "
        f"{100 * played.true_chance:.0f} % on average.",
        f"Reached was claimed in {100 * played.claimed:.0f} % of the series, and was false in "
        f"{100 * played.false_claims:.0f} % of them.",
        f"Melts made: {played.melts_median:.0f} (middle), {played.melts_low:.0f} to {played.melts_high:.0f} in 8 of 10 "
        f"series; costly failures: {played.losses:.1f} on average.",
    ]
    if series.costs.known:
        lines.append(
            f"Money: {played.money:.0f} {series.budget.currency} on average, losses included.".replace("  ", " ")
        )
    lines.append("A rehearsal is only as true as the beliefs and the model that it is drawn from.")
    return lines
