"""What came to a series when melts were on record already: columns that the rows from before do not have.

Such rows are read as they were meant: a factor stands at the value that the series file gives for melts made before
(`earlier`), a circumstance is blank, and an outcome is not known yet where the melt got that far. A column that the
journal has ever held anything in is none of these: a table that lacks it was damaged.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from meltdoe.log.cell_words import setting_cell
from meltdoe.log.entry import Row, log_columns
from meltdoe.log.event import CHANGES_ROWS, Event
from meltdoe.series.factor import Amount, Factor
from meltdoe.series.melt_series import MeltSeries

__all__ = ["NewColumns", "earlier_cells", "how_it_was", "new_columns", "planned_cells"]


@dataclass(frozen=True, slots=True)
class NewColumns:
    """The columns of a series that no row of its journal speaks of, and what is to be said of other columns.

    Parameters
    ----------
    may_lack : columns that a table may be without.
    outcomes : those of them that are outcomes.
    mends : how to mend a column that is missing or not known, by its name, where that is not plain.
    """

    may_lack: frozenset[str] = frozenset()
    outcomes: frozenset[str] = frozenset()
    mends: Mapping[str, str] = field(default_factory=dict)


def earlier_cells(series: MeltSeries) -> Row:
    """The cells of rows from before a factor was one, by name of the factor."""
    return {factor.name: setting_cell(factor.earlier) for factor in series.factors if factor.earlier is not None}


def planned_cells(series: MeltSeries) -> Row:
    """The cells of melts still to be made, planned before a factor was one: the option that is left, or as it was."""
    cells = earlier_cells(series)
    for factor in series.factors:
        if not isinstance(factor, Amount) and factor.earlier in factor.gone:
            left = [option for option in factor.options if option not in factor.gone]
            cells[factor.name] = left[0]
    return cells


def how_it_was(factor: Factor, before: str) -> str:
    """How to mend that a table lacks the column of a factor.

    Parameters
    ----------
    before : what is older than the factor, where that is the reason.
    """
    value = f"{factor.low:g}" if isinstance(factor, Amount) else f'"{factor.options[0]}"'
    return (
        f"where {factor.name} came to series.toml after {before}, write under it there what it was until then, such as "
        f"earlier = {value}; else add the column to the first line"
    )


def new_columns(series: MeltSeries, events: Sequence[Event]) -> NewColumns:
    """Compare the columns of a series with those that its journal has ever held."""
    rows = [row for event in events if event.kind in CHANGES_ROWS for row in event.data.get("rows", ())]
    held = {column for row in rows for column in row}
    new = [column for column in log_columns(series) if column not in held]
    outcomes = frozenset(outcome.name for outcome in series.outcomes if outcome.name in new)
    factors = [factor for factor in series.factors if factor.name in new]
    circumstances = {circumstance.name for circumstance in series.circumstances if circumstance.name in new}
    mends = {factor.name: how_it_was(factor, "these melts") for factor in factors if factor.earlier is None}
    mends |= {
        column: f"where you took {column} out of series.toml, write the table without it: meltdoe check --rebuild"
        for column in held.difference(log_columns(series))
    }
    settled = {factor.name for factor in factors if factor.earlier is not None}
    return NewColumns(frozenset(settled | circumstances) | outcomes, outcomes, mends)
