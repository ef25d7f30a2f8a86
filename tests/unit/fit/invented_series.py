"""Small invented series for the checks on a fitted chain."""

from __future__ import annotations

from collections.abc import Sequence

from meltdoe.fit.stages.stage_chain import ChainFit, fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.series import Amount, Belief, Choice, GoodRange, MeltSeries, Outcome, parse_term
from meltdoe.series.outcome import Seen

FLUX = Amount("flux", 10, 40, unit="wt%", step=5)
PACKING = Choice("packing", ("tight", "edge"))
POURED = Outcome("poured", "pass")
FILL = Outcome("fill", "measured", unit="%", bounds=(0, 100), good=GoodRange(low=80))
MAINS = (parse_term("flux"), parse_term("packing"))
WORDS = ("tight", "edge")

Row = tuple[float, str, Seen]


def passes(
    rows: Sequence[Row], *, beliefs: tuple[Belief, ...] = (), firings: Sequence[int] = ()
) -> tuple[MeltSeries, Log]:
    """Flux, packing and whether it poured, one firing a melt unless said otherwise."""
    return _series(POURED, rows, beliefs, firings)


def fills(rows: Sequence[Row], *, firings: Sequence[int] = ()) -> tuple[MeltSeries, Log]:
    """Flux, packing and how much was filled."""
    return _series(FILL, rows, (), firings)


def _series(
    outcome: Outcome, rows: Sequence[Row], beliefs: tuple[Belief, ...], firings: Sequence[int]
) -> tuple[MeltSeries, Log]:
    series = MeltSeries("invented", (FLUX, PACKING), (outcome,), beliefs=beliefs, terms=MAINS, seed=5)
    entries = tuple(
        Entry(i, firings[i - 1] if firings else i, {"flux": flux, "packing": packing}, {outcome.name: seen})
        for i, (flux, packing, seen) in enumerate(rows, 1)
    )
    return series, Log(series, entries)


def fitted(case: tuple[MeltSeries, Log]) -> ChainFit:
    return fit_chain(*case)


def without(case: tuple[MeltSeries, Log], melt: int) -> ChainFit:
    """The chain fitted to all melts but one."""
    series, log = case
    return fit_chain(series, Log(series, tuple(entry for entry in log.entries if entry.melt != melt)))
