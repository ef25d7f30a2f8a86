"""What is worth a second look in the log though it may well be right: never a problem, always a remark.

A kiln may overshoot, a series may go on outside its ranges and a clock may be wrong; it may also be a slip of the pen.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Sequence

from meltdoe.log.entry import key_text
from meltdoe.log.melt_log import Entry
from meltdoe.series.factor import Amount
from meltdoe.series.melt_series import MeltSeries
from meltdoe.wording import melts_phrase

__all__ = ["circumstance_remarks", "entry_remarks", "firing_remarks", "log_remarks"]


def entry_remarks(
    series: MeltSeries, entry: Entry, today: datetime.date, of: Collection[str] | None = None
) -> tuple[str, ...]:
    """Settings outside their range or beyond a limit, and a date that is still to come.

    Parameters
    ----------
    of : the factors, and "date", that are looked at; all where left out.
    """
    of = {*series.factor_names, "date"} if of is None else of
    said = []
    for factor in series.factors:
        if isinstance(factor, Amount) and factor.name in of and factor.name in entry.settings:
            value = float(entry.settings[factor.name])
            if not factor.low <= value <= factor.high and value != factor.earlier:
                said.append(f"{series.show({factor.name: value})} lies outside {factor.low:g} to {factor.high:g}")
    row = series.raw(entry.settings)
    columns = {name: row[i : i + 1] for i, name in enumerate(series.factor_names)}
    for limit in series.limits:
        names = [name for name in series.factor_names if name in limit.comparison.names]
        known = entry.settings.keys() >= set(names)
        if known and not limit.holds(columns)[0] and set(of) & set(names):
            shown = series.show({name: entry.settings[name] for name in names})
            said.append(f"{shown}: beyond the limit {limit.keep}" + (f" ({limit.why})" if limit.why else ""))
    if "date" in of and entry.date is not None and entry.date > today:
        said.append(f"the date {entry.date} is still to come")
    return tuple(said)


def firing_remarks(series: MeltSeries, entries: Sequence[Entry], entry: Entry) -> tuple[str, ...]:
    """Where a melt has another setting than an earlier one of its firing, of a factor that a firing has in common."""
    beside = next((other for other in entries if other.firing == entry.firing and other.melt < entry.melt), None)
    if beside is None:
        return ()
    return tuple(
        f"{series.show({factor.name: entry.settings[factor.name]})}, though melt {beside.melt} of the same firing has "
        f"{series.show({factor.name: beside.settings[factor.name]})}"
        for factor in series.factors
        if factor.set_per == "firing"
        and factor.name in entry.settings.keys() & beside.settings.keys()
        and entry.settings[factor.name] != beside.settings[factor.name]
    )


def circumstance_remarks(series: MeltSeries, entries: Sequence[Entry]) -> tuple[tuple[str, tuple[int, ...]], ...]:
    """Circumstances that are on record for some melts and blank for others, with the melts where they are blank."""
    found = []
    for circumstance in series.nuisances:  # what was weighed is said only where it was not the recipe
        blank = sorted({entry.melt for entry in entries if circumstance.name not in entry.circumstances})
        if blank and any(circumstance.name in entry.circumstances for entry in entries):
            found.append((circumstance.name, tuple(blank)))
    return tuple(found)


def log_remarks(series: MeltSeries, entries: Sequence[Entry], today: datetime.date) -> tuple[str, ...]:
    """Every remark on a whole log, as sentences that name the melts."""
    said = [
        f"{key_text((entry.melt, entry.mould), series)}: {remark}"
        for entry in entries
        for remark in (*entry_remarks(series, entry, today), *firing_remarks(series, entries, entry))
    ]
    for name, blank in circumstance_remarks(series, entries):
        said.append(f"{name} is blank for {melts_phrase(blank)}, and on record for others")
    return tuple(said)
