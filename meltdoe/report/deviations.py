"""Where the melts left the plan: other settings or firings, melts not made, melts that were never planned."""

from __future__ import annotations

from collections.abc import Mapping

from meltdoe.fit.stages.phrases import capital, melts_phrase
from meltdoe.log.melt_log import Log
from meltdoe.plans.melt_plan import Plan
from meltdoe.series.factor import Amount, Setting
from meltdoe.series.melt_series import MeltSeries

__all__ = ["deviation_sentences", "moved"]

_SAID_ONE_BY_ONE = 6  # melts up to which every setting that was not as planned is told for itself


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


def deviation_sentences(log: Log, plan: Plan) -> tuple[str, ...]:
    """Where the melts left the plan: other settings or firings, melts not made, melts that were never planned."""
    series, planned = log.series, {melt.melt: melt for melt in plan.melts}
    said, small = _many_small(log, plan)
    for entry in sorted(log.entries, key=lambda e: (e.melt, e.mould)):
        there = planned.get(entry.melt)
        if there is None:
            continue
        names = [name for name in moved(series, entry.settings, there.settings) if name not in small]
        parts = [
            f"{series.show({name: entry.settings[name]})} instead of {series.show({name: there.settings[name]})}"
            for name in names
        ]
        parts += [f"firing {entry.firing} instead of {there.firing}"] if entry.firing != there.firing else []
        mould = f", mould {entry.mould}" if series.moulds_per_melt > 1 else ""
        if parts:
            said.append(f"Melt {entry.melt}{mould}: {'; '.join(parts)}.")
    left = sorted(planned.keys() - log.melt_numbers)
    more = sorted(log.melt_numbers - planned.keys())
    if left and log.entries:
        said.append(f"Planned but not made so far: {melts_phrase(left)}.")
    if more:
        said.append(f"Made beyond the plan: {melts_phrase(more)}.")
    return tuple(said)


def _many_small(log: Log, plan: Plan) -> tuple[list[str], set[str]]:
    """Amounts that hardly any melt kept to, by a sentence each; and their names, to be left out of the melts."""
    series, planned = log.series, {melt.melt: melt for melt in plan.melts}
    said, names = [], set()
    for factor in series.factors:
        if not isinstance(factor, Amount):
            continue
        off: list[tuple[float, int, float, float]] = []
        for entry in log.entries:
            there = planned.get(entry.melt)
            if there is not None and factor.name in moved(series, entry.settings, there.settings):
                here, wanted = float(entry.settings[factor.name]), float(there.settings[factor.name])
                off.append((abs(here - wanted), entry.melt, here, wanted))
        melts = sorted({melt for _, melt, _, _ in off})
        if len(melts) <= _SAID_ONE_BY_ONE:
            continue
        size, melt, here, wanted = max(off, key=lambda one: (one[0], -one[1]))
        names.add(factor.name)
        said.append(
            f"{capital(factor.name.replace('_', ' '))} was not as planned in {len(melts)} of "
            f"{len(planned.keys() & log.melt_numbers)} melts, by at most {factor.show(float(f'{size:.6g}'))}: "
            f"melt {melt} had {factor.show(here)} instead of {factor.show(wanted)}. "
            "All of them stand in the table of every melt."
        )
    return said, names
