"""The tables of the write-up: every melt, every estimate, every number that a reader may want to check."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from meltdoe.fit.best_setting import BestSetting
from meltdoe.fit.effects import Effect
from meltdoe.fit.phrases import good_phrase, measure, p_phrase, percent, points
from meltdoe.fit.stage_chain import ChainFit
from meltdoe.fit.stage_fit import StageFit
from meltdoe.glass.cautions import Caution
from meltdoe.log.melt_log import Entry, Log
from meltdoe.next_melt.advice import Advice
from meltdoe.plans.assessment import Assessment
from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.series.factor import Amount, Factor, Setting
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome, Unseen

__all__ = [
    "Column", "Table", "caution_table", "effect_table", "factor_table", "melt_table", "mixed_table", "moved",
    "next_table", "outcome_table", "plan_table", "precision_table", "predicted_table", "setting_table", "stage_table",
]  # fmt: skip

Align: TypeAlias = Literal["text", "number"]
_FACTORS_ACROSS = 8  # more factors than these share one column of a table of melts
_MIXED_AT_MOST, _GROUP_AT_MOST = 12, 8
_SEEN_WORDS = {Unseen.NOT_REACHED: "not reached", Unseen.LATER: "later", Unseen.LOST: "lost"}


@dataclass(frozen=True, slots=True)
class Column:
    """A heading and how its cells stand."""

    title: str
    align: Align = "text"


@dataclass(frozen=True, slots=True)
class Table:
    """A table; the first cell of a row is its heading. `note` stands below it."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""

    def without_empty_columns(self) -> Table:
        """The same table; columns behind the first that say nothing in any row are left out."""
        kept = [i for i in range(len(self.columns)) if i == 0 or any(row[i] for row in self.rows)]
        rows = tuple(tuple(row[i] for i in kept) for row in self.rows)
        return Table(self.caption, tuple(self.columns[i] for i in kept), rows, self.note)


def factor_table(series: MeltSeries) -> Table:
    """What was varied, how far, and how often it can be changed."""
    rows = []
    for factor in series.factors:
        if isinstance(factor, Amount):
            step = f", steps of {factor.step:g}" if factor.step else ""
            scale = ", counted by doublings" if factor.scale == "log" else ""
            span = f"{factor.low:g} to {factor.high:g} {factor.unit}".strip() + step + scale
        else:
            span = ", ".join(factor.options) + (" (in this order)" if factor.kind == "ordered" else "")
        rows.append((factor.name, factor.label, span, factor.set_per))
    columns = Column("Factor"), Column("What it is"), Column("Settings"), Column("Set for each")
    return Table("What was varied", columns, tuple(rows)).without_empty_columns()


def outcome_table(series: MeltSeries) -> Table:
    """What was looked at, in the order of the work, and what counted as good."""
    rows = []
    for outcome in series.outcomes:
        if outcome.kind == "measured":
            seen = f"measured in {outcome.unit}" if outcome.unit else "measured"
            if outcome.bounds:
                seen += f", {outcome.bounds[0]:g} to {outcome.bounds[1]:g}"
        else:
            seen = "yes or no" if outcome.kind == "pass" else ", ".join(outcome.grades)
        rows.append((outcome.name, outcome.question, seen, _good(outcome), outcome.after or "the start"))
    columns = Column("Outcome"), Column("Question"), Column("Seen as"), Column("Good"), Column("Can be seen after")
    return Table("What was looked at, in the order of the work", columns, tuple(rows)).without_empty_columns()


def _good(outcome: Outcome) -> str:
    if outcome.kind == "pass":
        return "yes"
    if outcome.good is None:
        return "only described"
    if isinstance(outcome.good, tuple):
        return " or ".join(outcome.good)
    return f"{outcome.good} {outcome.unit}".strip()


def plan_table(plan: Plan) -> Table:
    """Every planned melt."""
    columns = [Column("Melt", "number"), Column("Firing", "number"), Column("Order", "number")]
    columns += [*_setting_columns(plan.series), Column("Purpose")]
    rows = tuple(
        (str(m.melt), str(m.firing), str(m.order), *_setting_cells(plan.series, m.settings), m.purpose)
        for m in plan.melts
    )
    return Table("The plan", tuple(columns), rows)


def precision_table(assessment: Assessment) -> Table | None:
    """What the plan could show of each term before a melt was made; None where it can estimate none."""
    if not any(effect.estimable for effect in assessment.effects):
        return None
    rows = []
    for effect in assessment.effects:
        if not effect.estimable:
            rows.append((str(effect.term), "cannot be estimated", "", "", "", ""))
            continue
        power = f"{100 * effect.power_measured:.0f} %" if effect.df else "nothing left to judge by"
        rows.append(
            (
                str(effect.term), f"{effect.standard_error:.2f}", effect.judged_by, str(effect.df), power,
                f"{100 * effect.power_pass:.0f} %",
            )
        )  # fmt: skip
    columns = (
        Column("Effect"), Column("Standard error", "number"), Column("Judged by differences between"),
        Column("Degrees of freedom", "number"), Column("Power, measured outcome", "number"),
        Column("Power, pass or fail", "number"),
    )  # fmt: skip
    return Table(
        "What the plan can show of each effect",
        columns,
        tuple(rows),
        "Standard errors in melt-to-melt standard deviations, from low to high. Power: the chance that the "
        f"{100 * assessment.level:g} % test shows a change of {assessment.effect:g} such deviations, or a chance that "
        f"goes from 20 % to 80 %. Assumed: variance between firings {assessment.eta:g} times that between melts of a "
        "firing.",
    )


def mixed_table(assessment: Assessment) -> Table | None:
    """Effects that vary together in the plan, in the names of the factors; None where all can be told apart."""
    if not assessment.mixed_up:
        return None
    rows = []
    for group in assessment.mixed_up[:_MIXED_AT_MOST]:
        others = list(group[1:_GROUP_AT_MOST])
        more = len(group) - 1 - len(others)
        rows.append(
            (_times(group[0]), ", ".join(_times(name) for name in others) + (f" and {more} more" if more else ""))
        )
    left = len(assessment.mixed_up) - len(rows)
    return Table(
        "Effects that this plan mixes up",
        (Column("Effect"), Column("cannot be told from")),
        tuple(rows),
        f"{left} more such groups are not shown." if left else "",
    )


def _times(term: str) -> str:
    return term.replace(" * ", " × ")


def melt_table(log: Log, plan: Plan | None) -> Table:
    """Every melt with its actual settings and what was seen; where it left the plan, what was planned."""
    series = log.series
    planned = {melt.melt: melt for melt in plan.melts} if plan is not None else {}
    with_mould = series.moulds_per_melt > 1
    columns = [Column("Melt", "number")]
    columns += [Column("Mould", "number")] if with_mould else []
    columns += [Column("Firing", "number"), Column("Date"), *_setting_columns(series)]
    columns += [Column(o.name + (f" ({o.unit})" if o.unit else "")) for o in series.outcomes]
    columns += [Column(c.name + (f" ({c.unit})" if c.unit else "")) for c in series.circumstances]
    columns += [Column("All good")]
    judged = any(outcome.counts for outcome in series.outcomes)
    rows = []
    for entry in sorted(log.entries, key=lambda e: (e.firing, e.melt, e.mould)):
        cells = [str(entry.melt), *([str(entry.mould)] if with_mould else []), str(entry.firing)]
        cells.append(entry.date.isoformat() if entry.date else "")
        cells += _setting_cells(series, entry.settings, planned.get(entry.melt))
        cells += [_seen(outcome, entry) for outcome in series.outcomes]
        cells += [_plain_setting(entry.circumstances.get(c.name, "")) for c in series.circumstances]
        cells += [{True: "yes", False: "no", None: "not known"}[log.succeeded(entry)] if judged else "not judged"]
        rows.append(tuple(cells))
    return Table(
        "Every melt and what happened",
        tuple(columns),
        tuple(rows),
        "Settings are those really used. Not reached: an earlier stage had failed, so there was nothing to see; "
        "later: not known yet; lost: it got there, but nobody looked.",
    ).without_empty_columns()


def _setting_columns(series: MeltSeries) -> list[Column]:
    if len(series.factors) > _FACTORS_ACROSS:
        return [Column("Settings")]
    return [
        Column(f"{f.name} ({f.unit})" if isinstance(f, Amount) and f.unit else f.name, _align(f))
        for f in series.factors
    ]


def _align(factor: Factor) -> Align:
    return "number" if isinstance(factor, Amount) else "text"


def _setting_cells(
    series: MeltSeries, settings: Mapping[str, Setting], planned: PlannedMelt | None = None
) -> list[str]:
    if len(series.factors) > _FACTORS_ACROSS:
        return [series.show(settings)]
    cells = []
    for factor in series.factors:
        cell = _plain_setting(settings.get(factor.name, ""))
        if planned is not None and factor.name in moved(series, settings, planned.settings):
            cell += f" (planned {_plain_setting(planned.settings[factor.name])})"
        cells.append(cell)
    return cells


def moved(series: MeltSeries, actual: Mapping[str, Setting], planned: Mapping[str, Setting]) -> tuple[str, ...]:
    """Names of the factors whose actual setting differs from the planned one."""
    found = []
    for name in series.factor_names:
        if name not in actual or name not in planned:
            continue
        here, there = actual[name], planned[name]
        if isinstance(here, str) or isinstance(there, str):
            if here != there:
                found.append(name)
        elif abs(here - there) > 1e-9 * max(1.0, abs(there)):
            found.append(name)
    return tuple(found)


def _plain_setting(value: Setting) -> str:
    return value if isinstance(value, str) else f"{value:g}"


def _seen(outcome: Outcome, entry: Entry) -> str:
    seen = entry.seen.get(outcome.name, Unseen.NOT_REACHED)
    return _SEEN_WORDS[seen] if isinstance(seen, Unseen) else outcome.show(seen)


def effect_table(stage: StageFit) -> Table | None:
    """Every effect that the melts can tell apart: posterior beside the classical fit; None where there is none."""
    told = [effect for effect in stage.effects if effect.estimable]
    if not told:
        return None
    told.sort(key=lambda effect: -(effect.inclusion or 0.0))
    on_values = any(effect.value_from is not None for effect in told)
    on_chances = any(effect.chance_from is not None for effect in told)
    unit = f" ({stage.outcome.unit})" if stage.outcome.unit else ""
    columns = [Column("Change")]
    columns += [Column(f"Mean{unit}", "number"), Column(f"Change{unit}", "number")] if on_values else []
    columns += [Column("Chance of good", "number"), Column("Change (points)", "number")] if on_chances else []
    columns += [Column("Matters", "number"), Column("Classical estimate", "number"), Column("p", "number")]
    rows = [_effect_row(effect, on_values, on_chances) for effect in told]
    scale = "in the outcome's unit" if stage.outcome.kind == "measured" else "in log odds of better"
    good = "" if not on_chances else f" Good: {good_phrase(stage.outcome)}."
    return Table(
        f"What each change of settings does to {stage.outcome.name}",
        tuple(columns),
        tuple(rows),
        f"{stage.n_seen} melts; all intervals at {100 * stage.level:g} %. Chances and means average over the posterior "
        f"and over the settings of the melts seen; matters: the posterior chance that the effect is more than small."
        f"{good} Classical estimate: {stage.classical.method}, {scale}, with limits; it uses no prior, so the two may "
        "differ where melts are few.",
    )


def _effect_row(effect: Effect, on_values: bool, on_chances: bool) -> tuple[str, ...]:
    cells = [f"{_times(effect.label)}: {effect.from_setting} → {effect.to_setting}"]
    if on_values:
        if (
            effect.value_from is None
            or effect.value_to is None
            or effect.value_low is None
            or effect.value_high is None
        ):
            cells += ["", ""]
        else:
            cells.append(f"{measure(effect.value_from)} → {measure(effect.value_to)}")
            cells.append(f"{measure(effect.value_low, sign=True)} to {measure(effect.value_high, sign=True)}")
    if on_chances:
        ends = effect.chance_from, effect.chance_to, effect.change_low, effect.change_high
        if ends[0] is None or ends[1] is None or ends[2] is None or ends[3] is None:
            cells += ["", ""]
        else:
            cells.append(f"{percent(ends[0])} → {percent(ends[1])}")
            cells.append(f"{points(ends[2])} to {points(ends[3])}")
    cells.append("" if effect.inclusion is None else percent(effect.inclusion))
    if effect.estimate is None or effect.low is None or effect.high is None:
        cells += [effect.why_not or "none", ""]
    else:
        limits = f"{effect.low:+.2f} to {effect.high:+.2f}"
        cells += [
            f"{effect.estimate:+.2f} ({limits})",
            "" if effect.p_value is None else p_phrase(effect.p_value).removeprefix("p ").removeprefix("= "),
        ]
    return tuple(cells)


def setting_table(series: MeltSeries, best: BestSetting) -> Table:
    """The recommended setting, factor by factor."""
    rows = []
    for factor in series.factors:
        value = best.settings[factor.name]
        shown = factor.show(float(value)) if isinstance(factor, Amount) else str(value)
        at_end = ""
        if isinstance(factor, Amount) and float(value) in (factor.low, factor.high):
            at_end = f"at the {'lowest' if float(value) == factor.low else 'highest'} of its range"
        rows.append((factor.name, factor.label, shown, at_end))
    columns = Column("Factor"), Column("What it is"), Column("Setting"), Column("Remark")
    return Table("The setting recommended", columns, tuple(rows)).without_empty_columns()


def stage_table(chain: ChainFit, best: BestSetting) -> Table:
    """Where the risk lies at the best setting, stage by stage."""
    shares = chain.stage_failure_share(best.raw)
    rows = []
    for stage in chain.stages:
        if not stage.outcome.counts:
            continue
        draws = stage.chance_draws(best.raw)[:, 0]
        low, high = np.quantile(draws, [(1 - chain.level) / 2, (1 + chain.level) / 2])
        rows.append(
            (
                good_phrase(stage.outcome),
                percent(float(draws.mean())),
                f"{percent(float(low))} to {percent(float(high))}",
                percent(float(shares[stage.outcome.name][0])), f"{stage.n_good} of {stage.n_seen}",
            )
        )  # fmt: skip
    columns = (
        Column("Stage"), Column("Chance, once reached", "number"),
        Column(f"Interval, {100 * chain.level:g} %", "number"),
        Column("Share of expected failures", "number"), Column("Good of all seen", "number"),
    )  # fmt: skip
    return Table("Where the remaining risk lies at the recommended setting", columns, tuple(rows))


def predicted_table(chain: ChainFit) -> Table:
    """What the model expects of every melt made, whole chain, beside what happened."""
    chance = chain.chance(chain.log.raw)
    with_mould = chain.series.moulds_per_melt > 1
    rows = []
    for i, entry in sorted(enumerate(chain.log.entries), key=lambda item: (item[1].melt, item[1].mould)):
        seen = {True: "good throughout", False: "not good", None: "not known"}[chain.log.succeeded(entry)]
        name = f"{entry.melt}.{entry.mould}" if with_mould else str(entry.melt)
        interval = f"{percent(float(chance.low[i]))} to {percent(float(chance.high[i]))}"
        rows.append((name, percent(float(chance.mean[i])), interval, seen))
    columns = (
        Column("Melt", "number"), Column("Expected chance of full success", "number"),
        Column(f"Interval, {100 * chain.level:g} %", "number"), Column("Seen"),
    )  # fmt: skip
    return Table(
        "Expected and seen, melt by melt", columns, tuple(rows),
        "The model has seen these very melts, so this flatters it.",
    )  # fmt: skip


def next_table(series: MeltSeries, advice: Advice) -> Table:
    """The proposed melts."""
    money = f"Cost ({series.budget.currency})" if series.budget.currency else "Cost"
    columns = [Column("Proposal", "number"), Column("Firing", "number"), Column("Settings"), Column("Chance", "number")]
    columns += [Column(f"Interval, {100 * advice.level:g} %", "number"), Column("Tells (nats)", "number")]
    columns += [Column(money, "number")] if series.costs.known else []
    columns += [Column("Chance of a costly failure", "number")] if any(series.costs.loss.values()) else []
    rows: list[Sequence[str]] = []
    for i, melt in enumerate(advice.melts, 1):
        cells = [str(i), str(melt.firing), series.show(melt.settings), percent(melt.chance)]
        cells += [f"{percent(melt.low)} to {percent(melt.high)}", f"{melt.information:.2f}"]
        cells += [f"{melt.cost:.0f}"] if series.costs.known else []
        cells += [percent(melt.risk)] if any(series.costs.loss.values()) else []
        rows.append(cells)
    return Table("The next melts proposed", tuple(columns), tuple(map(tuple, rows)))


def caution_table(cautions: Sequence[Caution]) -> Table:
    """Hazards and what to do, the deference to local codes last."""
    rows = tuple(
        (
            caution.hazard, caution.what_to_do,
            "; ".join(text for text in (caution.authority, caution.limit_value) if text not in ("", "-")),
            caution.how_obtained, "; ".join(caution.because[:4]),
        )
        for caution in cautions
    )  # fmt: skip
    columns = (
        Column("Hazard"),
        Column("What to do"),
        Column("Authority and limit"),
        Column("Source"),
        Column("Called for by"),
    )
    return Table("Cautions that this work calls for", columns, rows)
