"""Tables of what was asked, planned and done: factors, outcomes, the plan and what it can show, every melt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

from meltdoe.log.cell_words import UNKNOWN
from meltdoe.log.melt_log import Log
from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.plans.merits.assessment import Assessment
from meltdoe.report.deviations import moved
from meltdoe.report.seen_words import SEEN_NOTE, seen_words
from meltdoe.series.factor import Amount, Factor, Setting
from meltdoe.series.melt_series import MeltSeries

__all__ = [
    "Column",
    "Table",
    "factor_table",
    "melt_table",
    "mixed_table",
    "outcome_table",
    "plan_table",
    "precision_table",
    "times",
]

Align: TypeAlias = Literal["text", "number"]
_FACTORS_ACROSS = 8  # more factors than these share one column of a table of melts
_MIXED_AT_MOST, _GROUP_AT_MOST = 12, 8


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
        rows.append(
            (outcome.name, outcome.question, seen, outcome.good_words or "only described", outcome.after or "the start")
        )
    columns = Column("Outcome"), Column("Question"), Column("Seen as"), Column("Good"), Column("Can be seen after")
    return Table("What was looked at, in the order of the work", columns, tuple(rows)).without_empty_columns()


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
            (times(group[0]), ", ".join(times(name) for name in others) + (f" and {more} more" if more else ""))
        )
    left = len(assessment.mixed_up) - len(rows)
    return Table(
        "Effects that this plan mixes up",
        (Column("Effect"), Column("cannot be told from")),
        tuple(rows),
        f"{left} more such groups are not shown." if left else "",
    )


def times(term: str) -> str:
    """A term as people write products and squares."""
    return term.replace(" * ", " × ").replace(" ^ 2", "²")


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
        cells += [seen_words(series, outcome, entry) for outcome in series.outcomes]
        cells += [_plain_setting(entry.circumstances.get(c.name, "")) for c in series.circumstances]
        cells += [{True: "yes", False: "no", None: "not known"}[log.succeeded(entry)] if judged else "not judged"]
        rows.append(tuple(cells))
    return Table(
        "Every melt and what happened",
        tuple(columns),
        tuple(rows),
        f"Settings are those really used. {SEEN_NOTE}",
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
        return [series.show_all(settings)]
    cells = []
    for factor in series.factors:
        cell = _plain_setting(settings.get(factor.name, UNKNOWN))
        if planned is not None and factor.name in moved(series, settings, planned.settings):
            cell += f" (planned {_plain_setting(planned.settings[factor.name])})"
        cells.append(cell)
    return cells


def _plain_setting(value: Setting) -> str:
    return value if isinstance(value, str) else f"{value:g}"
