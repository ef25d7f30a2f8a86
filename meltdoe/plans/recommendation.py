"""Which of the plans to take, and why in one sentence."""

from __future__ import annotations

from collections.abc import Sequence

from meltdoe.plans.plan_option import PlanOption
from meltdoe.plans.plans_to_compare import most_melts
from meltdoe.plans.room import room_left
from meltdoe.series.melt_series import MeltSeries

__all__ = ["recommended"]

# common practice, no source: power that is enough, and the share of the melts that a first part takes at most
_ENOUGH_POWER, _FIRST_PART = 0.8, 0.75


def recommended(series: MeltSeries, options: Sequence[PlanOption]) -> tuple[PlanOption, str]:
    """By rehearsal where there is one; else by what a follow-up needs: a sound first part that leaves melts over."""
    affordable = [option for option in options if option.within_money] or list(options)
    over = (
        ""
        if affordable[0].within_money
        else " (with the losses to expect, every plan costs more than the money there is)"
    )
    rehearsed = [option for option in affordable if option.rehearsal and "true_chance" in option.rehearsal]
    if rehearsed:
        best, reason = _by_rehearsal(series, rehearsed)
        return best, f"{reason}{over}."
    best, reason = _by_power(series, affordable)
    return best, f"{reason}{over}."


def _by_rehearsal(series: MeltSeries, rehearsed: Sequence[PlanOption]) -> tuple[PlanOption, str]:
    first = room_left(series).first_part().most_melts(most_melts(series))
    rehearsed = [option for option in rehearsed if option.melts <= first] or rehearsed
    top = max(rehearsed, key=_found)
    # differences within the noise of a rehearsal are decided by cost
    close = [option for option in rehearsed if _found(option) >= _found(top) - 2.0 * _noise(top)]
    best = min(close, key=lambda option: option.cost.total)
    played = (best.rehearsal or {}).get("series")
    count = f", from {played:.0f} simulated series" if played else ""
    return best, (
        f"in rehearsed series the setting found from this plan alone succeeds {100 * _found(best):.0f} % of the time "
        f"(give or take {100 * _noise(best):.0f} points{count}), and none that costs less or does clearly better "
        "leaves a third of the budget for following up"
    )


def _by_power(series: MeltSeries, affordable: Sequence[PlanOption]) -> tuple[PlanOption, str]:
    whole = [option for option in affordable if not option.asked.hold]
    sound = [option for option in whole if not option.assessment.indistinguishable]
    # where no plan shows every factor, one that leaves some alone shows the others
    sound = sound or [option for option in affordable if not option.assessment.indistinguishable] or list(affordable)
    budget = most_melts(series)
    part = [option for option in sound if option.melts <= _FIRST_PART * budget]
    if not part:
        best = min(sound, key=lambda option: (option.melts, -_worth(option)))
        left = budget - best.melts
        kept = f"leaves {'no' if left <= 0 else left} melt{'s' * (left > 1)}"
        return best, f"no sound plan keeps a quarter of the melts to follow up with; this takes the fewest and {kept}"
    enough = [option for option in part if _worth(option) >= _ENOUGH_POWER]
    if enough:
        best = min(enough, key=lambda option: (option.cost.total, option.melts))
        least = "cheapest" if series.costs.known else "smallest"
        said = f"it is the {least} plan that shows the weakest factor often enough"
    else:
        best = max(part, key=lambda option: (round(_worth(option), 2), -option.cost.total, -option.melts))
        said = "of the plans that keep melts for following up it shows the weakest factor most surely"
    said += f" (a chance of {100 * best.power:.0f} %)"
    budgeted = room_left(series)
    if budgeted.melts is None and budgeted.firings is None and budgeted.money is None:
        return best, said
    left = budget - best.melts
    return best, f"{said} and leaves {left} melt{'s' * (left != 1)}"


def _found(option: PlanOption) -> float:
    return float((option.rehearsal or {})["true_chance"])


def _noise(option: PlanOption) -> float:
    return float((option.rehearsal or {}).get("true_chance_error", 0.0))


def _worth(option: PlanOption) -> float:
    """Power, a little less where main effects are mixed up with interactions."""
    mains = set(option.plan.series.factor_names)
    mixed = sum(bool(mains & set(group)) for group in option.assessment.mixed_up)
    return option.power * (1.0 - 0.1 * min(1.0, mixed / max(1, len(mains))))
