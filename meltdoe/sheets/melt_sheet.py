"""Melt sheets: one printed page a firing with its schedule, one a melt with weights, boxes to tick and cautions."""

from __future__ import annotations

from collections.abc import Collection

from meltdoe.charge.earlier_melts import EarlierMelt
from meltdoe.charge.shelf import Shelf, shelf
from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.series.factor import Amount
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome
from meltdoe.sheets.bench_glass import bench_glass
from meltdoe.sheets.firing_sheet import FiringSheet, firing_sheet
from meltdoe.sheets.page_size import cautions_size, firing_size, melt_size
from meltdoe.sheets.series_cautions import cautions_of_melt, cautions_of_plan
from meltdoe.sheets.sheet_lines import MeltSheet, OutcomeBox, SettingLine

__all__ = ["melt_sheets", "sheets_page"]


def melt_sheets(plan: Plan, done: Collection[int] = (), on_shelf: Shelf | None = None) -> tuple[MeltSheet, ...]:
    """A sheet for every planned melt, in the order of the work.

    Parameters
    ----------
    done : numbers of the melts that are in the log.
    on_shelf : the materials, by default with the glass of the planned melts themselves.
    """
    series = plan.series
    stocked = _stocked(plan, on_shelf)
    boxes = tuple(_box(series, outcome) for outcome in series.outcomes)
    beside = {
        m.melt: tuple(o.melt for o in plan.melts if o.firing == m.firing and o.melt != m.melt) for m in plan.melts
    }
    circumstances = tuple(
        f"{c.label or c.name}{f' ({c.unit})' if c.unit else ''}{': ' + ' / '.join(c.options) if c.options else ''}"
        for c in series.circumstances
        if series.recipe is None or c.name != series.recipe.weighed  # written down beside each weight
    )
    return tuple(
        MeltSheet(
            melt=melt,
            beside=beside[melt.melt],
            settings=_lines(series, melt),
            outcomes=boxes,
            circumstances=circumstances,
            done=melt.melt in done,
            glass=None if stocked is None else bench_glass(series, melt, stocked),
            cautions=cautions_of_melt(series, melt.settings, stocked),
        )
        for melt in sorted(plan.melts, key=lambda m: m.order)
    )


def _stocked(plan: Plan, on_shelf: Shelf | None) -> Shelf | None:
    if plan.series.recipe is None or on_shelf is not None:
        return on_shelf
    return shelf(plan.series, [EarlierMelt(melt.melt, melt.settings) for melt in plan.melts])


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
    only_if = ""
    if outcome.after is not None:
        before = series.outcome(outcome.after)
        only_if = f"only if {before.name} was {before.good_words}"
    good = "" if outcome.kind == "pass" else outcome.good_words
    return OutcomeBox(outcome.title, only_if, outcome.words, outcome.unit, good)


def sheets_page(plan: Plan, done: Collection[int] = (), on_shelf: Shelf | None = None) -> str:
    """Every sheet as one self-contained HTML page that prints on A4 or Letter: firings, their melts, cautions.

    Parameters
    ----------
    done, on_shelf : as `melt_sheets`.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("meltdoe.sheets", "wording"), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    series, stocked = plan.series, _stocked(plan, on_shelf)
    cautions = cautions_of_plan(series, [melt.settings for melt in plan.melts], stocked)
    sheets = melt_sheets(plan, done, stocked)
    pages = _pages(series, sheets)
    with_page = {firing.firing for firing, _ in pages if firing is not None}
    return environment.get_template("sheets.html.j2").render(
        series=series,
        pages=pages,
        with_page=with_page,
        cautions=cautions,
        firing_size=firing_size,
        melt_size=lambda sheet: melt_size(sheet, sheet.melt.firing in with_page),
        cautions_size=cautions_size(series, cautions),
    )


def _pages(series: MeltSeries, sheets: tuple[MeltSheet, ...]) -> list[tuple[FiringSheet | None, MeltSheet]]:
    """Every melt's sheet, with that of its firing before the first melt of it where there is something to say."""
    pages: list[tuple[FiringSheet | None, MeltSheet]] = []
    told: set[int] = set()
    for sheet in sheets:
        firing = sheet.melt.firing
        together = [other for other in sheets if other.melt.firing == firing]
        first = firing not in told
        told.add(firing)
        glasses = [other.glass for other in together if other.glass is not None]
        page = firing_sheet(series, [other.melt for other in together], glasses) if first else None
        pages.append((page, sheet))
    return pages
