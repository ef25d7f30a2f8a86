"""One plan that could be bought: what it costs, what it can show, what it mixes up, when to choose it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from meltdoe.costs.price import Price, price
from meltdoe.plans.designs_offered import CHOOSE_WHEN
from meltdoe.plans.melt_plan import Plan
from meltdoe.plans.merits.assessment import Assessment
from meltdoe.plans.plans_to_compare import Asked, title_of
from meltdoe.series.melt_series import MeltSeries
from meltdoe.wording import listed

__all__ = ["PlanOption", "option_of"]


@dataclass(frozen=True, slots=True)
class PlanOption:
    """One plan that could be bought.

    Parameters
    ----------
    name : the design and its melts, for people.
    design : what it is, one of `meltdoe.plans.designs_offered.DESIGNS`.
    cost : with the losses to expect.
    days : days at the kiln, firing after firing.
    at_worst : what it costs where every melt fails at the outcome that costs most.
    power : smallest chance, over the factors, of showing an effect: for the change of a pass chance where the series
        has pass or graded outcomes, else for the change of a measured one; see `PlanComparison`.
    aliased : what is mixed up, in words.
    choose_when : one sentence.
    within_money : whether the money of the budget covers the cost with its losses.
    asked : what `make_plan` draws it up from.
    rehearsal : how simulated series from this plan ended, or None where none was played.
    """

    name: str
    design: str
    melts: int
    firings: int
    days: float
    cost: Price
    at_worst: float
    power: float
    aliased: str
    choose_when: str
    within_money: bool
    plan: Plan
    assessment: Assessment
    asked: Asked
    rehearsal: Mapping[str, float] | None = None

    @property
    def aliased_briefly(self) -> str:
        """What is mixed up, cut to what can be taken in at a glance."""
        return self.assessment.aliased_briefly


def option_of(
    series: MeltSeries,
    asked: Asked,
    plan: Plan,
    judged: Assessment,
    chances: Mapping[str, float] | None,
    days_per_firing: float,
) -> PlanOption:
    """A plan with what it costs and shows.

    Parameters
    ----------
    chances : chance that each outcome is good where the one before was, for the expected losses.
    """
    melts, firings = len(plan.melts), len(set(plan.firings))
    cost = price(series, melts, firings, chances)
    graded = any(outcome.kind != "measured" for outcome in series.outcomes if outcome.counts)
    money = series.budget.money
    return PlanOption(
        name=f"{title_of(asked, plan)}, {melts} melts",
        design=plan.design,
        melts=melts,
        firings=firings,
        days=days_per_firing * firings,
        cost=cost,
        at_worst=cost.sure + melts * max(series.costs.loss.values(), default=0.0),
        power=judged.power_pass if graded else judged.power_measured,
        aliased=judged.aliased,
        choose_when=_choose_when(series, asked, plan, judged),
        within_money=money is None or cost.total <= money + 1e-9,
        plan=plan,
        assessment=judged,
        asked=asked,
    )


def _choose_when(series: MeltSeries, asked: Asked, plan: Plan, judged: Assessment) -> str:
    budget = series.budget.melts
    if asked.hold:
        them = "it stays" if len(asked.hold) == 1 else "they stay"
        held = series.show({name: plan.melts[0].settings[name] for name in asked.hold})
        return f"Choose it when {listed(asked.hold)} can wait: {them} at {held}, and the others are shown the better."
    if any("to keep a limit" in melt.purpose for melt in plan.melts):
        return "Choose it when a regular pattern is wanted although the limits bend it."
    if plan.design == "fraction":
        mains = set(series.factor_names)
        if judged.resolution == 3 or any(mains & set(group) for group in judged.mixed_up):
            return "Choose it to find the few factors that matter with few melts, and follow up what it finds."
        return "Choose it when main effects must not be confused with interactions."
    if asked.criterion == "bayesian-D" and judged.indistinguishable:
        return "Choose it when melts are very few and at most one or two factors can matter much."
    if asked.criterion == "bayesian-D":
        return "Choose it when the best setting may lie between the ends and no pattern of three levels fits."
    if plan.design == "optimal" and budget is not None and len(plan.melts) >= budget:
        return "Choose it when all melts must be decided now and nothing can be followed up."
    return CHOOSE_WHEN[plan.design]
