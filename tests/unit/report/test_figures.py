"""Figures: the same bytes every time, nothing cut off, and words that agree with the numbers."""

import re
from collections import Counter

import matplotlib
import numpy as np
import pytest
from invented_reports import (
    CHAIN_SERIES,
    chain_log,
    chain_plan,
    forty_factors,
    forty_plan,
    hostile,
    nothing_melted,
    one_amount,
    only_choices,
    only_described,
    only_failures,
    two_amounts,
    two_level_plan,
    whole_chain,
)
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from meltdoe.fit.phrases import percent
from meltdoe.log.melt_log import Log
from meltdoe.report.figure_files import figure_files, pictures_of
from meltdoe.report.figures.held import ranked_factors, turned
from meltdoe.report.figures.log_figures import log_picture
from meltdoe.report.figures.melt_marks import spread_out
from meltdoe.report.figures.page_svg import inline_svg, standalone_svg
from meltdoe.report.figures.plan_figures import plan_picture
from meltdoe.report.figures.style import drawing, file_name

CASES = {
    "whole chain": lambda: (whole_chain(), chain_plan()),
    "no plan": lambda: (two_amounts(), None),
    "no limit": lambda: (two_amounts(""), None),
    "only failures": lambda: (only_failures(), None),
    "only choices": lambda: (only_choices(), None),
    "one amount": lambda: (one_amount(), None),
    "only described": lambda: (only_described(), two_level_plan(only_described().series)),
    "hostile names": lambda: (hostile(), None),
    "forty factors": lambda: (forty_factors(), forty_plan()),
}


@pytest.fixture(scope="module")
def drawn():
    """Every case drawn once."""
    found = {}
    for name, make in CASES.items():
        chain, plan = make()
        found[name] = pictures_of(chain, plan, chain.best())
    return found


def picture(pictures, start):
    return next(p for p in pictures if p.name.startswith(start))


def test_every_figure_that_the_melts_can_fill_is_there(drawn):
    names = [p.name for p in drawn["whole chain"]]
    assert names == [
        "plan", "melts", "effects-1-contained", "effects-2-fill", "seen-2-fill", "effects-3-cracks", "effects-4-seeds",
        "chance-map", "stages", "predicted",
    ]  # fmt: skip
    assert pictures_of(nothing_melted(), None, None) == ()
    assert [p.name for p in pictures_of(nothing_melted(), chain_plan(), None)] == ["plan"]
    assert "chance-map" not in [p.name for p in drawn["only described"]]


@pytest.mark.parametrize("case", CASES)
def test_nothing_is_cut_off(drawn, case):
    for one in drawn[case]:
        canvas = FigureCanvasAgg(one.figure)
        with drawing(), pytest.warns() if case == "hostile names" else drawing():
            canvas.draw()
            if case == "hostile names":
                matplotlib._api.warn_external("a letter that the font lacks")
        wide, tall = canvas.get_width_height()
        for text in one.figure.findobj(Text):
            if not text.get_text().strip() or not text.get_visible() or is_unused_tick(text):
                continue
            box = text.get_window_extent(canvas.get_renderer())
            inside = -2 <= box.x0 and box.x1 <= wide + 2 and -2 <= box.y0 and box.y1 <= tall + 2
            assert inside, (one.name, text.get_text(), box.bounds, (wide, tall))


def is_unused_tick(text):
    """Tick labels beyond the ends of an axis are kept by the library but never drawn."""
    axes = text.axes
    if axes is None:
        return False
    for axis, ends in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
        for tick in axis.get_major_ticks():
            if text in (tick.label1, tick.label2):
                return not min(ends) <= tick.get_loc() <= max(ends) or not text.get_visible()
    return False


@pytest.mark.parametrize("case", CASES)
def test_every_figure_says_what_it_shows(drawn, case):
    for one in drawn[case]:
        assert one.title
        assert not one.title.endswith(".")
        assert re.search(r"\d", one.alt), one.name
        assert one.alt.endswith(".")
        assert re.search(r"\d+ melts?\b|\d+ effects", f"{one.caption} {one.alt}"), one.name
        if "interval" in one.caption:
            assert "90 %" in one.caption


def test_file_names_are_unique_and_fit_every_disk():
    names = [file_name("effects", i, name) for i, name in enumerate(["A", "a", "溫度", "x" * 300, "../up"])]
    assert names == ["effects-1-a", "effects-2-a", "effects-3", "effects-4-" + "x" * 40, "effects-5-up"]
    assert len(set(names)) == 5


def test_the_same_melts_give_the_same_bytes_whatever_the_users_own_settings():
    first = figure_files(two_amounts(), None)
    with matplotlib.rc_context({"font.size": 30, "svg.fonttype": "path", "lines.linewidth": 9}):
        second = figure_files(two_amounts(), None)
        assert matplotlib.rcParams["font.size"] == 30
    assert first == second
    assert {name.rpartition(".")[2] for name in first} == {"svg", "png"}
    assert all(content.startswith(b"\x89PNG") for name, content in first.items() if name.endswith("png"))


def test_the_order_of_the_log_does_not_matter_to_its_picture():
    log = chain_log()
    turned_round = log_picture(Log(CHAIN_SERIES, log.entries[::-1]))
    assert standalone_svg(turned_round) == standalone_svg(log_picture(log))


def test_the_words_of_the_log_count_what_stands_in_it():
    """Counted by hand from ROWS: contained 7 of 8; fill at least 90: melts 2, 4, 6, 7, 9; cracks good: 2, 7, 9."""
    alt = log_picture(chain_log()).alt
    assert "8 melts: 3 good throughout, 4 not, 1 not known." in alt
    assert "Contained: 7 of 8 good." in alt
    assert "Fill: 5 of 7 good." in alt
    assert "Cracks: 3 of 4 good, 1 later." in alt
    assert "Seeds: 6 seen, 1 lost." in alt


def test_the_words_of_the_plan_count_its_settings():
    alt = plan_picture(chain_plan(), chain_log()).alt
    assert "8 melts in 4 firings over 3 factors, 7 of them made." in alt
    assert "peak is set once for each firing." in alt
    assert "peak: 1100 °C in 4 melts, 1180 °C in 2 melts, 1240 °C in 2 melts." in alt
    assert "grain: coarse in 4 melts, fine in 4 melts." in alt


def test_the_words_on_effects_are_those_of_the_fit(drawn):
    stage = whole_chain().stage("contained")
    alt = picture(drawn["whole chain"], "effects-1").alt
    for effect in stage.effects:
        assert effect.estimable
        assert f"{percent(effect.chance_from)} to {percent(effect.chance_to)}" in alt


def test_effects_that_cannot_be_told_apart_are_not_drawn():
    chain = only_failures()
    assert [p.name for p in pictures_of(chain, None, chain.best())] == ["melts", "effects-1-poured", "chance-map", "stages",
                                                                        "predicted"]  # fmt: skip
    assert not any(p.name.startswith("effects") for p in pictures_of(forty_factors(), None, None))


def test_expected_counts_are_the_sums_of_the_chances(drawn):
    stage = whole_chain().stage("contained")
    expected = float(stage.chance_draws(stage.data.raw).mean(axis=0).sum())
    assert f"contained: expected {expected:.1f} good of 8, seen 7." in picture(drawn["whole chain"], "predicted").alt


def test_shares_at_the_best_setting_are_those_of_the_chain(drawn):
    chain = whole_chain()
    best = chain.best()
    alt = picture(drawn["whole chain"], "stages").alt
    assert f"{percent(1 - best.chance)} of melts are expected to fail" in alt
    for name, share in chain.stage_failure_share(best.raw).items():
        assert f"{percent(float(share[0]))} of these at {name}" in alt
    assert "1 ended at contained, 2 ended at fill, 1 ended at cracks and 3 were good throughout" in alt


@pytest.mark.parametrize(
    ("case", "start"),
    [
        ("no plan", "Chance of success over "),
        ("one amount", "Chance of success along flux"),
        ("only choices", "Chance of success at the options of "),
        ("hostile names", "Chance of success along "),
    ],
)
def test_the_chance_is_drawn_in_the_form_that_its_factors_call_for(drawn, case, start):
    assert picture(drawn[case], "chance-map").title.startswith(start)


def test_limits_are_hatched_only_where_there_are_any(drawn):
    assert "Hatched" in picture(drawn["no plan"], "chance-map").caption
    assert "Hatched" not in picture(drawn["no limit"], "chance-map").caption


def test_the_map_names_the_best_chance(drawn):
    best = two_amounts().best()
    alt = picture(drawn["no plan"], "chance-map").alt
    assert f"at the best setting it is {percent(best.chance)}, between {percent(best.low)} and {percent(best.high)}" in alt


def test_the_factor_that_moves_the_chance_most_comes_first():
    chain = one_amount()
    assert ranked_factors(chain, chain.best()) == (0,)
    chain = only_choices()  # only the sand matters: damp always failed
    assert ranked_factors(chain, chain.best())[0] == 1


def test_turning_two_factors_keeps_the_others():
    table = turned(np.array([1.0, 2.0, 3.0]), {2: np.array([7.0, 8.0]), 0: np.array([4.0, 5.0])})
    assert table.tolist() == [[4, 2, 7], [5, 2, 7], [4, 2, 8], [5, 2, 8]]


def test_melts_at_one_point_are_drawn_side_by_side_around_it():
    points = np.array([[1.0, 1.0], [1.0, 1.0], [1.0, 1.0], [1.0, 1.0], [3.0, 0.0]])
    moved = spread_out(points, (0.1, 0.2))
    assert len(np.unique(moved, axis=0)) == 5
    assert moved[:4].mean(axis=0) == pytest.approx([1.0, 1.0])
    assert moved[4].tolist() == [3.0, 0.0]
    assert np.abs(moved[:4] - 1.0).max() == pytest.approx(0.1)


def test_text_stays_text_and_formulas_stay_words(drawn):
    for one in drawn["hostile names"]:
        text = standalone_svg(one)
        assert "<script" not in text
        assert "onerror=" not in re.sub(r">[^<]*<", "><", text)
    assert "$mid$" in standalone_svg(picture(drawn["hostile names"], "melts"))


@pytest.mark.parametrize("case", CASES)
def test_figures_hold_nothing_that_reaches_outside(drawn, case):
    for one in drawn[case]:
        text = inline_svg(one)
        ids = re.findall(r' id="([^"]*)"', re.sub(r">[^<]*<", "><", text))
        assert len(ids) == len(set(ids))
        assert all(found.startswith(f"{one.name}.") for found in ids)
        pointed = re.findall(r'(?:xlink:href="#|url\(#)([^")]+)', text)
        assert set(pointed) <= set(ids)
        assert Counter(re.findall(r"<(image|style|script|foreignObject)\b", text)) == {}
        assert 'role="img"' in text[:600]
        assert one.alt.split(".")[0].split("<")[0] in text
