"""Invented series, fits and advice for the tests of figures and page; each is fitted once in a process."""

import datetime
from functools import cache
from html.parser import HTMLParser

import numpy as np

from meltdoe.fit.stages.stage_chain import fit_chain
from meltdoe.log.melt_log import Entry, Log
from meltdoe.next_melt.advice import Advice, Suggestion
from meltdoe.next_melt.stopping import Verdict
from meltdoe.plans.melt_plan import Plan, PlannedMelt
from meltdoe.report.figure_files import pictures_of
from meltdoe.report.figures.page_svg import standalone_svg
from meltdoe.report.html import report_page
from meltdoe.report.sections import report_of
from meltdoe.series import (
    Amount,
    Belief,
    Budget,
    Choice,
    Costs,
    GoodRange,
    Kiln,
    Limit,
    MeltSeries,
    Ordered,
    Outcome,
    Unseen,
)
from meltdoe.series.limit_parser import parse_comparison
from meltdoe.units import Quantity

NOT_REACHED, LATER, LOST = Unseen.NOT_REACHED, Unseen.LATER, Unseen.LOST

PEAK = Amount("peak", 1100, 1240, label="Peak temperature", unit="°C", step=10, set_per="firing")
FLUX = Amount("flux", 12, 26, label="Soda ash, share of the charge", unit="wt%", step=1)
GRAIN = Choice("grain", ("coarse", "fine"), label="Grain of the crushed obsidian")
CONTAINED = Outcome("contained", "pass", question="Did the charge stay in the crucible?")
FILL = Outcome("fill", "measured", unit="%", bounds=(0, 100), after="contained", good=GoodRange(low=90))
CRACKS = Outcome("cracks", "grade", grades=("none", "hairline", "open"), after="fill", good=("none", "hairline"))
SEEDS = Outcome("seeds", "grade", grades=("clear", "few", "many"), after="contained")
KEEP = "2 * flux + 0.1 * peak <= 170"

CHAIN_SERIES = MeltSeries(
    title="Solid block from obsidian (invented)",
    goal="A solid block from crushed obsidian and soda ash.",
    factors=(PEAK, FLUX, GRAIN),
    outcomes=(CONTAINED, FILL, CRACKS, SEEDS),
    budget=Budget(melts=14, firings=8, money=500.0, currency="EUR"),
    kiln=Kiln(max_temperature=Quantity(1280, "°C")),
    limits=(Limit(KEEP, "it eats the crucible", parse_comparison(KEEP)),),
    costs=Costs(melt=10.0, firing=15.0, loss={"contained": 45.0}),
    beliefs=(Belief({"peak": 1200.0}, "contained", 0.7),),
    seed=11,
)

# melt, peak, flux, grain, contained, fill, cracks, seeds; one melt a firing
ROWS = (
    (1, 1100, 26, "coarse", True, 70.0, NOT_REACHED, "many"),
    (2, 1100, 12, "fine", True, 95.0, "none", "few"),
    (3, 1225, 12, "coarse", False, NOT_REACHED, NOT_REACHED, NOT_REACHED),
    (4, 1225, 23, "fine", True, 100.0, "open", "clear"),
    (5, 1100, 12, "coarse", True, 55.0, NOT_REACHED, LOST),
    (6, 1100, 26, "fine", True, 98.0, LATER, "few"),
    (7, 1180, 20, "coarse", True, 100.0, "hairline", "clear"),
    (9, 1180, 20, "coarse", True, 97.0, "none", "few"),
)


def chain_log():
    names = [outcome.name for outcome in CHAIN_SERIES.outcomes]
    return Log(
        CHAIN_SERIES,
        tuple(
            Entry(
                melt,
                melt,
                {"peak": float(peak), "flux": float(flux), "grain": grain},
                dict(zip(names, seen, strict=True)),
                date=datetime.date(2026, 9, melt),
                note="Leaked at 1210 °C." if melt == 3 else "",
            )
            for melt, peak, flux, grain, *seen in ROWS
        ),
    )


def chain_plan():
    """Melts 3 and 4 were planned at 1240 °C, melt 8 is still to be made, melt 9 was never planned."""
    settings = [(1100, 26), (1100, 12), (1240, 12), (1240, 23), (1100, 12), (1100, 26), (1180, 20), (1180, 16)]
    grains = ("coarse", "fine", "coarse", "fine", "coarse", "fine", "coarse", "fine")
    melts = tuple(
        PlannedMelt(i + 1, i + 1, i + 1, {"peak": float(peak), "flux": float(flux), "grain": grain}, "fraction")
        for i, ((peak, flux), grain) in enumerate(zip(settings, grains, strict=True))
    )
    return Plan(CHAIN_SERIES, melts, "fraction", "part of all combinations of two levels", seed=11)


@cache
def whole_chain():
    return fit_chain(CHAIN_SERIES, chain_log())


@cache
def nothing_melted():
    return fit_chain(CHAIN_SERIES, Log(CHAIN_SERIES))


@cache
def two_amounts(limit=KEEP):
    """Pass or fail over two amounts, one of them on a logarithmic scale, some melts repeated."""
    hold = Amount("hold", 2, 8, unit="h", scale="log")
    limits = (Limit(limit, "it eats the crucible", parse_comparison(limit)),) if limit else ()
    series = MeltSeries("two amounts", (PEAK, FLUX, hold), (Outcome("poured", "pass"),), limits=limits, seed=2)
    rows = [(1100, 14, 2), (1240, 14, 8), (1240, 22, 4), (1100, 22, 8), (1180, 18, 4), (1180, 18, 4), (1180, 18, 4)]
    return fit_chain(series, passes(series, [(*row, row[0] > 1150 and row[1] > 15) for row in rows]))


@cache
def only_failures():
    series = MeltSeries("all failed", (FLUX, GRAIN), (Outcome("poured", "pass"),), seed=3)
    rows = [(12, "coarse", False), (26, "fine", False), (20, "fine", False)]
    return fit_chain(series, passes(series, rows))


@cache
def only_choices():
    sand = Ordered("sand", ("damp", "air dry", "oven dry"), label="State of the sand")
    series = MeltSeries("choices", (GRAIN, sand), (Outcome("whole", "pass"),), seed=4)
    rows = [(grain, dry, dry != "damp") for grain in GRAIN.options for dry in sand.options]
    return fit_chain(series, passes(series, rows))


@cache
def one_amount():
    series = MeltSeries("one amount", (FLUX,), (Outcome("poured", "pass"),), seed=5)
    return fit_chain(series, passes(series, [(12, False), (16, False), (20, True), (26, True)]))


@cache
def only_described():
    """A balanced two-level table of a measurement that is not judged: (1) 40 at the low, 60 at the high of peak."""
    series = MeltSeries("described", (PEAK, FLUX, GRAIN), (Outcome("light", "measured", unit="%"),), seed=6)
    plan = two_level_plan(series)
    entries = [
        Entry(m.melt, m.firing, m.settings, {"light": (40.0, 60.0)[m.settings["peak"] > 1150] + 0.1 * m.melt})
        for m in plan.melts
    ]
    return fit_chain(series, Log(series, tuple(entries)))


def two_level_plan(series):
    melts = [
        PlannedMelt(k + 1, k + 1, k + 1, {"peak": peak, "flux": flux, "grain": grain}, "full factorial")
        for k, (peak, flux, grain) in enumerate(
            (peak, flux, grain) for peak in (1100.0, 1240.0) for flux in (12.0, 26.0) for grain in GRAIN.options
        )
    ]
    return Plan(series, tuple(melts), "full", "all combinations of two levels", seed=6)


HOSTILE_NOTE = '<img src="http://evil.example/x.png" onerror=alert(1)> \x1b[31m \u202egnp ' + "n" * 200


@cache
def hostile():
    """Names that hold markup, formulas, other directions of writing and very long words."""
    factors = (
        Amount("flux_" + "x" * 60, 10, 30, label="<script>alert(1)</script> & $x^2$ <b>", unit="wt%<"),
        Choice("מליטה", ("<img src=x onerror=alert(1)>", "שלום עולם", "o" * 90), label="\u202e<u>label</u>"),
        Amount("溫度", 1100, 1200, unit="°C", step=10, set_per="firing"),
    )
    grade = Outcome("grade", "grade", grades=("<best>", "$mid$", '"worst"'), good=("<best>",), after="ok")
    held = Outcome("ok", "pass", question='</title><script>document.write("x")</script>Did it hold?')
    title = "<h1>Title</h1>\x00\x07 {{ 7*7 }} {% raw %}"
    series = MeltSeries(title, factors, (held, grade), goal="</p><svg onload=alert(1)> " + "w" * 200, seed=7)
    entries = [
        Entry(
            i + 1,
            i // 2 + 1,
            {
                factors[0].name: 10.0 + 3 * i,
                factors[1].name: factors[1].options[i % 3],
                factors[2].name: 1100.0 + 50 * (i // 2),
            },
            {"ok": i != 2, "grade": NOT_REACHED if i == 2 else grade.grades[i % 3]},
            note=HOSTILE_NOTE,
        )
        for i in range(6)
    ]
    return fit_chain(series, Log(series, tuple(entries)))


@cache
def forty_factors():
    factors = tuple(Amount(f"factor{i + 1}", 0, 10, unit="g", step=1) for i in range(40))
    series = MeltSeries("forty factors", factors, (Outcome("whole", "pass"),), seed=8)
    raw = np.where(np.random.default_rng(1).random((12, 40)) < 0.5, 0.0, 10.0)
    return fit_chain(series, passes(series, [(*row, row[0] > 5) for row in raw]))


def forty_plan():
    chain = forty_factors()
    melts = tuple(PlannedMelt(e.melt, e.firing, e.melt, e.settings, "screening") for e in chain.log.entries)
    return Plan(chain.series, melts, "by hand")


def passes(series, rows):
    """A log of one pass outcome; each row is the settings and then whether it was good."""
    name = series.outcomes[0].name
    entries = []
    for i, (*values, good) in enumerate(rows, 1):
        settings = {
            factor.name: value if isinstance(value, str) else float(value)
            for factor, value in zip(series.factors, values, strict=True)
        }
        entries.append(Entry(i, i, settings, {name: bool(good)}))
    return Log(series, tuple(entries))


@cache
def best_of(chain):
    """The best setting; among the melts made where a search would take long."""
    return chain.best(chain.log.raw) if len(chain.series.factors) > 8 else chain.best()


@cache
def advice_for(chain, ending="go on"):
    """Advice with figures that are easily found again on a page."""
    best = best_of(chain)
    melt = Suggestion(
        settings=best.settings, raw=best.raw, firing=6, chance=0.43, low=0.12, high=0.71, information=0.77,
        share_by_stage={chain.series.outcomes[0].name: 1.0}, gain=0.03, cost=27.0, risk=0.09,
    )  # fmt: skip
    verdict = Verdict(ending, reaches=0.31, reachable=0.52, gain=0.02, most_gain=0.11, cost=27.0, spent=120.0)
    return Advice((melt,), best, 0.33, None, None, "auto", 0.35, verdict, chain.level)


CASES = {
    "whole chain": (whole_chain, chain_plan, "go on"),
    "no plan": (one_amount, None, "reached"),
    "two amounts": (two_amounts, None, "go on"),
    "no limit": (lambda: two_amounts(""), None, "go on"),
    "no melts": (nothing_melted, None, "go on"),
    "planned": (nothing_melted, chain_plan, "go on"),
    "only failures": (only_failures, None, "out of reach"),
    "only choices": (only_choices, None, "go on"),
    "only described": (only_described, lambda: two_level_plan(only_described().series), None),
    "hostile names": (hostile, None, "go on"),
    "forty factors": (forty_factors, forty_plan, "melts spent"),
}


@cache
def case_of(name):
    """Chain, plan and advice of a case; no advice where nothing is judged."""
    chain, plan, ending = CASES[name]
    return chain(), plan() if plan else None, advice_for(chain(), ending) if ending else None


@cache
def pictures_for(name):
    """The figures of a case."""
    chain, plan, advice = case_of(name)
    return pictures_of(chain, plan, advice.best if advice else None, advice)


@cache
def drawn_for(name):
    """SVG text of the figures of a case, by name."""
    return {picture.name: standalone_svg(picture) for picture in pictures_for(name)}


@cache
def page_for(name):
    """The text of the page of a case."""
    return report_page(report_of(*case_of(name), pictures_for(name)), drawn_for(name))


class Page(HTMLParser):
    """A page taken apart: every element with its attributes, ids, headings, and the text of elements."""

    VOID = frozenset({"meta", "br", "img", "link", "input", "hr"})

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.elements, self.open, self.texts = [], [], []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open, f"</{tag}> closes nothing"
        assert self.open[-1] == tag, f"</{tag}> closes <{self.open[-1]}>"
        self.open.pop()

    def handle_data(self, data):
        self.texts.append((self.open[-1] if self.open else "", data))

    def all(self, *tags):
        return [attrs for tag, attrs in self.elements if tag in tags]

    def text(self, *tags):
        return " ".join(data for tag, data in self.texts if not tags or tag in tags)
