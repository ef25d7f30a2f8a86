"""A drift is found, not invented, and not confused with the settings. All series are invented."""

from __future__ import annotations

import numpy as np
import pytest
from invented_series import WORDS, Row, fills, fitted, passes
from scipy.special import expit

from meltdoe.fit.checks.drift import drifts
from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.series import Amount, MeltSeries, Outcome

SPREAD = [10.0, 40, 25, 35, 15, 30, 20, 40, 10, 25, 35, 15, 30, 20, 25, 40]


def scattered(change: float, seed: int = 2) -> list[Row]:
    """Fill of melts in a mixed order of settings, falling by `change` from the first to the last."""
    rng = np.random.default_rng(seed)
    return [
        (f, WORDS[(i // 2) % 2], 60 + 0.4 * f - change * i / 15 + float(rng.normal(0, 2))) for i, f in enumerate(SPREAD)
    ]


def test_a_falling_fill_is_found_with_its_size() -> None:
    (found,) = drifts(fitted(fills(scattered(30.0))))
    assert found.finding == "drift"
    assert found.effect is not None
    assert found.effect.value_from is not None
    assert found.effect.value_to is not None
    assert found.effect.value_to - found.effect.value_from == pytest.approx(-30, abs=5)
    assert found.effect.p_value is not None
    assert found.effect.p_value < 0.01


def test_no_drift_is_said_with_what_could_have_been_shown() -> None:
    (found,) = drifts(fitted(fills(scattered(0.0))))
    assert found.finding == "no sign"
    # sd 2 over 16 melts at even steps of -1..1: SS = 6.04, so 2 * 2.486 * 2 / sqrt(SS) = 4.0, more beside settings
    assert 3.0 < found.could_show < 6.5
    assert found.shared < 0.3


def test_passes_that_stop_halfway() -> None:
    rows: list[Row] = [(f, WORDS[(i // 2) % 2], i < 8) for i, f in enumerate(SPREAD)]
    (found,) = drifts(fitted(passes(rows)))
    assert found.finding == "drift"
    assert found.effect is not None
    assert found.effect.chance_from is not None
    assert found.effect.chance_to is not None
    assert found.effect.chance_from > 0.7 > 0.3 > found.effect.chance_to


def test_what_passes_could_show_is_worked_out_by_hand() -> None:
    """Settings at right angles to the order: SS left is that of the order; slope (1.645 + 0.842) / sqrt(p (1-p) SS)."""
    rows: list[Row] = [(25.0, "tight", i % 2 == 0) for i in range(16)]
    (found,) = drifts(fitted(passes(rows)))
    order = np.linspace(-1, 1, 16)
    slope = (1.6449 + 0.8416) / np.sqrt(0.25 * (order**2).sum())
    assert found.could_show == pytest.approx(float(expit(slope) - expit(-slope)), rel=1e-3)


def test_settings_tried_in_rising_order_are_not_told_from_a_drift() -> None:
    rows: list[Row] = [(f, WORDS[i % 2], f > 25) for i, f in enumerate(sorted(SPREAD))]
    (found,) = drifts(fitted(passes(rows)))
    assert found.finding == "mixed up"
    assert found.goes_along == ("flux",)


def test_too_few_firings_say_nothing() -> None:
    few = scattered(0.0)[:3]
    assert drifts(fitted(fills(few)))[0].finding == "too few"
    one_firing = passes([(f, WORDS[i % 2], i > 2) for i, f in enumerate(SPREAD[:6])], firings=[1] * 6)
    assert drifts(fitted(one_firing))[0].finding == "too few"


def test_a_factor_called_order_does_not_stand_in_the_way() -> None:
    series = MeltSeries("invented", (Amount("order", 0, 1),), (Outcome("poured", "pass"),))
    log = Log(series, tuple(Entry(i, i, {"order": float(i % 2)}, {"poured": i % 3 > 0}) for i in range(1, 9)))
    (found,) = drifts(fit_chain(series, log))
    assert found.finding == "no sign"
