"""The plan of a series beside the others that could have been bought: what each costs, shows and mixes up.

The comparison is made again from the series file, without simulated series, which would take minutes. Where it would
take long even so, it is left out.
"""

from __future__ import annotations

from dataclasses import replace

from meltdoe.costs.price import price
from meltdoe.fit.stages.phrases import capital, percent
from meltdoe.plans.comparison import DAYS_PER_FIRING, PlanComparison, compare_plans
from meltdoe.plans.designs_offered import TITLES
from meltdoe.plans.melt_plan import Plan
from meltdoe.plans.merits.assessment import assess
from meltdoe.plans.plan_impossible import PlanImpossible
from meltdoe.plans.plan_option import PlanOption
from meltdoe.plans.plans_to_compare import Asked
from meltdoe.report.plan_sentences import power_meaning
from meltdoe.report.tables import Column, Table, times
from meltdoe.series.factor import Choice
from meltdoe.series.melt_series import MeltSeries

__all__ = ["choice_sentences", "options_table", "own_option", "plans_compared"]

# Optimal plans are searched for, and a search over more columns takes seconds; choices count one less than options.
_MOST_COLUMNS = 6


def plans_compared(plan: Plan) -> PlanComparison | None:
    """The plans that the budget allows with the plan of the series among them; None where that takes long."""
    series = plan.series
    columns = sum(len(f.options) - 1 if isinstance(f, Choice) else 1 for f in series.factors)
    if not plan.melts or columns > _MOST_COLUMNS:
        return None
    try:
        found = compare_plans(series)
    except PlanImpossible:
        return None
    alike = {option.name: option for option in found.options}
    own = _judged(plan, found)
    if own.name in alike:
        own = replace(own, choose_when=alike.pop(own.name).choose_when)
    others = tuple(alike.values())
    options = sorted((*others, own), key=lambda option: (option.melts, option.firings))
    return replace(found, options=tuple(options))


def _judged(plan: Plan, among: PlanComparison) -> PlanOption:
    """The plan as it stands, judged as the others are."""
    series, melts, firings = plan.series, len(plan.melts), len(set(plan.firings))
    judged = assess(plan, effect=among.effect, chances=among.chances_shown)
    cost, money = price(series, melts, firings), series.budget.money
    graded = any(outcome.kind != "measured" for outcome in series.outcomes if outcome.counts)
    return PlanOption(
        name=own_option(plan),
        design=plan.design,
        melts=melts,
        firings=firings,
        days=DAYS_PER_FIRING * firings,
        cost=cost,
        at_worst=cost.sure + melts * max(series.costs.loss.values(), default=0.0),
        power=judged.power_pass if graded else judged.power_measured,
        aliased=judged.aliased,
        choose_when="",
        within_money=money is None or cost.total <= money + 1e-9,
        plan=plan,
        assessment=judged,
        asked=Asked(plan.design, melts),
    )


def own_option(plan: Plan) -> str:
    """What the plan of the series is called among the plans compared."""
    return f"{TITLES.get(plan.design, plan.design)}, {len(plan.melts)} melts"


def options_table(compared: PlanComparison, plan: Plan) -> Table:
    """One plan a row; the one of this series is marked."""
    series, priced = compared.series, compared.series.costs.known
    own = own_option(plan)
    columns = [Column("Plan"), Column("Melts", "number"), Column("Firings", "number")]
    if priced:
        unit = f", {series.budget.currency}" if series.budget.currency else ""
        columns += [Column(f"Cost to expect{unit}", "number"), Column(f"Cost at worst{unit}", "number")]
    columns += [Column("Power", "number"), Column("What it mixes up")]
    rows = []
    for option in compared.options:
        cells = [_design(option) + (" (this series)" if option.name == own else "")]
        cells += [str(option.melts), str(option.firings)]
        if priced:
            cells += [f"{option.cost.total:.0f}", f"{option.at_worst:.0f}"]
        rows.append((*cells, f"{100 * option.power:.0f} %", times(option.aliased_briefly)))
    money = (
        "Cost to expect counts the losses that beliefs, or common practice, let expect; at worst every melt fails "
        "where it costs most. "
        if priced
        else ""
    )
    return Table(
        "The plans that the budget allows, side by side",
        tuple(columns),
        tuple(rows),
        f"{money}Power: chance of showing {power_meaning(compared)}, for the weakest factor; "
        "0 % where an effect that this series asks for cannot be estimated from its melts.",
    )


def choice_sentences(compared: PlanComparison, plan: Plan) -> tuple[str, ...]:
    """What spoke for the plan of the series and what against it, in figures."""
    own, taken = compared.option(own_option(plan)), compared.option(compared.recommended)
    n = len(compared.options)
    said = [
        f"{n} plans are put side by side here, from the series file as it stands and without simulated series; a "
        "choice that was made after rehearsing may have weighed more than this.",
        f"The plan of this series takes {own.melts} melts in {own.firings} firings{_cost(compared.series, own)}, and "
        f"has a chance of {percent(own.power)} of showing its weakest factor.",
    ]
    if own.name == taken.name:
        said.append(f"By cost and power it is also the one to take: {compared.reason}")
        return tuple(said)
    said.append(f"By cost and power alone {_design(taken)} with {taken.melts} melts would be taken: {compared.reason}")
    gains = _gains(compared.series, own, taken)
    if gains:
        said.append(f"Against that one, the plan of this series {' and '.join(gains)}.")
    if own.choose_when:
        said.append(own.choose_when.replace("Choose it ", "A plan of its kind is chosen ", 1))
    return tuple(said)


def _design(option: PlanOption) -> str:
    return capital(option.name.rpartition(",")[0])


def _cost(series: MeltSeries, option: PlanOption) -> str:
    if not series.costs.known:
        return ""
    unit = f" {series.budget.currency}" if series.budget.currency else ""
    return f", about {option.cost.total:.0f}{unit} with the losses to expect"


def _gains(series: MeltSeries, own: PlanOption, other: PlanOption) -> list[str]:
    said = []
    if own.melts < other.melts:
        fewer = other.melts - own.melts
        said.append(f"leaves {fewer} more melt{'s' * (fewer != 1)} for following up what it finds")
    saved = other.cost.total - own.cost.total
    if series.costs.known and saved >= 0.5:
        unit = f" {series.budget.currency}" if series.budget.currency else ""
        said.append(f"costs {saved:.0f}{unit} less")
    if own.power >= other.power + 0.005:
        said.append(f"shows its weakest factor more surely ({percent(own.power)} against {percent(other.power)})")
    return said
