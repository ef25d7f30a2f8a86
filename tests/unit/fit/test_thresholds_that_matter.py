"""Which thresholds are worth stating. All series are invented."""

from __future__ import annotations

from dataclasses import replace

from invented_series import WORDS, Row, fills, fitted, passes

from meltdoe.fit.stages.stage_thresholds import matters, stage_thresholds


def test_only_factors_that_matter_get_a_threshold_and_choices_never_do() -> None:
    rows: list[Row] = [
        (f, WORDS[i % 2], f > 24) for i, f in enumerate([10.0, 15, 20, 25, 30, 35, 40, 20, 30, 15, 35, 10])
    ]
    chain = fitted(passes(rows))
    best = chain.best()
    found = stage_thresholds(chain, best)
    assert [one.factor for one in found["poured"]] == ["flux"]
    assert 20 < found["poured"][0].value < 35
    assert found["poured"][0].at == {"packing": best.settings["packing"]}
    by_packing: list[Row] = [
        (f, WORDS[i % 2], i % 2 == 0) for i, f in enumerate([10.0, 15, 20, 25, 30, 35, 40, 20, 30, 15])
    ]
    chain = fitted(passes(by_packing))
    assert stage_thresholds(chain, chain.best()) == {"poured": ()}


def test_a_small_but_certain_effect_on_a_measurement_matters() -> None:
    """However small the chance that its factor is active, the interval of its change leaves out zero."""
    rows: list[Row] = [(f, WORDS[i % 2], 78 + 0.2 * f + 0.1 * (i % 3)) for i, f in enumerate([10.0, 20, 30, 40] * 3)]
    chain = fitted(fills(rows))
    flux = next(effect for effect in chain.stages[0].effects if effect.label == "flux")
    assert matters(replace(flux, inclusion=0.1))
    assert not matters(replace(flux, inclusion=0.1, value_low=-1.0))
