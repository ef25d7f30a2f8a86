"""Least and greatest settings for a chance that is wanted."""

from __future__ import annotations

import numpy as np
import pytest

from meltdoe.fit.stages.phrases import percent
from meltdoe.fit.stages.stage_chain import ChainFit, fit_chain
from meltdoe.fit.stages.thresholds import threshold
from meltdoe.log.melt_log import Entry, Log
from meltdoe.series import Amount, Choice, MeltSeries, Ordered, Outcome

FACTORS = (
    Amount("flux", 10, 40, unit="wt%"),
    Ordered("grain", ("fine", "medium", "coarse")),
    Choice("lid", ("no", "yes")),
)
SERIES = MeltSeries("invented", FACTORS, (Outcome("poured", "pass"),), seed=3)


def split_at(border: float, rising: bool = True) -> ChainFit:
    flux = np.linspace(10, 40, 16)
    entries = tuple(
        Entry(
            i,
            i,
            {"flux": float(f), "grain": ("fine", "medium", "coarse")[i % 3], "lid": ("no", "yes")[i % 2]},
            {"poured": bool((f > border) == rising)},
        )
        for i, f in enumerate(flux, 1)
    )
    return fit_chain(SERIES, Log(SERIES, entries))


def test_a_perfect_split_still_has_a_threshold_with_an_interval() -> None:
    found = threshold(split_at(25).stage("poured"), "flux", 0.8)
    assert found.direction == "at least"
    assert found.low < found.value < found.high
    assert 22 < found.value < 34
    assert found.probability_beyond_range < 0.1
    total = found.probability_within + found.probability_beyond_range + found.probability_throughout
    assert total == pytest.approx(1)
    assert found.sentence.startswith("Flux at least ")
    assert "wt%" in found.sentence


def test_where_every_setting_is_enough_no_least_one_is_named() -> None:
    found = threshold(split_at(-1).stage("poured"), "flux", 0.5)
    assert found.probability_throughout >= 0.5
    assert found.sentence == (
        "Flux for poured with a chance of 50 %: probably anywhere in its range, the other factors held; chance that "
        f"all of it is enough: {percent(found.probability_throughout)}."
    )


def test_a_falling_chance_has_a_greatest_setting() -> None:
    found = threshold(split_at(25, rising=False), "flux", 0.8)
    assert found.direction == "at most"
    assert found.low < found.value < found.high
    assert 16 < found.value < 28


def test_a_higher_chance_asks_for_more() -> None:
    stage = split_at(22).stage("poured")
    values = [threshold(stage, "flux", chance).value for chance in (0.3, 0.5, 0.7, 0.9)]
    assert values == sorted(values)
    assert values[0] < values[-1]


def test_a_chance_at_the_threshold_is_the_chance_asked_for() -> None:
    """In each draw the chance at its own crossing is the one wanted; so the medians agree closely."""
    stage = split_at(25).stage("poured")
    found = threshold(stage, "flux", 0.5, at={"grain": "fine", "lid": "yes"})
    raw = SERIES.raw_table([{"flux": found.value, "grain": "fine", "lid": "yes"}])
    assert np.median(stage.chance_draws(raw)) == pytest.approx(0.5, abs=0.03)
    assert found.at == {"grain": "fine", "lid": "yes"}


def test_without_melts_most_of_the_probability_is_outside_the_range() -> None:
    found = threshold(fit_chain(SERIES, Log(SERIES)), "flux", 0.9)
    assert found.probability_beyond_range > 0.4
    assert (found.low, found.high) == pytest.approx((10, 40))
    assert "beyond" in found.sentence or "not within its range" in found.sentence


def test_an_ordered_factor_crosses_at_one_of_its_options() -> None:
    found = threshold(split_at(15), "grain", 0.5, at={"flux": 20.0})
    assert {found.value, found.low, found.high} <= {0.0, 1.0, 2.0}


def test_a_choice_has_no_threshold_and_a_chance_lies_between_0_and_1() -> None:
    chain = split_at(25)
    with pytest.raises(ValueError, match="no order"):
        threshold(chain, "lid", 0.8)
    with pytest.raises(ValueError, match="between 0 and 1"):
        threshold(chain, "flux", 1.0)
