"""Forecasts know only the past, and are judged fairly. All series are invented."""

from __future__ import annotations

import datetime
from dataclasses import replace

import numpy as np
import pytest
from invented_series import Row, fitted, passes

from meltdoe.fit.checks.past_fits import PastFits, firings_in_order
from meltdoe.fit.checks.past_predictions import PastPredictions, past_predictions
from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.log.melt_log import Log

ROWS: list[Row] = [
    (10, "tight", False), (40, "edge", True), (25, "tight", True),
    (20, "edge", False), (30, "tight", True), (15, "edge", False),
]  # fmt: skip


@pytest.fixture(scope="module")
def past() -> PastPredictions:
    return past_predictions(fitted(passes(ROWS)))


def test_every_melt_is_foretold_and_the_first_from_the_prior_alone(past: PastPredictions) -> None:
    assert [f.entry.melt for f in past.forecasts] == [1, 2, 3, 4, 5, 6]
    assert [f.good for f in past.forecasts] == [False, True, True, False, True, False]
    series, _ = passes(ROWS)
    prior = fit_chain(series, Log(series), n_draws=800, effort="draft").stages[0]
    assert past.forecasts[0].chance == pytest.approx(prior.chance_draws(np.array([[10.0, 0]])).mean(), abs=1e-12)
    assert [f.chance for f in past.successes] == [f.chance for f in past.forecasts]  # one outcome is the whole chain


def test_what_comes_later_changes_no_forecast(past: PastPredictions) -> None:
    turned = [*ROWS[:4], (30, "tight", False), (15, "edge", True)]
    other = past_predictions(fitted(passes(turned)))
    assert [f.chance for f in other.forecasts[:5]] == [f.chance for f in past.forecasts[:5]]
    assert other.forecasts[5].chance != past.forecasts[5].chance


def test_melts_of_one_firing_are_foretold_without_each_other() -> None:
    firings = [1, 1, 2, 2, 3, 3]
    first = past_predictions(fitted(passes(ROWS, firings=firings)))
    turned = [(10, "tight", True), *ROWS[1:]]
    second = past_predictions(fitted(passes(turned, firings=firings)))
    assert [f.chance for f in first.forecasts[:2]] == [f.chance for f in second.forecasts[:2]]
    assert first.forecasts[2].chance != second.forecasts[2].chance


def test_a_long_series_is_fitted_again_where_only_its_past_says_so() -> None:
    rows: list[Row] = [(10 + 2 * (i % 16), "tight" if i % 3 else "edge", i % 5 > 1) for i in range(14)]
    chain = fitted(passes(rows))
    fits = PastFits(chain)
    assert fits.stops == (0, 1, 2, 3, 4, 5, 6, 8, 11)
    found = past_predictions(chain, fits)
    assert found.together
    assert [f.entry.melt for f in found.forecasts] == list(range(1, 15))
    assert len(fits.after(11).log.entries) == 11
    # melts 12 to 14 are foretold from the eleven before them all
    series, _ = passes(rows)
    raw = series.raw_table(f.entry.settings for f in found.forecasts[11:])
    foretold = fits.after(11).stages[0].chance_draws(raw).mean(axis=0)
    np.testing.assert_allclose([f.chance for f in found.forecasts[11:]], foretold, rtol=1e-12)
    shorter = past_predictions(fitted(passes(rows[:12])))
    assert [f.chance for f in shorter.forecasts] == [f.chance for f in found.forecasts[:12]]


def test_too_few_melts_are_not_judged() -> None:
    past = past_predictions(fitted(passes(ROWS[:4])))
    assert past.forecasts == ()
    assert past.why_not == "too few melts (4) to judge past predictions by; 5 are wanted"


def test_summaries_by_hand(past: PastPredictions) -> None:
    forecasts = tuple(replace(f, chance=0.5) for f in past.forecasts)
    even = PastPredictions(forecasts, ())
    assert (even.expected_good, even.seen_good, even.z, even.brier) == (3.0, 3, 0.0, 0.25)
    sure = PastPredictions(tuple(replace(f, chance=0.9, good=False) for f in forecasts), ())
    assert sure.z == pytest.approx(-5.4 / np.sqrt(6 * 0.09))
    assert (len(sure.between(0.5, 1.1)), len(sure.between(0, 0.5))) == (6, 0)


def test_dates_give_the_order_where_all_are_known() -> None:
    _, log = passes(ROWS[:3])
    dated = tuple(replace(e, date=datetime.date(2026, 6, 10 - e.melt)) for e in log.entries)
    assert firings_in_order(dated) == (3, 2, 1)
    assert firings_in_order((replace(dated[0], date=None), *dated[1:])) == (1, 2, 3)
