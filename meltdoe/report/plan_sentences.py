"""Plans in words and rows; the figures come from `meltdoe.plans` and `meltdoe.rehearsal`."""

from __future__ import annotations

from meltdoe.plans.comparison import PlanComparison
from meltdoe.plans.merits.assessment import Assessment
from meltdoe.plans.merits.pass_simulation import PassSimulation
from meltdoe.plans.merits.region_measures import RegionMeasures
from meltdoe.plans.plan_option import PlanOption
from meltdoe.series.melt_series import MeltSeries

__all__ = [
    "EFFECT_COLUMNS", "effect_note", "effect_rows", "measure_sentences", "option_columns", "option_note", "option_row",
    "power_meaning", "rehearsal_note", "simulation_sentences",
]  # fmt: skip

EFFECT_COLUMNS = ("effect", "st. error", "judged by", "df", "shown", "pass shown")
_BIASES = 6
_LEVERAGES = 0.99


def option_columns(series: MeltSeries, rehearsed: bool = True) -> list[str]:
    """Headings of the table of plans; `rehearsed` where simulated series fill the last two."""
    money = f"cost {series.budget.currency}".strip()
    columns = ["", "plan", "melts", "firings", "days", money, "at worst", "power"]
    return [*columns, "finds", "lost"] if rehearsed else columns


def option_row(series: MeltSeries, option: PlanOption, recommended: bool = False, rehearsed: bool = True) -> list[str]:
    """One plan as a row under `option_columns`."""
    played = option.rehearsal or {}
    cells = [
        "*" if recommended else "",
        option.name.removesuffix(" melts").rpartition(",")[0] or option.name,
        str(option.melts),
        str(option.firings),
        f"{option.days:g}",
        f"{option.cost.total:.0f}" if series.costs.known else "-",
        f"{option.at_worst:.0f}" if series.costs.known else "-",
        f"{100 * option.power:.0f} %",
    ]
    if not rehearsed:
        return cells
    return [
        *cells,
        f"{100 * played['true_chance']:.0f} %" if "true_chance" in played else "-",
        f"{played['losses']:.1f}" if "losses" in played else "-",
    ]


def option_note(compared: PlanComparison) -> str:
    """What the columns of the table of plans mean."""
    money = (
        "cost: melts, firings and the losses to expect. at worst: if every melt fails where it costs most. "
        if compared.series.costs.known
        else ""
    )
    return f"*: recommended. {money}power: chance of showing {power_meaning(compared)}, for the weakest factor."


def power_meaning(compared: PlanComparison) -> str:
    """The effect that the powers of a comparison are for."""
    level = f"at {100 * compared.level:.0f} % confidence"
    if any(outcome.kind != "measured" for outcome in compared.series.outcomes if outcome.counts):
        low, high = compared.chances_shown
        return f"that a factor takes a pass chance from {low:g} to {high:g} ({level})"
    return f"a change of {compared.effect:g} times the scatter between equal melts ({level})"


def rehearsal_note(compared: PlanComparison) -> str:
    """What the columns of rehearsed figures mean; empty where nothing was rehearsed."""
    played = [option.rehearsal for option in compared.options if option.rehearsal]
    if not played:
        return ""
    error = max(one.get("true_chance_error", 0.0) for one in played)
    return (
        "finds: true chance of success at the setting that each plan alone ends with (give or take "
        f"{100 * error:.0f} points), and lost: costly failures on the way, both averages from "
        f"{played[0]['series']:.0f} simulated series, played against truths from your beliefs in which "
        f"{100 * compared.series.target_chance:.0f} % can be reached."
    )


def effect_rows(judged: Assessment) -> list[list[str]]:
    """One effect a row under `EFFECT_COLUMNS`."""
    rows = []
    for effect in judged.effects:
        if not effect.estimable:
            rows.append([str(effect.term), "not told", effect.judged_by, "-", "-", "-"])
            continue
        rows.append(
            [
                str(effect.term),
                f"{effect.standard_error:.2f}",
                effect.judged_by,
                str(effect.df),
                f"{100 * effect.power_measured:.0f} %" if effect.df else "-",
                f"{100 * effect.power_pass:.0f} %",
            ]
        )
    return rows


def effect_note(judged: Assessment) -> str:
    """What the columns of the table of effects mean."""
    low, high = judged.chances
    return (
        "st. error: of the change from low to high, in units of the scatter between equal melts (melt-to-melt standard "
        f"deviations). shown: how often a change of {judged.effect:g} such units would be shown; pass shown: how often "
        f"a pass chance that goes from {low:g} to {high:g} would be; a dash: nothing is left over to judge it by."
    )


def measure_sentences(measures: RegionMeasures) -> list[str]:
    """Efficiencies, prediction over the region, bias and leverage in words."""
    said = []
    found = measures.efficiencies
    if found is None:
        said.append("The melts are too few or too alike for an ordinary fit, so efficiencies are not given.")
    else:
        said.append(
            f"Efficiency, 100 for an orthogonal two-level plan: D {found.d:.0f}, A {found.a:.0f}, G {found.g:.0f}. "
            f"Variance of a prediction, in melt-to-melt variances: {found.average_variance:.2f} on average over the "
            f"region (the I criterion), at most {measures.variance[20]:.2f} in half of it, {measures.variance[36]:.2f} "
            f"in nine tenths, {found.largest_variance:.2f} at the worst place."
        )
    strongest = measures.strongest_bias
    if strongest:
        shown = "; ".join(f"{fitted} takes up {share:+.2f} of {left}" for fitted, left, share in strongest[:_BIASES])
        more = f"; and {len(strongest) - _BIASES} more from 0.1 on" if len(strongest) > _BIASES else ""
        said.append(f"What effects left out would add to the coefficients fitted: {shown}{more}.")
    alone = [str(i + 1) for i, value in enumerate(measures.leverage) if value > _LEVERAGES]
    if alone:
        rows = "row" if len(alone) == 1 else "rows"
        said.append(f"Hung upon one result alone (leverage 1): {rows} {', '.join(alone)} of the plan.")
    else:
        said.append(f"Largest leverage of a melt: {measures.leverage.max():.2f} (1 would hang upon it alone).")
    return said


def simulation_sentences(played: PassSimulation) -> list[str]:
    """Power of a pass or fail by simulation, and how often passes and failures are split by the settings."""
    if not played.power.size or played.power[0] != played.power[0]:
        return []
    shares = ", ".join(f"{term} {100 * p:.0f} %" for term, p in zip(played.terms, played.power, strict=True))
    return [
        f"From {played.sets} simulated series, a pass chance from {played.low:g} to {played.high:g} is shown: "
        f"{shares} (give or take {100 * played.error:.0f} points).",
        f"In {100 * played.separated:.0f} % of such series the settings split passes from failures, so that an "
        "ordinary estimate does not exist and the methods for few melts are needed.",
    ]
