"""Sheets as a browser prints them: a page a firing and a page a melt, on A4 and on Letter, nothing cut off."""

import re
import subprocess
import zlib

import pytest
from conftest import CHROMIUM

from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.series import Amount, Choice, Kiln, MeltSeries, Outcome
from meltdoe.series.belief import Circumstance
from meltdoe.series.limit_parser import parse_expression
from meltdoe.series.recipe import Cooling, Mould, Part, Recipe
from meltdoe.sheets.melt_sheet import sheets_page
from meltdoe.units import Quantity


def _plan(series, **changed):
    settings = {f.name: f.high if isinstance(f, Amount) else f.options[-1] for f in series.factors} | changed
    low = {f.name: f.low if isinstance(f, Amount) else f.options[0] for f in series.factors}
    melts = (PlannedMelt(1, 1, 1, settings, "fraction, moved to keep a limit"), PlannedMelt(2, 1, 2, low, "fraction"))
    return Plan(series, melts, "by hand", seed=1)


def spare():
    """Two factors, one outcome, no recipe: room for the largest type."""
    factors = (Amount("pour", 1100, 1240, unit="°C"), Amount("flux", 10, 26, unit="wt%"))
    return _plan(MeltSeries("Invented", factors, (Outcome("filled", "measured", unit="%", good="at least 80"),)))


def ordinary():
    """What most series look like, with a recipe and castings that cool each by itself."""
    contained = Outcome("contained", "pass", question="Did the charge stay in the crucible?")
    grades = ("none", "hairline", "open", "shattered")
    return _plan(
        MeltSeries(
            "Paperweights from crushed obsidian (invented)",
            (
                Amount("peak", 1100, 1240, unit="°C", label="Peak temperature", set_per="firing"),
                Amount("flux", 10, 26, unit="wt%", label="Soda ash, share of the charge"),
                Choice("grain", ("fine", "coarse"), label="Grain of the crushed obsidian"),
                Choice("packing", ("tight", "edge only"), label="Packing of the sand mould"),
            ),
            (
                contained,
                Outcome("poured", "pass", after="contained", question="Did at least nine tenths leave the crucible?"),
                Outcome("fill", "measured", unit="%", after="poured", good="at least 95", question="How full is it?"),
                Outcome(
                    "cracks", "grade", grades=grades, good=grades[:2], after="fill", question="Cracks after a week"
                ),
            ),
            kiln=Kiln(2, Quantity(1280, "°C")),
            circumstances=(Circumstance("humidity", unit="%", label="Humidity in the workshop"),),
            recipe=Recipe(
                "obsidian",
                parts=(Part(parse_expression("flux"), "soda ash"), Part(parse_expression("0.4"), "cobalt oxide")),
                crucible=Quantity(0.8, "l"),
                pours_at="peak",
                held_for=Quantity(3, "h"),
            ),
            mould=Mould(volume=Quantity(350, "ml")),
            cooling=Cooling(Quantity(40, "mm"), bed="vermiculite"),
        )
    )


def long_words():
    """Names without a blank, and options that fill a line."""
    factors = (
        Amount("peak", 1100, 1240, unit="°C", label="Peak" * 30, set_per="firing"),
        Choice("sand", ("S" * 70, "fine olivine with a third of bentonite and a parting coat of graphite")),
    )
    return _plan(
        MeltSeries("T" * 40, factors, (Outcome("whole", "grade", grades=("A" * 60, "B" * 60), good=("A" * 60,)),))
    )


PLANS = {plan.__name__: plan for plan in (spare, ordinary, long_words)}


def printed(page, paper, folder):
    """Number of pages that the browser makes of it."""
    file, pdf = folder / "sheets.html", folder / "sheets.pdf"
    file.write_text(page.replace("</head>", f"<style>@page {{ size: {paper}; }}</style></head>", 1), encoding="utf-8")
    command = [
        CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
        f"--user-data-dir={folder / 'profile'}", f"--print-to-pdf={pdf}", file.as_uri(),
    ]  # fmt: skip
    subprocess.run(command, capture_output=True, timeout=120, check=True)
    content = pdf.read_bytes()
    for packed in re.findall(rb"stream\r?\n(.*?)endstream", content, re.DOTALL):
        try:
            content += zlib.decompress(packed)
        except zlib.error:
            continue  # a font or a picture
    return len(re.findall(rb"/Type\s*/Page(?!s)", content))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("plan", PLANS)
def test_a_firing_and_a_melt_take_one_page_each(plan, paper, tmp_path):
    page = sheets_page(PLANS[plan]())
    bench, _, last = page.partition('<section class="sheet cautions')
    assert printed(bench + "</main></body></html>", paper, tmp_path) == bench.count("<section")
    assert printed(page, paper, tmp_path) - bench.count("<section") in (1, 2), "cautions may run on"
    assert last


def test_two_pages_are_seen_as_two(tmp_path):
    """The yardstick itself: a page with too much on it is not taken for one."""
    page = sheets_page(spare())
    bench = page.partition('<section class="sheet cautions')[0]
    full = bench.replace('<div class="room"></div>', "<p>one line more</p>" * 60, 1)
    assert printed(full + "</main></body></html>", "A4", tmp_path) > bench.count("<section")


@pytest.mark.parametrize("plan", PLANS)
def test_nothing_is_wider_than_the_paper(plan, in_browser):
    """190 mm of A4 are 718 px; every element ends within them, at the type that print will have."""
    page = (
        sheets_page(PLANS[plan]()).replace("@media print {", "@media all {").replace("max-width: none", "width: 718px")
    )
    script = """
        const wide = (one) => one.getBoundingClientRect().right > 720 || one.scrollWidth > one.clientWidth + 1;
        return [...document.querySelectorAll("section, p, td, th, div, h1, h2, h3")].filter(wide)
            .map((one) => `${one.tagName} ${one.className} ${one.textContent.trim().slice(0, 40)}`);"""
    assert in_browser(page.replace("margin: 0 auto", "margin: 0"), script, width=900)["found"] == []
