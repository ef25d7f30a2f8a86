"""Castings of one melt are not independent melts. All series are invented."""

from __future__ import annotations

import numpy as np

from meltdoe.fit.stages.stage_chain import ChainFit, fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.series import Amount, MeltSeries, Outcome, parse_term

FLUX = Amount("flux", 10, 40, unit="wt%")
GOOD = (True, True, True, False, False, True)


def chain(moulds: int, seen_per: str = "mould") -> ChainFit:
    """Six melts of `moulds` castings that all turn out like the first."""
    outcome = Outcome("sharp", "pass", seen_per=seen_per)  # type: ignore[arg-type]
    series = MeltSeries("invented", (FLUX,), (outcome,), moulds_per_melt=moulds, terms=(parse_term("flux"),), seed=4)
    entries = (
        Entry(melt, melt, {"flux": 10.0 + 6 * melt - 6}, {"sharp": good}, mould=mould)
        for melt, good in enumerate(GOOD, 1)
        for mould in range(1, moulds + 1)
    )
    return fit_chain(series, Log(series, tuple(entries)))


def width(fit: ChainFit) -> float:
    raw = np.array([[25.0]])
    low, high = np.quantile(fit.success_draws(raw), [0.05, 0.95])
    return float(high - low)


def test_what_is_seen_once_for_a_melt_counts_once_however_many_moulds_it_fills() -> None:
    one, four = chain(1, "melt").stages[0], chain(4, "melt").stages[0]
    assert (four.n_seen, four.n_good) == (6, 4)
    assert np.array_equal(one.posterior.draws, four.posterior.draws)


def test_four_castings_of_each_melt_say_far_less_than_four_melts() -> None:
    castings = chain(4)
    outcome = Outcome("sharp", "pass")
    series = MeltSeries("invented", (FLUX,), (outcome,), terms=(parse_term("flux"),), seed=4)
    independent = tuple(
        Entry(4 * i + k, 4 * i + k, {"flux": 10.0 + 6 * i}, {"sharp": good})
        for i, good in enumerate(GOOD)
        for k in range(1, 5)
    )
    as_melts = fit_chain(series, Log(series, independent))
    assert castings.stages[0].data.group_kind == "melt"
    assert width(castings) > 1.25 * width(as_melts)
    assert any("castings of one melt are taken to share" in note for note in castings.stages[0].notes)
