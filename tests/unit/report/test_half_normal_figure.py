"""The half-normal figure: drawn where an unreplicated two-level plan allows it, and nowhere else."""

from dataclasses import replace

import pytest
from invented_reports import chain_plan, only_described, two_level_plan, whole_chain
from scipy.stats import t

from meltdoe.fit.stages.stage_data import stage_data
from meltdoe.log.melt_log import Log
from meltdoe.report.figures.half_normal_figures import half_normal_picture


@pytest.fixture(scope="module")
def chain():
    return only_described()


def refilled(chain, entries):
    """The stage with other rows; the figure uses no fit of them."""
    stage = chain.stages[0]
    return replace(stage, data=stage_data(chain.series, Log(chain.series, tuple(entries)), stage.outcome))


def test_effects_without_any_scatter_are_not_judged(chain):
    """Melts 1 to 4 have 40 + 0.1 melt, melts 5 to 8 have 60 + 0.1 melt: every product is nothing but rounding."""
    assert half_normal_picture(chain.stages[0], two_level_plan(chain.series), 0) is None


def test_the_margins_are_lenths(chain):
    """Values 10, 11, 12, 13 and 30, 33, 36, 39 in the order of the table: effects peak 23, flux 4, grain 2,
    peak x flux 2, peak x grain 1, flux x grain 0, all three 0. Median size 2, s0 = 3, sizes below 7.5
    have median 1.5, PSE = 2.25."""
    margin = 2.25 * t.ppf(0.95, 7 / 3)
    values = (10.0, 11.0, 12.0, 13.0, 30.0, 33.0, 36.0, 39.0)
    entries = [replace(e, seen={"light": y}) for e, y in zip(chain.log.entries, values, strict=True)]
    found = half_normal_picture(refilled(chain, entries), two_level_plan(chain.series), 0)
    assert "1 of 7 effects stand out: peak +23 %" in found.alt
    assert f"margin {margin:.2f} %" in found.alt
    assert found.name == "half-normal-1-light"
    assert "8 melts of two levels" in found.caption


def test_it_is_not_drawn_without_a_plan_or_for_another_kind(chain):
    assert half_normal_picture(chain.stages[0], None, 0) is None
    assert half_normal_picture(whole_chain().stage("contained"), chain_plan(), 0) is None


def test_it_is_not_drawn_where_a_melt_is_missing(chain):
    assert half_normal_picture(refilled(chain, chain.log.entries[:-1]), two_level_plan(chain.series), 0) is None


def test_it_is_not_drawn_where_melts_share_a_firing(chain):
    entries = [replace(entry, firing=(entry.melt + 1) // 2) for entry in chain.log.entries]
    assert half_normal_picture(refilled(chain, entries), two_level_plan(chain.series), 0) is None


def test_it_is_not_drawn_where_a_setting_left_its_level(chain):
    first, *rest = chain.log.entries
    moved = replace(first, settings={**first.settings, "flux": 15.0})
    assert half_normal_picture(refilled(chain, [moved, *rest]), two_level_plan(chain.series), 0) is None
