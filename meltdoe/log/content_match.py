"""Whose column is this, when its heading says nothing? What stands below it is compared with what a column may hold.

Such a match is a guess and is shown as one. A heading is matched only where a single column of the log is left for it.
As many columns of yes and no as there are such outcomes stand for them in the order of the work, where no row then
contradicts itself.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial

from meltdoe.log.cell_words import read_circumstance, read_outcome, read_setting, says_unknown
from meltdoe.log.column_match import ColumnMatch, MatchedColumn
from meltdoe.log.dates import day_order, read_date
from meltdoe.log.numbers import CellFault, DecimalMark, read_number, read_whole
from meltdoe.series.factor import Amount, Factor
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import Outcome, Unseen

__all__ = ["match_contents"]

_BEYOND = 0.5  # share of a range by which old attempts may lie outside it
_FEWEST = 2  # cells that are filled in


def match_contents(
    series: MeltSeries,
    match: ColumnMatch,
    cells: Mapping[str, Sequence[str]],
    told: Mapping[str, str],
    decimal: DecimalMark | None,
) -> ColumnMatch:
    """The match with those headings taken in whose cells leave a single column for them.

    Parameters
    ----------
    cells : by heading, top to bottom.
    told : headings that the user has settled; they are left as they are.
    decimal : the decimal mark of the table, where it is known.
    """
    taken = {column.name for column in match.matched}
    left = {heading: cells[heading] for heading in match.unmatched if heading and heading not in told}
    fits = {heading: _columns(series, column, decimal) - taken for heading, column in left.items()}
    found: dict[str, str] = {}
    while True:
        single = {heading: min(names) for heading, names in fits.items() if len(names) == 1}
        sure = {heading: name for heading, name in single.items() if list(single.values()).count(name) == 1}
        if not sure:
            break
        found |= sure
        fits = {heading: names.difference(sure.values()) for heading, names in fits.items() if heading not in sure}
    found |= _in_order(series, left, fits)
    columns = {column.heading: column for column in match.matched}
    columns |= {heading: MatchedColumn(heading, name, "contents") for heading, name in found.items()}
    return replace(
        match,
        matched=tuple(columns[heading] for heading in cells if heading in columns),
        unmatched=tuple(heading for heading in match.unmatched if heading not in found),
    )


def _columns(series: MeltSeries, column: Sequence[str], decimal: DecimalMark | None) -> frozenset[str]:
    """The columns of the log that may hold every one of the cells that are filled in."""
    filled = [cell for cell in column if cell.strip() and not says_unknown(cell)]
    if len(filled) < _FEWEST:
        return frozenset()
    names = {f.name for f in series.factors if _all(filled, partial(_near, f, decimal=decimal))}
    judged = [outcome for outcome in series.outcomes if outcome.kind != "measured" or outcome.bounds]
    names |= {o.name for o in judged if _seen(o, filled, decimal)}
    worded = [circumstance for circumstance in series.circumstances if circumstance.options]
    names |= {c.name for c in worded if _all(filled, partial(read_circumstance, c, decimal=decimal))}
    names |= {"melt"} if _counts_up(filled, decimal) else set()
    dated = not _all(filled, read_number) and _all(filled, partial(read_date, order=day_order(filled)))
    return frozenset(names | ({"date"} if dated else set()))


def _all(cells: Sequence[str], read: Callable[[str], object]) -> bool:
    """Whether every cell can be read."""
    try:
        for cell in cells:
            read(cell)
    except CellFault:
        return False
    return True


def _near(factor: Factor, cell: str, *, decimal: DecimalMark | None) -> None:
    """Read a setting; CellFault where it lies far beyond the range of its factor."""
    value = read_setting(factor, cell, decimal)
    if isinstance(factor, Amount):
        reach = _BEYOND * (factor.high - factor.low)
        if not factor.low - reach <= float(value) <= factor.high + reach:
            raise CellFault(f"{factor.name} is far beyond its range", "name the column that is meant")


def _seen(outcome: Outcome, cells: Sequence[str], decimal: DecimalMark | None) -> bool:
    """Whether an outcome can be what the cells say, at least one of them more than later or lost."""
    try:
        return any(not isinstance(seen, Unseen) for seen in [read_outcome(outcome, cell, decimal) for cell in cells])
    except CellFault:
        return False


def _counts_up(cells: Sequence[str], decimal: DecimalMark | None) -> bool:
    try:
        numbers = [read_whole(cell, decimal) for cell in cells]
    except CellFault:
        return False
    return numbers == list(range(numbers[0], numbers[0] + len(numbers))) and numbers[0] >= 1


def _in_order(
    series: MeltSeries, left: Mapping[str, Sequence[str]], fits: Mapping[str, frozenset[str]]
) -> dict[str, str]:
    """As many headings as outcomes that any of them can stand for, matched in the order of the work."""
    for names in set(fits.values()):
        headings = [heading for heading in left if fits.get(heading) == names]
        outcomes = [outcome for outcome in series.outcomes if outcome.name in names]
        if len(names) == len(outcomes) == len(headings) > 1 and _no_contradiction(series, outcomes, headings, left):
            return {heading: outcome.name for heading, outcome in zip(headings, outcomes, strict=True)}
    return {}


def _no_contradiction(
    series: MeltSeries, outcomes: Sequence[Outcome], headings: Sequence[str], left: Mapping[str, Sequence[str]]
) -> bool:
    """Whether nothing was seen behind an outcome that was bad."""
    names = [outcome.name for outcome in outcomes]
    for after in (outcome for outcome in outcomes if outcome.after in names):
        before = series.outcome(str(after.after))
        pairs = zip(left[headings[names.index(before.name)]], left[headings[names.index(after.name)]], strict=True)
        if any(then.strip() and not before.is_good(read_outcome(before, first)) for first, then in pairs):
            return False
    return True
