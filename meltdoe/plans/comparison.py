"""Plans side by side before buying: what each costs, what it can show, what it mixes up, when to choose it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import TYPE_CHECKING

from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.melt_plan import Plan
from meltdoe.plans.merits.assessment import assess
from meltdoe.plans.merits.effect_precision import CHANCES
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.plans.plan_option import PlanOption, option_of
from meltdoe.plans.plans_to_compare import Asked, alike, further_plans, near, sensible, usual_plans, why_so_few
from meltdoe.plans.recommendation import recommended
from meltdoe.series.melt_series import MeltSeries

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["DAYS_PER_FIRING", "FEWEST_OPTIONS", "PlanComparison", "Rehearsal", "compare_plans"]

# plays the whole series from a plan many times and says how it ended; at least {"true_chance": 0.7}
Rehearsal = Callable[[Plan], Mapping[str, float]]

FEWEST_OPTIONS = 4
_MOST_OPTIONS = 8
# heating, holding, pouring and annealing; common practice, no source
DAYS_PER_FIRING = 2.0


@dataclass(frozen=True)
class PlanComparison:
    """Options in order of their melts, the recommended one, and why some designs are missing.

    Parameters
    ----------
    recommended : name of the option to take.
    reason : why, in one sentence.
    left_out : reason by design, for designs that cannot be drawn up for this series.
    few : why there are fewer than four options, empty where there are not.
    effect, chances_shown, level : what the powers are for: a change in melt-to-melt standard deviations, a pass chance
        from and to, the confidence level of the test.
    """

    series: MeltSeries
    options: tuple[PlanOption, ...]
    recommended: str
    reason: str
    left_out: Mapping[str, str]
    few: str = ""
    effect: float = 2.0
    chances_shown: tuple[float, float] = CHANCES
    level: float = 0.90

    def option(self, name: str) -> PlanOption:
        """The option of that name; KeyError where there is none."""
        for option in self.options:
            if option.name == name:
                return option
        raise KeyError(name)

    def to_frame(self) -> pd.DataFrame:
        """One row per option."""
        import pandas as pd

        rows = [
            {
                "name": option.name,
                "design": option.design,
                "melts": option.melts,
                "firings": option.firings,
                "days": option.days,
                "cost": option.cost.total,
                "at_worst": option.at_worst,
                "power": option.power,
                "aliased": option.aliased,
                "choose_when": option.choose_when,
                "recommended": option.name == self.recommended,
                **{f"rehearsal_{key}": value for key, value in (option.rehearsal or {}).items()},
            }
            for option in self.options
        ]
        return pd.DataFrame(rows)


def compare_plans(
    series: MeltSeries,
    chances: Mapping[str, float] | None = None,
    rehearse: Rehearsal | None = None,
    seed: int | None = None,
    *,
    effect: float = 2.0,
    chances_shown: tuple[float, float] = CHANCES,
    days_per_firing: float = DAYS_PER_FIRING,
) -> PlanComparison:
    """Draw up four to eight sensible plans within the budget and put them side by side.

    Parameters
    ----------
    chances : chance that each outcome is good where the one before was, for the expected losses; beliefs, or else
        `meltdoe.costs.price.ASSUMED_CHANCE`, where left out.
    rehearse : called with each plan; its answer fills `rehearsal`. Its ``"true_chance"`` (of the setting found,
        with ``"true_chance_error"``) then decides the recommendation.
    effect : change of a measured outcome that the power is for, in melt-to-melt standard deviations.
    chances_shown : change of a pass chance that the power is for, from and to.
    days_per_firing : from loading the kiln to opening it.

    Raises
    ------
    PlanImpossible
        Where not one plan fits the series; gives the reason of the last.
    """
    options: list[PlanOption] = []
    left_out: dict[str, str] = {}
    last: PlanImpossible | None = None
    usual = usual_plans(series)
    tried: set[tuple[object, int]] = set()
    for place, asked in enumerate(chain(usual, further_plans(series))):
        if place >= len(usual) and len(options) >= FEWEST_OPTIONS:
            break
        twin = any(_too_near(asked, option) for option in options)
        if twin or (asked.melts is not None and (asked.kind, asked.melts) in tried):
            continue
        try:
            plan = make_plan(series, asked.design, asked.melts, seed, criterion=asked.criterion, hold=asked.hold)
        except PlanImpossible as impossible:
            if place < len(usual):
                left_out.setdefault(asked.design, str(impossible))
            last = last or impossible
            continue
        tried.add((asked.kind, len(plan.melts)))
        if sensible(asked, plan) and not any(alike(asked, plan, option.asked, option.plan) for option in options):
            judged = assess(plan, effect=effect, chances=chances_shown)
            options.append(option_of(series, asked, plan, judged, chances, days_per_firing))
    if not options:
        why = f"{why_so_few(series)}, which is too little for any plan"
        raise PlanImpossible(why, "raise the budget of melts, firings or money") from last
    drawn = {option.design for option in options}
    left_out = {design: why for design, why in left_out.items() if design not in drawn and design != "mixture"}
    options = sorted(_spread(options), key=lambda option: (option.melts, option.firings))
    if rehearse is not None:
        options = [replace(option, rehearsal=dict(rehearse(option.plan))) for option in options]
    best, reason = recommended(series, options)
    few = why_so_few(series) if len(options) < FEWEST_OPTIONS else ""
    return PlanComparison(series, tuple(options), best.name, reason, left_out, few, effect, chances_shown)


def _too_near(asked: Asked, option: PlanOption) -> bool:
    """Whether a plan need not be drawn up to see that it is another's twin."""
    return asked.melts is not None and asked.kind == option.asked.kind and near(asked.melts, option.melts)


def _spread(options: Sequence[PlanOption]) -> list[PlanOption]:
    """At most eight: the largest of three two-level patterns is left out first, then the costliest."""
    kept = list(options)
    while len(kept) > _MOST_OPTIONS:
        two_level = [option for option in kept if option.design in ("fraction", "full")]
        among = two_level if len(two_level) > 2 else kept
        kept.remove(max(among, key=lambda option: (option.cost.total, option.melts)))
    return kept
