"""Repeats and grades against the model. All series are invented."""

from __future__ import annotations

import numpy as np
import pytest
from invented_series import Row, fills, fitted, passes

from meltdoe.fit.checks.model_checks import proportionality_check, repeat_check, repeated_settings
from meltdoe.fit.classical.least_squares import lack_of_fit, least_squares
from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.series import Amount, MeltSeries, Outcome, parse_term

LEVELS = [10.0, 10.0, 20.0, 20.0, 30.0, 30.0, 40.0, 40.0]
BENT = [50.0, 51.0, 70.0, 69.0, 71.0, 70.5, 52.0, 51.0]


def straight_line(values: list[float], levels: list[float] = LEVELS) -> tuple[MeltSeries, Log]:
    outcome = Outcome("fill", "measured", unit="mm")
    series = MeltSeries("invented", (Amount("flux", 10, 40, step=5),), (outcome,), terms=(parse_term("flux"),))
    entries = (Entry(i, i, {"flux": f}, {"fill": v}) for i, (f, v) in enumerate(zip(levels, values, strict=True), 1))
    return series, Log(series, tuple(entries))


def test_exact_repeats_give_the_textbook_test() -> None:
    found = repeat_check(fitted(straight_line(BENT)).stages[0])
    assert found is not None
    assert found.repeats == ((1, 2), (3, 4), (5, 6), (7, 8))
    x, y = np.array(LEVELS), np.array(BENT)
    by_hand = lack_of_fit(least_squares(np.column_stack([np.ones(8), x]), y), y, x[:, None])
    assert found.test is not None
    assert (found.test.statistic, found.test.df_pure) == (pytest.approx(by_hand.statistic), 4)
    assert found.test.p_value < 0.001
    # pairs that differ by 1, 1, 0.5 and 1: (0.5 + 0.5 + 0.125 + 0.5) / 4 = 0.40625
    assert found.scatter == pytest.approx(np.sqrt(0.40625))


def test_settings_on_the_same_step_are_repeats() -> None:
    near = [10.4, 9.8, 20.3, 19.9, 30.0, 30.8, 40.0, 41.0]
    found = repeat_check(fitted(straight_line(BENT, near)).stages[0])
    assert found is not None
    assert found.repeats == ((1, 2), (3, 4), (5, 6), (7, 8))
    series, log = straight_line(BENT, near)
    assert len(np.unique(repeated_settings(series, log.raw), axis=0)) == 4


def test_a_model_that_fits_is_not_accused() -> None:
    straight = [50.0, 51.0, 60.2, 59.4, 70.5, 69.8, 80.1, 80.6]
    found = repeat_check(fitted(straight_line(straight)).stages[0])
    assert found is not None
    assert found.test is not None
    assert found.test.p_value > 0.1


def test_without_repeats_or_for_passes_there_is_no_check() -> None:
    levels = [10.0, 15, 20, 25, 30, 35, 40, 45]
    assert repeat_check(fitted(straight_line(BENT, levels)).stages[0]) is None
    rows: list[Row] = [(10, "tight", True), (10, "tight", False), (40, "edge", True)]
    assert repeat_check(fitted(passes(rows)).stages[0]) is None


def test_repeats_without_rows_left_over_say_why() -> None:
    rows: list[Row] = [(10, "tight", 60.0), (10, "tight", 62.0), (40, "tight", 70.0), (10, "edge", 75.0)]
    found = repeat_check(fitted(fills(rows)).stages[0])
    assert found is not None
    assert found.test is None
    assert "a term for every setting" in found.why_not


def test_grades_are_checked_for_one_slope() -> None:
    """Flux parts none from some but works against open: two slopes of opposite sign; against one slope for both."""
    outcome = Outcome("cracks", "grade", grades=("none", "some", "open"), good=("none",))
    series = MeltSeries("invented", (Amount("flux", 0, 1),), (outcome,), terms=(parse_term("flux"),))

    def p_value(low: list[int], high: list[int]) -> float:
        words = [(0.0, g) for g, n in zip(outcome.grades, low, strict=True) for _ in range(n)]
        words += [(1.0, g) for g, n in zip(outcome.grades, high, strict=True) for _ in range(n)]
        entries = tuple(Entry(i, i, {"flux": f}, {"cracks": g}) for i, (f, g) in enumerate(words, 1))
        found = proportionality_check(fit_chain(series, Log(series, entries), n_draws=400).stages[0])
        assert found is not None
        return found.p_value

    assert p_value([8, 1, 8], [2, 14, 2]) < 0.01
    assert p_value([10, 5, 3], [3, 5, 10]) > 0.3
    assert proportionality_check(fitted(passes([(10, "tight", True)])).stages[0]) is None
