"""Shape of a measured outcome in the units of its factors. All series are invented."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from meltdoe.fit.stages.stage_chain import StageFit, fit_chain
from meltdoe.fit.stages.stage_surface import stage_surface
from meltdoe.log.melt_log import Entry, Log
from meltdoe.series import Amount, Choice, MeltSeries, Outcome, parse_term

QUADRATIC = ("flux", "hold", "flux * hold", "flux ^ 2", "hold ^ 2")
FACTORS = (Amount("flux", 10, 30), Amount("hold", 1, 4, scale="log"), Choice("lid", ("no", "yes")))
GRID = [(f, h) for f in (10.0, 20, 30) for h in (1.0, 2, 4)] + [(20.0, 2.0)] * 3


def stage(terms: tuple[str, ...]) -> StageFit:
    """Highest at flux 24 (coded 0.4) and hold 2 (coded 0), 2 mm higher with a lid; noise 0.3 mm."""
    rng = np.random.default_rng(1)
    outcome = Outcome("fill", "measured", unit="mm")
    series = MeltSeries("invented", FACTORS, (outcome,), terms=tuple(parse_term(t) for t in terms))
    entries = []
    for i, (flux, hold) in enumerate(GRID, 1):
        a, b, lid = (flux - 20) / 10, math.log2(hold) - 1, i % 2
        fill = 50 - 5 * (a - 0.4) ** 2 - 4 * b**2 + 2 * lid + float(rng.normal(0, 0.3))
        settings = {"flux": flux, "hold": hold, "lid": ("no", "yes")[lid]}
        entries.append(Entry(i, i, settings, {"fill": fill}))
    return fit_chain(series, Log(series, tuple(entries)), level=0.99, n_draws=400).stages[0]


def test_the_highest_point_is_found_in_units_with_limits_that_hold_it() -> None:
    found = stage_surface(stage((*QUADRATIC, "lid")))
    assert found is not None
    assert found.factors == ("flux", "hold")
    assert found.form is not None
    assert found.form.nature == "maximum"
    assert found.place["flux"] == pytest.approx(24, abs=0.7)
    assert found.place["hold"] == pytest.approx(2, abs=0.15)
    for name, truth in (("flux", 24.0), ("hold", 2.0)):
        assert found.low[name] < truth < found.high[name]


@pytest.mark.parametrize(
    "terms", [QUADRATIC[:-1], ("flux", "hold", "flux ^ 2", "hold ^ 2"), (*QUADRATIC, "lid", "flux * lid")]
)
def test_less_than_a_full_quadratic_or_one_tied_to_others_has_no_shape(terms: tuple[str, ...]) -> None:
    assert stage_surface(stage(terms)) is None


def test_why_there_is_no_shape_is_said() -> None:
    few = stage(QUADRATIC)
    series = few.series
    log = Log(
        series, tuple(Entry(i, i, {"flux": 10.0 * i, "hold": 2.0, "lid": "no"}, {"fill": 50.0 + i}) for i in (1, 2, 3))
    )
    found = stage_surface(fit_chain(series, log, n_draws=400).stages[0])
    assert found is not None
    assert found.form is None
    assert found.why_not
    pairs = replace(few.data, groups=np.arange(few.n_seen) // 2)
    shared = stage_surface(replace(few, data=pairs))
    assert shared is not None
    assert "firings hold several" in shared.why_not
