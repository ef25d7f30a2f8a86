"""Figures: the same bytes every time, nothing cut off, and words that agree with the numbers."""

import re
from collections import Counter
from dataclasses import replace

import matplotlib
import numpy as np
import pytest
from invented_reports import (
    CASES,
    CHAIN_SERIES,
    FLUX,
    GRAIN,
    PEAK,
    case_of,
    chain_log,
    chain_plan,
    drawn_for,
    nothing_melted,
    one_amount,
    only_choices,
    pictures_for,
    two_amounts,
    whole_chain,
)
from matplotlib.backends.backend_agg import FigureCanvasAgg

from meltdoe.fit.checks.past_fits import PastFits
from meltdoe.fit.stages.phrases import percent
from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.next_melt.advice import next_melts
from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.report.figure_files import figure_files, pictures_of
from meltdoe.report.figures.alias_figures import alias_picture
from meltdoe.report.figures.chance_map import chance_map
from meltdoe.report.figures.held import ranked_factors, turned
from meltdoe.report.figures.log_figures import log_picture, log_pictures
from meltdoe.report.figures.melt_marks import left_out_words, spread_out
from meltdoe.report.figures.page_svg import inline_svg, standalone_svg
from meltdoe.report.figures.plan_figures import plan_picture
from meltdoe.report.figures.progress_figures import progress_picture
from meltdoe.report.figures.style import drawing, file_name, png_bytes
from meltdoe.report.what_if import what_if
from meltdoe.series import MeltSeries, Outcome

DRAWN = [name for name in CASES if name != "no melts"]


def picture(case, start):
    return next(p for p in pictures_for(case) if p.name.startswith(start))


def test_every_figure_that_the_melts_can_fill_is_there():
    names = [p.name for p in pictures_for("whole chain")]
    # four melts cannot tell three effects on cracks apart, so they are not drawn
    assert names == [
        "plan", "alias", "power", "power-precision", "melts", "effects-1-contained", "effects-2-fill", "seen-2-fill",
        "effects-4-seeds", "chance-map", "stages", "progress", "predicted", "information-map",
    ]  # fmt: skip
    assert [p.name for p in pictures_for("no melts")] == ["information-map"]
    planned = [p.name for p in pictures_for("planned")]
    assert planned == ["plan", "alias", "power", "power-precision", "information-map"]
    assert "chance-map" not in [p.name for p in pictures_for("only described")]


@pytest.mark.parametrize("case", [case for case in DRAWN if case != "hostile names"])
def test_nothing_is_cut_off(case):
    for one in pictures_for(case):
        canvas = FigureCanvasAgg(one.figure)
        with drawing():
            canvas.draw()
            box = one.figure.get_tightbbox(canvas.get_renderer())
        wide, tall = one.figure.get_size_inches()
        assert box.x0 > -0.03, one.name
        assert box.x1 < wide + 0.03, one.name
        assert box.y0 > -0.03, one.name
        assert box.y1 < tall + 0.03, one.name


@pytest.mark.parametrize("case", DRAWN)
def test_every_figure_says_what_it_shows(case):
    for one in pictures_for(case):
        assert one.title
        assert not one.title.endswith(".")
        assert re.search(r"\d", one.alt), one.name
        assert one.alt.endswith(".")
        assert re.search(r"\d+ melts?\b|\d+ effects|No melt has", f"{one.caption} {one.alt}"), one.name
        if "interval" in one.caption:
            assert "90 %" in one.caption


def test_file_names_are_unique_and_fit_every_disk():
    names = [file_name("effects", i, name) for i, name in enumerate(["A", "a", "溫度", "x" * 300, "../up"])]
    assert names == ["effects-1-a", "effects-2-a", "effects-3", "effects-4-" + "x" * 40, "effects-5-up"]
    assert len(set(names)) == 5


def test_the_same_melts_give_the_same_bytes_whatever_the_users_own_settings():
    first = figure_files(*case_of("no plan")[:2], pixels=True)
    with matplotlib.rc_context({"font.size": 30, "svg.fonttype": "path", "lines.linewidth": 9}):
        chain, plan, advice = case_of("no plan")
        again = pictures_of(chain, plan, advice.best)
        assert all(standalone_svg(one) == first[f"figures/{one.name}.svg"] for one in again)
        assert png_bytes(again[0].figure) == first[f"figures/{again[0].name}.png"]
        assert matplotlib.rcParams["font.size"] == 30
    assert len(first) == 2 * len(again)
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
    assert "8 melts in 8 firings over 3 factors, 7 of them made." in alt
    assert "peak is set once for each firing." in alt
    assert "peak: 1100 °C in 4 melts, 1180 °C in 2 melts, 1240 °C in 2 melts." in alt
    assert "grain: coarse in 4 melts, fine in 4 melts." in alt


def test_the_words_on_effects_are_those_of_the_fit():
    stage = whole_chain().stage("contained")
    alt = picture("whole chain", "effects-1").alt
    for effect in stage.effects:
        assert effect.estimable
        assert f"{percent(effect.chance_from)} to {percent(effect.chance_to)}" in alt


def test_effects_that_cannot_be_told_apart_are_not_drawn():
    assert [p.name for p in pictures_for("only failures")] == [
        "melts",
        "effects-1-poured",
        "chance-map",
        "stages",
        "progress",
        "predicted",
        "information-map",
    ]
    assert not any(p.name.startswith("effects") for p in pictures_for("forty factors"))


def test_expected_counts_are_the_sums_of_the_chances():
    stage = whole_chain().stage("contained")
    expected = float(stage.chance_draws(stage.data.raw).mean(axis=0).sum())
    assert f"contained: expected {expected:.1f} good of 8, seen 7." in picture("whole chain", "predicted").alt


def test_shares_at_the_best_setting_are_those_of_the_chain():
    chain = whole_chain()
    best = chain.best()
    alt = picture("whole chain", "stages").alt
    assert f"{percent(1 - best.chance)} of melts are expected to fail" in alt
    for name, share in chain.stage_failure_share(best.raw).items():
        assert f"{percent(float(share[0]))} of these at {name}" in alt
    assert "1 ended at contained, 2 ended at fill, 1 ended at cracks and 3 were good throughout" in alt


@pytest.mark.parametrize(
    ("case", "start"),
    [
        ("two amounts", "Chance of success over "),
        ("no plan", "Chance of success along flux"),
        ("only choices", "Chance of success at the options of "),
        ("hostile names", "Chance of success along "),
    ],
)
def test_the_chance_is_drawn_in_the_form_that_its_factors_call_for(case, start):
    assert picture(case, "chance-map").title.startswith(start)


def test_limits_are_hatched_only_where_there_are_any():
    for chain, hatched in ((two_amounts(), True), (two_amounts(""), False)):
        assert ("Hatched" in chance_map(chain, chain.best(), 0, 1).caption) is hatched  # the limit is on these two


def test_the_map_names_the_best_chance():
    best = two_amounts().best()
    alt = picture("two amounts", "chance-map").alt
    said = f"at the best setting it is {percent(best.chance)}, between {percent(best.low)} and {percent(best.high)}"
    assert said in alt


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


def test_text_stays_text_and_formulas_stay_words():
    for text in drawn_for("hostile names").values():
        assert "<script" not in text
        assert "onerror=" not in re.sub(r">[^<]*<", "><", text)
    assert "$mid$" in drawn_for("hostile names")["melts"]


@pytest.mark.parametrize("case", DRAWN)
def test_figures_hold_nothing_that_reaches_outside(case):
    for one in pictures_for(case):
        text = inline_svg(drawn_for(case)[one.name])
        ids = re.findall(r' id="([^"]*)"', re.sub(r">[^<]*<", "><", text))
        assert len(ids) == len(set(ids))
        assert all(found.startswith(f"{one.name}.") for found in ids)
        pointed = re.findall(r'(?:xlink:href="#|url\(#)([^")]+)', text)
        assert set(pointed) <= set(ids)
        assert Counter(re.findall(r"<(image|style|script|foreignObject)\b", text)) == {}
        assert 'role="img"' in text[:600]
        assert one.alt.split(".")[0].split("<")[0] in text


def test_the_alias_figure_names_what_cannot_be_told_apart():
    """A half fraction of three factors with grain = peak * flux: each main effect is one interaction's other name."""
    series = MeltSeries("half", (PEAK, FLUX, GRAIN), (Outcome("ok", "pass"),))
    rows = [(1100, 12, "fine"), (1240, 12, "coarse"), (1100, 26, "coarse"), (1240, 26, "fine")]
    melts = tuple(
        PlannedMelt(i, i, i, {"peak": float(p), "flux": float(f), "grain": g}, "")
        for i, (p, f, g) in enumerate(rows, 1)
    )
    said = alias_picture(Plan(series, melts, "fraction")).alt
    for pair in ("flux × peak with grain", "grain × peak with flux", "flux × grain with peak"):
        assert pair in said
    assert "short of that is 0.00" in said


def test_the_map_speaks_of_settings_within_the_ranges_alone():
    said = picture("two amounts", "chance-map").alt
    settings = [float(number) for number in re.findall(r"(?:peak|hold|flux) ([\d.]+) ", said)]
    ranges = {factor.name: (factor.low, factor.high) for factor in two_amounts().series.factors}
    told = list(zip(re.findall(r"(peak|hold|flux) [\d.]+ ", said), settings, strict=True))
    assert len(told) >= 4
    for name, value in told:
        assert ranges[name][0] <= value <= ranges[name][1]


def test_progress_ends_with_the_best_setting_of_the_report():
    best = whole_chain().best()
    said = picture("whole chain", "progress").alt
    assert f"to {percent(best.chance)} ({percent(best.low)} to {percent(best.high)}) after 8 melts" in said
    assert "before the first" in said
    assert progress_picture(PastFits(nothing_melted()), best) is None


def test_a_long_log_is_drawn_in_parts_that_a_page_can_hold():
    from dataclasses import replace

    first = chain_log().entries[0]
    log = Log(CHAIN_SERIES, tuple(replace(first, melt=i, firing=i) for i in range(1, 131)))
    parts = log_pictures(log)
    assert [picture.name for picture in parts] == ["melts-1", "melts-2", "melts-3"]
    assert [picture.alt.split()[0] for picture in parts] == ["44", "44", "42"]
    assert parts[2].title.endswith("part 3 of 3")
    assert [picture.name for picture in log_pictures(chain_log())] == ["melts"]


def test_melts_that_no_figure_can_place_are_named_in_its_caption():
    log = chain_log()
    entries = [
        replace(entry, settings={n: v for n, v in entry.settings.items() if n != "peak"})
        if entry.melt in (2, 5)
        else entry
        for entry in log.entries
    ]
    unknown = replace(log, entries=tuple(entries))
    places = {name: log.series.factor_names.index(name) for name in ("peak", "flux")}
    assert left_out_words(unknown, (places["peak"],)) == (
        " Not drawn, since it is unknown how they were set: melts 2 and 5."
    )
    assert left_out_words(unknown, (places["flux"],)) == left_out_words(log, places.values()) == ""
    chain = fit_chain(log.series, unknown)
    assert [melt["name"] for melt in what_if(chain, chain.best()).data["melts"]] == ["1", "3", "4", "6", "7", "9"]
    captions = [picture.caption for picture in pictures_of(chain, None, chain.best(), next_melts(chain))]
    assert any("Not drawn, since it is unknown how they were set: melts 2 and 5." in caption for caption in captions)


def test_what_was_noted_though_its_forerunner_failed_is_not_counted():
    entry = Entry(1, 1, {"peak": 1200.0, "flux": 20.0, "grain": "fine"}, {"contained": False, "fill": 95.0})
    said = log_picture(Log(CHAIN_SERIES, (entry,))).alt
    assert "Contained: 0 of 1 good" in said
    assert "Fill: 0 of 0 good" in said
