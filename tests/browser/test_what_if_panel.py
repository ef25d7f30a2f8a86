"""The panel that turns the factors: chances as in the library, limits that hold, and words for those who listen."""

import json
from functools import cache

import numpy as np
import pytest
from invented_reports import (
    FLUX,
    GRAIN,
    PEAK,
    advice_for,
    forty_factors,
    hostile,
    only_choices,
    only_failures,
    page_for,
    two_amounts,
    whole_chain,
)

from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.report.html import report_page
from meltdoe.report.sections import report_of
from meltdoe.report.what_if import what_if
from meltdoe.series import Amount, Choice, GoodRange, MeltSeries, Ordered, Outcome, Unseen
from meltdoe.series.limit import Limit
from meltdoe.series.limit_parser import parse_comparison
from meltdoe.series.terms import parse_term

TURN = """
const sleep = (ms) => new Promise((done) => setTimeout(done, ms));
const panel = document.getElementById("what-if-panel");
const rows = () => [...panel.querySelectorAll("tbody")[0].rows].map((row) =>
  ["mean", "low", "high"].map((name) => Number(row.dataset[name])));
const turn = (settings) => settings.forEach((value, i) => {
  const input = document.getElementById(`what-if-${i}`);
  input.value = value;
  input.dispatchEvent(new Event("input", { bubbles: true }));
});
"""


@cache
def mixed_chain():
    """All kinds of factor and outcome, terms of every form, three melts a firing, and a middle grade that is good."""
    hold = Amount("hold", 2, 16, unit="h", scale="log")
    sand = Choice("sand", ("quartz", "olivine", "zircon"))
    damp = Ordered("damp", ("dry", "damp", "wet"))
    outcomes = (
        Outcome("poured", "pass"),
        Outcome("fill", "measured", unit="%", bounds=(0, 100), after="poured", good=GoodRange(60, 100)),
        Outcome("gloss", "measured", after="poured", good=GoodRange(2, 6)),
        Outcome("skin", "grade", grades=("flat", "satin", "wavy", "torn"), after="fill", good=("satin", "wavy")),
    )
    terms = tuple(map(parse_term, ("peak", "hold", "sand", "damp", "sand * damp", "hold ^ 2", "peak * sand")))
    series = MeltSeries("mixed", (PEAK, hold, sand, damp), outcomes, terms=terms, seed=12)
    rng = np.random.default_rng(4)
    entries = []
    for i in range(15):
        settings = {
            "peak": 1100.0 + 10 * (i // 3), "hold": float(rng.integers(2, 17)), "sand": sand.options[i % 3],
            "damp": damp.options[int(rng.integers(3))],
        }  # fmt: skip
        poured = bool(rng.random() < 0.75)
        fill = float(np.clip(rng.normal(80, 25), 0, 100))
        seen = {"poured": poured, **dict.fromkeys(("fill", "gloss", "skin"), Unseen.NOT_REACHED)}
        if poured:
            seen |= {"fill": fill, "gloss": float(rng.normal(4, 2))}
        if poured and fill >= 60:
            seen["skin"] = outcomes[3].grades[int(rng.integers(4))]
        entries.append(Entry(i + 1, i // 3 + 1, settings, seen))
    return fit_chain(series, Log(series, tuple(entries)))


def places(chain, count):
    """Settings as places of the panel's controls, and as raw settings."""
    data, rng = what_if(chain, chain.best()).data, np.random.default_rng(7)
    picked = [[int(rng.integers(len(f.get("places") or f["options"]))) for f in data["factors"]] for _ in range(count)]
    raw = [
        [f["places"][k] if "places" in f else float(k) for f, k in zip(data["factors"], row, strict=True)]
        for row in picked
    ]
    return picked, np.array(raw)


def of_library(chain, raw, thin):
    """Mean and limits of each judged stage and of the whole, (n, stages + 1, 3)."""
    draws = [stage.chance_draws(raw, thin=thin) for stage in chain.stages if stage.outcome.counts]
    draws.append(chain.success_draws(raw, thin=thin))
    ends = [(1 - chain.level) / 2, (1 + chain.level) / 2]
    return np.moveaxis([[d.mean(axis=0), *np.quantile(d, ends, axis=0)] for d in draws], 2, 0)


@cache
def uneven_firings():
    """Firings that differ far more than the melts of one, seen in large readings that hardly scatter."""
    outcomes = (
        Outcome("mass", "measured", unit="g", good=GoodRange(2_000_000.0, 2_000_000.8)),
        Outcome("tone", "grade", grades=("light", "mid", "dark"), good=("mid",)),
        Outcome("rang", "pass"),
    )
    series = MeltSeries("uneven firings", (PEAK, FLUX), outcomes, seed=5)
    entries = []
    for i in range(16):
        firing, flux = i // 4, 12.0 + 7 * (i % 3)
        mass = 2_000_000.0 + (-3.0, 4.0, 0.4, 0.6)[firing] + 0.01 * (i % 4)
        seen = {"mass": mass, "tone": outcomes[1].grades[(firing + (i % 4 == 3)) % 3], "rang": firing % 2 == 0}
        entries.append(Entry(i + 1, firing + 1, {"peak": 1100.0 + 40 * (firing % 2), "flux": flux}, seen))
    return fit_chain(series, Log(series, tuple(entries)))


def bare_page(chain):
    """The page without its pictures."""
    return report_page(report_of(chain, None, advice_for(chain), ()), {})


RECKONED = [mixed_chain, whole_chain, uneven_firings, two_amounts, only_choices, only_failures, forty_factors, hostile]


@pytest.mark.parametrize("chain", RECKONED)
def test_the_page_reckons_as_the_library_does_on_the_same_draws(in_browser, chain):
    picked, raw = places(chain(), 80)
    script = f"{TURN} return {json.dumps(picked)}.map((settings) => {{ turn(settings); return rows(); }});"
    answer = in_browser(bare_page(chain()), script)
    assert answer["seen"] == []
    assert answer["loaded"] == []
    allowed = chain().series.allowed(raw)
    assert allowed.sum() >= 24
    expected = of_library(chain(), raw, what_if(chain(), chain().best()).thin)
    for row, keeps, there in zip(answer["found"], allowed, expected, strict=True):
        if keeps:
            np.testing.assert_allclose(row, there, atol=2e-4)
        else:
            assert row == []


def test_thinned_draws_are_reckoned_with_as_well(in_browser, monkeypatch):
    monkeypatch.setattr("meltdoe.report.what_if._NUMBERS_AT_MOST", 20_000)
    chain = whole_chain()
    told = what_if(chain, chain.best())
    assert told.thin > 1
    assert told.n_draws == len(range(0, told.of_draws, told.thin))
    page = bare_page(chain)
    assert f"{told.n_draws} of the {told.of_draws} posterior draws" in " ".join(page.split())
    found = in_browser(page, f"{TURN} return rows();")["found"]
    np.testing.assert_allclose(found, of_library(chain, chain.best().raw[None], told.thin)[0], atol=2e-4)


def test_at_the_start_it_says_what_the_report_says(in_browser):
    found = in_browser(page_for("whole chain"), f"{TURN} return rows();")["found"]
    best = whole_chain().best()
    np.testing.assert_allclose(found[-1], [best.chance, best.low, best.high], atol=2e-4)


def test_a_setting_that_breaks_a_limit_gets_no_chance_but_the_reason(in_browser):
    chain = whole_chain()
    data = what_if(chain, chain.best()).data
    hottest = [len(f.get("places") or f["options"]) - 1 for f in data["factors"]]
    script = f"""{TURN} turn({json.dumps(hottest)}); await sleep(400);
        return [panel.querySelector("[role=alert]").textContent, rows().length,
                panel.querySelector(".wide table").hidden, panel.querySelector("[role=status]").textContent];"""
    alert, n_rows, hidden, status = in_browser(page_for("whole chain"), script)["found"]
    assert chain.series.limits[0].keep in alert
    assert chain.series.limits[0].why in alert
    assert (n_rows, hidden) == (0, True)
    assert "%" not in status


def test_limits_mean_the_same_in_the_page_and_in_the_library(in_browser):
    """A reader of its own stands in the page; both are asked on a grid, at odd places (0/0, overflow, edges) too."""
    texts = [
        "2 ^ 3 ^ 2 + x > 600", "-x ^ 2 >= -4", "x / y < 2", "(x - y) / (x - y) >= 1", "0.1 * 3 * x <= 0.3 * x",
        "1 / (1 / x) <= 2", "10 ^ (100 * x) < 1", "x - y - 1 >= 0", "x ^ 0.5 <= 1.5", "8 / 2 / x <= 2",
    ]  # fmt: skip
    for text in texts:
        # x and y from -4 to 4 in steps of 1: both panels and library see the same 81 settings
        limit = Limit(text, "", parse_comparison(text))
        factors = (Amount("x", -4, 4, step=1), Amount("y", -4, 4, step=1))
        series = MeltSeries("limits", factors, (Outcome("ok", "pass"),), limits=(limit,), seed=1)
        grid = [[i, k] for i in range(9) for k in range(9)]
        raw = np.array(grid, dtype=float) - 4
        allowed = series.allowed(raw)
        if not allowed.any():
            continue
        chain = fit_chain(series, Log(series), effort="draft")
        page = bare_page(chain)
        script = f"{TURN} return {json.dumps(grid)}.map((at) => {{ turn(at); return rows().length > 0; }});"
        assert in_browser(page, script)["found"] == allowed.tolist(), text


def test_the_keyboard_turns_it_and_the_button_brings_it_back(in_browser):
    script = f"""{TURN}
        const first = document.getElementById("what-if-0");
        first.focus();
        const [start, before] = [first.value, rows().at(-1)[0]];
        turn([String(Number(start) === 0 ? 1 : Number(start) - 1)]);
        const [moved, text] = [first.value, first.getAttribute("aria-valuetext")];
        panel.querySelector("button").click();
        return [document.activeElement === first, start !== moved, text, first.value === start,
                rows().at(-1)[0] === before];"""
    focused, moved, text, back, same = in_browser(page_for("whole chain"), script)["found"]
    assert focused
    assert moved
    assert text.endswith(" °C")
    assert back
    assert same


def test_whoever_listens_is_told_the_chance_and_every_control_has_a_name(in_browser):
    script = f"""{TURN} turn([3]); await sleep(400);
        const named = [...panel.querySelectorAll("input, select")].map((one) => one.labels[0]?.textContent);
        return [named, panel.querySelector("[role=status]").textContent];"""
    named, status = in_browser(page_for("whole chain"), script)["found"]
    assert named == [PEAK.label, FLUX.label, GRAIN.label]
    assert "Chance that all is good" in status
    assert "90 % probability" in status.replace("\u00a0", " ")


def test_the_melts_nearby_stand_with_what_was_seen(in_browser):
    script = f"""{TURN} return [...panel.querySelectorAll("tbody")[1].rows].map((row) =>
        [...row.cells].map((cell) => cell.textContent));"""
    found = in_browser(page_for("whole chain"), script)["found"]
    assert len(found) == 5
    assert {row[3] for row in found} <= {"yes", "no", "not known"}
    seen = {row[0]: row[2] for row in found}
    assert any("contained yes" in words for words in seen.values())
