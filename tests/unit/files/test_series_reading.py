"""What series.toml says arrives in the `MeltSeries`, and the kiln's ceiling and the limits bite."""

from __future__ import annotations

import time

import numpy as np
import pytest

from meltdoe.files.series.series_limits import can_be_kept
from meltdoe.files.series.series_toml import check_series_text
from meltdoe.series.belief import Belief, Circumstance
from meltdoe.series.budget import Budget, Kiln
from meltdoe.series.factor import Amount, Choice, Ordered
from meltdoe.series.limit import Limit
from meltdoe.series.limit_parser import parse_comparison
from meltdoe.series.melt_series import MeltSeries
from meltdoe.series.outcome import GoodRange, Outcome
from meltdoe.series.terms import Term
from meltdoe.units import Quantity

TEXT = """\
format = 1
title = "  Flux and\\theat "
goal = \"\"\"A whole
casting\"\"\"
target_chance = 0.7
seed = 0
budget = { melts = 14, firings = 6, money = 400, currency = "EUR" }
kiln.melts_per_firing = 3
kiln.max_temperature = "2300 degF"
mould.moulds_per_melt = 2

[[factor]]
name = "flux"
label = "Flux share"
kind = "amount"
unit = "wt%"
low = 15
high = 40
step = 0.5
[[factor]]
name = "peak"
kind = "amount"
low = "1100 °C"       # the unit comes from here
high = "2282 °F"
step = "18 °F"
set_per = "firing"
[[factor]]
name = "hold"
kind = "amount"
unit = "h"
low = "30 min"
high = 8
scale = "log"
[[factor]]
name = "packing"
kind = "ordered"
options = ["loose", "firm", "hard"]
set_per = "mould"
[[factor]]
name = "größe"
kind = "choice"
options = ["fine", "coarse"]

[[limit]]
keep = "flux + 0.1 * peak <= 160"
why = "boils over"

[[outcome]]
name = "contained"
question = "Did the charge stay in the crucible?"
kind = "pass"
[[outcome]]
name = "height"
kind = "measured"
unit = "mm"
bounds = [0, inf]
after = "contained"
good = "Between 0.5 in and 20"
[[outcome]]
name = "cracks"
kind = "grade"
grades = ["none", "hairline", "open", "shattered"]
after = "height"
good = ["hairline", "none"]
seen_per = "mould"

[cost]
firing = 9.5
[cost.loss]
contained = 45

[[belief]]
at = { flux = 20, peak = "2012 °F", "größe" = "fine" }
outcome = "contained"
chance = 0.6
worth = 2
[[belief]]
at = {}
outcome = "cracks"
chance = 0.5

[[term]]
use = "peak * flux"
[[term]]
use = "hold^2"

[[circumstance]]
name = "humidity"
label = "Humidity of the air"
unit = "%"
[[circumstance]]
name = "kiln_used"
options = ["old", "new"]
"""


@pytest.fixture(scope="module")
def series() -> MeltSeries:
    series, problems = check_series_text(TEXT)
    assert problems == ()
    assert series is not None
    return series


def test_every_key_is_kept(series: MeltSeries):
    assert series.title == "Flux and heat"
    assert series.goal == "A whole casting"
    assert (series.target_chance, series.seed, series.moulds_per_melt) == (0.7, 0, 2)
    assert series.budget == Budget(14, 6, 400.0, "EUR")
    assert series.kiln == Kiln(3, Quantity(2300.0, "°F"))
    assert series.factors == (
        Amount("flux", 15.0, 40.0, "Flux share", "wt%", 0.5),
        Amount("peak", 1100.0, 1250.0, "", "°C", 10.0, "linear", "firing"),
        Amount("hold", 0.5, 8.0, "", "h", None, "log"),
        Ordered("packing", ("loose", "firm", "hard"), "", "mould"),
        Choice("größe", ("fine", "coarse")),
    )
    assert series.outcomes == (
        Outcome("contained", "pass", "Did the charge stay in the crucible?"),
        Outcome("height", "measured", "", "mm", (), (0.0, np.inf), "contained", GoodRange(12.7, 20.0)),
        Outcome(
            "cracks", "grade", "", "", ("none", "hairline", "open", "shattered"), None, "height", ("none", "hairline"),
            "mould",
        ),
    )  # fmt: skip
    assert (series.costs.melt, series.costs.firing, series.costs.loss) == (0.0, 9.5, {"contained": 45.0})
    assert series.beliefs == (
        Belief({"flux": 20.0, "peak": 1100.0, "größe": "fine"}, "contained", 0.6, 2.0),
        Belief({}, "cracks", 0.5, 1.0),
    )
    assert series.terms == (Term((("flux", 1), ("peak", 1))), Term((("hold", 2),)))
    assert series.circumstances == (
        Circumstance("humidity", "Humidity of the air", "%"),
        Circumstance("kiln_used", options=("old", "new")),
    )


def test_defaults():
    factor = '[[factor]]\nname = "f"\nkind = "amount"\nlow = 0\nhigh = 1\n'
    series, problems = check_series_text(f'title = "t"\n{factor}[[outcome]]\nname = "o"\nkind = "pass"\n')
    assert problems == ()
    assert series == MeltSeries("t", (Amount("f", 0.0, 1.0),), (Outcome("o", "pass"),))


def test_the_kilns_ceiling_is_a_limit_on_temperatures_only(series: MeltSeries):
    automatic = series.limits[1:]
    assert [limit.keep for limit in automatic] == ["peak <= 1260"]
    assert automatic[0].why == "the kiln goes no higher than 2300 °F"
    settings = {"flux": 20.0, "peak": 1261.0, "hold": 1.0, "packing": "firm", "größe": "fine"}
    assert series.broken_limits(settings) == automatic
    assert series.broken_limits({**settings, "peak": 1260.0}) == ()
    assert not series.allowed(series.raw(settings)).any()


def test_the_ceiling_is_told_in_the_factors_own_unit():
    text = TEXT.replace('low = "1100 °C"', 'low = "2012 °F"').replace("0.1 * peak <= 160", "0.1 * peak <= 300")
    series, problems = check_series_text(text)
    assert problems == ()
    assert series is not None
    assert series.factor("peak") == Amount("peak", 2012.0, 2282.0, "", "°F", 18.0, "linear", "firing")
    assert series.limits[-1].keep == "peak <= 2300"


def _limits(*texts: str) -> list[Limit]:
    return [Limit(text, "", parse_comparison(text)) for text in texts]


@pytest.mark.parametrize(
    "texts",
    [
        ["a + b + c + d + e >= 299.95", "a + b + c + d + e <= 300.05"],  # parts that sum to a total
        ["a * b * c >= 999000", "a + b + c <= 300"],
        ["a - b >= 0", "b - a >= 0", "a + b + c + d >= 200", "a + b + c + d <= 200.1"],
        ["(a - 33.3)^2 + (b - 66.6)^2 + (c - 50)^2 + d^2 + e^2 <= 0.1"],
    ],
)
@pytest.mark.parametrize("step", [None, 0.1])
def test_thin_but_real_regions_are_found(texts: list[str], step: float | None):
    amounts = [Amount(name, 0.0, 100.0, step=step) for name in "abcde"]
    assert can_be_kept(amounts, _limits(*texts))


@pytest.mark.parametrize(
    "texts",
    [
        ["a + b + c + d + e > 500"],
        ["a + b + c >= 250", "a <= 50", "b + c <= 190"],
        ["a * b >= 100", "a + b <= 10"],
        ["(a - 33)^2 + (b - 66)^2 < -1"],
        ["0 / (a - a) <= 1"],
    ],
)
@pytest.mark.parametrize("step", [None, 0.1])
def test_empty_regions_are_seen_to_be_empty(texts: list[str], step: float | None):
    amounts = [Amount(name, 0.0, 100.0, step=step) for name in "abcde"]
    assert not can_be_kept(amounts, _limits(*texts))


def test_steps_count():
    half = _limits("a > 10.2", "a < 10.8")
    assert can_be_kept([Amount("a", 0.0, 20.0, step=0.5)], half)
    assert not can_be_kept([Amount("a", 0.0, 20.0, step=1.0)], half)
    assert can_be_kept([Amount("a", 0.0, 20.0)], half)


def test_many_factors_and_limits_are_judged_quickly():
    names = [f"f{i}" for i in range(40)]
    amounts = [Amount(name, 0.0, 100.0, step=0.1) for name in names]
    total = " + ".join(names)
    began = time.perf_counter()
    assert can_be_kept(amounts, _limits(f"{total} >= 100", f"{total} <= 100.5"))
    assert time.perf_counter() - began < 10


def test_an_option_that_is_gone_is_no_longer_allowed_and_its_melts_still_read():
    text = (
        'title = "x"\n[[factor]]\nname = "lid"\nkind = "choice"\noptions = ["none", "tin", "brick"]\n'
        'gone = ["none", "tin"]\nearlier = "none"\n[[factor]]\nname = "flux"\nkind = "amount"\nlow = 10\n'
        'high = 20\nearlier = 5\n[[outcome]]\nname = "whole"\nkind = "pass"\n'
    )
    series, problems = check_series_text(text)
    assert problems == ()
    assert (series.factor("lid").gone, series.factor("lid").earlier) == (("none", "tin"), "none")
    assert series.factor("flux").earlier == 5.0
    raw = series.raw_table([{"lid": lid, "flux": 12.0} for lid in ("none", "tin", "brick")])
    assert list(series.allowed(raw)) == [False, False, True]
    (broken,) = series.broken_limits({"lid": "tin", "flux": 12.0})
    assert (broken.keep, broken.why) == ("lid is not none or tin", "none or tin can no longer be had")
    assert series.broken_limits({"flux": 12.0}) == (), "a setting in the making"
