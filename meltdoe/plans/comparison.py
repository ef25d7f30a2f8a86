"""Plans side by side before buying: what each costs, what it can show, what it mixes up, when to choose it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meltdoe.costs.price import Price, price
from meltdoe.plans.designs_offered import TITLES
from meltdoe.plans.draw_up import make_plan
from meltdoe.plans.melt_plan import Plan
from meltdoe.plans.merits.assessment import Assessment, assess
from meltdoe.plans.merits.effect_precision import CHANCES
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.plans.room import room_left
from meltdoe.series.melt_series import MeltSeries

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["DAYS_PER_FIRING", "FEWEST_OPTIONS", "PlanComparison", "PlanOption", "Rehearsal", "compare_plans"]

# plays the whole series from a plan many times and says how it ended; at least {"true_chance": 0.7}
Rehearsal = Callable[[Plan], Mapping[str, float]]

FEWEST_OPTIONS = 4
_MOST_OPTIONS = 8
# heating, holding, pouring and annealing; common practice, no source
DAYS_PER_FIRING = 2.0
_ENOUGH_MELTS = 24
# correlation of a main effect with something else from which a pattern no longer keeps them apart: our own choice
_BENT = 0.25


@dataclass(frozen=True, slots=True)
class PlanOption:
    """One plan that could be bought.

    Parameters
    ----------
    name : the design and its melts, for people.
    design : what `make_plan` draws it up from, with `melts`.
    cost : with the losses to expect.
    days : days at the kiln, firing after firing.
    at_worst : what it costs where every melt fails at the outcome that costs most.
    power : smallest chance, over the factors, of showing an effect: for the change of a pass chance where the series
        has pass or graded outcomes, else for the change of a measured one; see `PlanComparison`.
    aliased : what is mixed up, in words.
    choose_when : one sentence.
    within_money : whether the money of the budget covers the cost with its losses.
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
    rehearsal: Mapping[str, float] | None = None


@dataclass(frozen=True)
class PlanComparison:
    """Options in order of their melts, the recommended one, and why some designs are missing.

    Parameters
    ----------
    recommended : name of the option to take.
    reason : why, in one sentence.
    left_out : reason by design, for designs that cannot be drawn up for this series.
    effect, chances_shown, level : what the powers are for: a change in melt-to-melt standard deviations, a pass chance
        from and to, the confidence level of the test.
    """

    series: MeltSeries
    options: tuple[PlanOption, ...]
    recommended: str
    reason: str
    left_out: Mapping[str, str]
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
    asked = _asked_for(series)
    for place, (design, melts) in enumerate((*asked, *_fillers(series))):
        if place >= len(asked) and len(options) >= FEWEST_OPTIONS:
            break
        try:
            plan = make_plan(series, design, melts, seed)
        except PlanImpossible as impossible:
            left_out.setdefault(design, str(impossible))
            last = impossible
            continue
        if not any(_same_melts(plan, other.plan) for other in options):
            judged = assess(plan, effect=effect, chances=chances_shown)
            options.append(_option(series, plan, judged, chances, days_per_firing))
    if not options:
        raise last or PlanImpossible("the budget leaves no melt", "raise the budget of melts, firings or money")
    drawn = {option.design for option in options}
    left_out = {design: why for design, why in left_out.items() if design not in drawn}
    options = sorted(_spread(options), key=lambda option: (option.melts, option.firings))
    if rehearse is not None:
        options = [replace(option, rehearsal=dict(rehearse(option.plan))) for option in options]
    best, reason = _recommended(series, options)
    return PlanComparison(series, tuple(options), best.name, reason, left_out, effect, chances_shown)


def _asked_for(series: MeltSeries) -> list[tuple[str, int | None]]:
    """Designs with numbers of melts that are worth a look for this series."""
    room = room_left(series)
    most = room.most_melts(_ENOUGH_MELTS)
    asked: list[tuple[str, int | None]] = [("fraction", runs) for runs in (8, 16, 32) if runs <= room.most_melts(32)]
    asked += [("full", None)] if len(series.factors) <= 4 else []
    asked += [("plackett-burman", 12)] if most >= 12 else []
    asked += [("definitive-screening", None), ("box-behnken", None), ("central-composite", None)]
    asked += [("optimal", None)]
    # the whole budget at once, for comparison with a smaller first part
    asked += [("optimal", most)] if most >= 1 else []
    asked += [("space-filling", None)]
    return asked


def _fillers(series: MeltSeries) -> list[tuple[str, int | None]]:
    """More to choose from where a small budget or odd factors leave few patterns: other numbers of melts."""
    most = room_left(series).most_melts(_ENOUGH_MELTS)
    counts = [most - series.kiln.melts_per_firing, round(0.75 * most), round(0.5 * most), most - 1]
    designs: list[tuple[str, int | None]] = [("optimal", n) for n in counts if n >= 2]
    return [*designs, *(("space-filling", n) for n in (most, *counts) if n >= 2), ("array", None)]


def _same_melts(plan: Plan, other: Plan) -> bool:
    def settings(p: Plan) -> list[tuple[str, ...]]:
        return sorted(tuple(str(m.settings[name]) for name in p.series.factor_names) for m in p.melts)

    return settings(plan) == settings(other) or (plan.design == other.design and len(plan.melts) == len(other.melts))


def _option(
    series: MeltSeries,
    plan: Plan,
    judged: Assessment,
    chances: Mapping[str, float] | None,
    days_per_firing: float,
) -> PlanOption:
    melts, firings = len(plan.melts), len(set(plan.firings))
    cost = price(series, melts, firings, chances)
    graded = any(outcome.kind != "measured" for outcome in series.outcomes if outcome.counts)
    money = series.budget.money
    return PlanOption(
        name=f"{TITLES.get(plan.design, plan.design)}, {melts} melts",
        design=plan.design,
        melts=melts,
        firings=firings,
        days=days_per_firing * firings,
        cost=cost,
        at_worst=cost.sure + melts * max(series.costs.loss.values(), default=0.0),
        power=judged.power_pass if graded else judged.power_measured,
        aliased=judged.aliased,
        choose_when=_choose_when(series, plan, judged),
        within_money=money is None or cost.total <= money + 1e-9,
        plan=plan,
        assessment=judged,
    )


def _choose_when(series: MeltSeries, plan: Plan, judged: Assessment) -> str:
    budget = series.budget.melts
    if plan.design == "fraction":
        mains = set(series.factor_names)
        if judged.resolution == 3 or any(mains & set(group) for group in judged.mixed_up):
            return "Choose it to find the few factors that matter with few melts, and follow up what it finds."
        if judged.partly > _BENT:
            return "Choose it when a regular pattern is wanted although the limits bend it."
        return "Choose it when main effects must not be confused with interactions."
    if plan.design == "optimal" and budget is not None and len(plan.melts) >= budget:
        return "Choose it when all melts must be decided now and nothing can be followed up."
    return {
        "full": "Choose it when there are few factors and every interaction matters.",
        "plackett-burman": "Choose it when there are many factors and interactions are thought to be small.",
        "definitive-screening": "Choose it when the best setting may lie between the ends of the ranges.",
        "box-behnken": "Choose it when curves are to be mapped and the extreme corners are risky.",
        "array": "Choose it when factors have different numbers of settings and a tried table is wanted.",
        "central-composite": "Choose it when the factors that matter are known and the optimum is to be mapped.",
        "optimal": "Choose it when limits, options or firings leave no regular pattern whole.",
        "space-filling": "Choose it when nothing is known of the shape and later melts are chosen one by one.",
    }[plan.design]


def _spread(options: Sequence[PlanOption]) -> list[PlanOption]:
    """At most eight, the costliest left out first."""
    return sorted(options, key=lambda option: option.cost.total)[:_MOST_OPTIONS]


def _recommended(series: MeltSeries, options: Sequence[PlanOption]) -> tuple[PlanOption, str]:
    """By rehearsal where there is one; else by what a follow-up needs: a sound first part that leaves melts over."""
    affordable = [option for option in options if option.within_money] or list(options)
    over = (
        ""
        if affordable[0].within_money
        else " (with the losses to expect, every plan costs more than the money there is)"
    )
    rehearsed = [option for option in affordable if option.rehearsal and "true_chance" in option.rehearsal]
    first = room_left(series).first_part().most_melts(_ENOUGH_MELTS)
    rehearsed = [option for option in rehearsed if option.melts <= first] or rehearsed
    if rehearsed:
        top = max(rehearsed, key=_found)
        # differences within the noise of a rehearsal are decided by cost
        close = [o for o in rehearsed if _found(o) >= _found(top) - 2.0 * _noise(top)]
        best = min(close, key=lambda option: option.cost.total)
        return best, (
            f"in rehearsed series the setting found from this plan alone succeeds {100 * _found(best):.0f} % of the "
            f"time (Monte Carlo error {100 * _noise(best):.0f} points), and none that costs less or does clearly "
            f"better leaves a third of the budget for following up{over}."
        )
    sound = [option for option in affordable if not option.assessment.indistinguishable] or affordable
    budget = room_left(series).most_melts(_ENOUGH_MELTS)
    # common practice, no source: keep at least a quarter of the melts for following up
    part = [option for option in sound if option.melts <= 0.75 * budget]
    part = part or [min(sound, key=lambda option: option.melts)]
    best = max(part, key=lambda option: (round(_worth(option), 2), -option.cost.total))
    left = budget - best.melts
    if left <= 0:
        return best, f"no sound plan leaves melts for following up; this one takes the fewest{over}."
    return best, (
        f"of the plans that keep melts for following up it shows the weakest factor most surely (a chance of "
        f"{100 * best.power:.0f} %) and leaves {left} melt{'s' * (left != 1)}{over}."
    )


def _found(option: PlanOption) -> float:
    return float((option.rehearsal or {})["true_chance"])


def _noise(option: PlanOption) -> float:
    return float((option.rehearsal or {}).get("true_chance_error", 0.0))


def _worth(option: PlanOption) -> float:
    """Power, a little less where main effects are mixed up with interactions."""
    mains = set(option.plan.series.factor_names)
    mixed = sum(bool(mains & set(group)) for group in option.assessment.mixed_up)
    return option.power * (1.0 - 0.1 * min(1.0, mixed / max(1, len(mains))))
