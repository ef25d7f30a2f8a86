"""Melt sheets: what to set, what to tick, what to beware of, one printed page a melt."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from meltdoe.glass.cautions import Caution
from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.series.factor import Amount
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome
from meltdoe.sheets.series_cautions import cautions_of, reached_celsius

__all__ = ["MeltSheet", "OutcomeBox", "SettingLine", "melt_sheets", "sheets_page"]


@dataclass(frozen=True, slots=True)
class SettingLine:
    """One factor on a sheet.

    Parameters
    ----------
    planned : the planned setting with its unit.
    unit : unit to write the actual setting in.
    shared : whether it is set once for the whole firing.
    """

    title: str
    planned: str
    unit: str
    shared: bool


@dataclass(frozen=True, slots=True)
class OutcomeBox:
    """One outcome on a sheet: words to tick, or a line to write a number on.

    Parameters
    ----------
    only_if : when it can be seen at all, in words; empty for the first.
    words : what to tick; empty for a measurement.
    good : what counts as good, in words.
    """

    title: str
    only_if: str
    words: tuple[str, ...]
    unit: str
    good: str


@dataclass(frozen=True, slots=True)
class MeltSheet:
    """One page.

    Parameters
    ----------
    beside : the other melts of the same firing.
    done : whether the melt is in the log already.
    """

    melt: PlannedMelt
    beside: tuple[int, ...]
    settings: tuple[SettingLine, ...]
    outcomes: tuple[OutcomeBox, ...]
    circumstances: tuple[str, ...]
    done: bool


def melt_sheets(plan: Plan, done: Collection[int] = ()) -> tuple[MeltSheet, ...]:
    """A sheet for every planned melt, in the order of the work.

    Parameters
    ----------
    done : numbers of the melts that are in the log.
    """
    series = plan.series
    boxes = tuple(_box(series, outcome) for outcome in series.outcomes)
    beside = {
        m.melt: tuple(o.melt for o in plan.melts if o.firing == m.firing and o.melt != m.melt) for m in plan.melts
    }
    circumstances = tuple(
        f"{c.label or c.name}{f' ({c.unit})' if c.unit else ''}{': ' + ' / '.join(c.options) if c.options else ''}"
        for c in series.circumstances
    )
    return tuple(
        MeltSheet(melt, beside[melt.melt], _lines(series, melt), boxes, circumstances, melt.melt in done)
        for melt in sorted(plan.melts, key=lambda m: m.order)
    )


def _lines(series: MeltSeries, melt: PlannedMelt) -> tuple[SettingLine, ...]:
    return tuple(
        SettingLine(
            title=factor.title,
            planned=factor.show(float(value)) if isinstance(factor, Amount) else str(value),
            unit=factor.unit if isinstance(factor, Amount) else "",
            shared=factor.set_per == "firing",
        )
        for factor in series.factors
        for value in [melt.settings[factor.name]]
    )


def _box(series: MeltSeries, outcome: Outcome) -> OutcomeBox:
    words = {"pass": ("yes", "no"), "grade": outcome.grades, "measured": ()}[outcome.kind]
    only_if = ""
    if outcome.after is not None:
        before = series.outcome(outcome.after)
        only_if = f"only if {before.name} was {_good_words(before)}"
    return OutcomeBox(
        outcome.title, only_if, words, outcome.unit, "" if outcome.kind == "pass" else _good_words(outcome)
    )


def _good_words(outcome: Outcome) -> str:
    if outcome.kind == "pass":
        return "yes"
    if isinstance(outcome.good, tuple):
        return " or ".join(outcome.good)
    return f"{outcome.good} {outcome.unit}".strip() if outcome.good is not None else ""


def sheets_page(plan: Plan, done: Collection[int] = ()) -> str:
    """Every sheet as one self-contained HTML page that prints one melt a page on A4 or Letter."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("meltdoe.sheets", "wording"), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    cautions: tuple[Caution, ...] = cautions_of(plan.series, reached_celsius(plan.series, plan.raw))
    return environment.get_template("sheets.html.j2").render(
        series=plan.series, sheets=melt_sheets(plan, done), cautions=cautions
    )
