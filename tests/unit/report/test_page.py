"""The page: sound HTML that asks nothing of anyone, holds hostile words harmlessly, and is the same every time."""

import base64
import hashlib
import itertools
import re

import pytest
from invented_reports import CASES, Page, case_of, drawn_for, page_for, pictures_for

from meltdoe.report.advice_sentences import tells
from meltdoe.report.report_files import report_files


@pytest.fixture(scope="module")
def pages():
    return {name: Page(page_for(name)) for name in CASES}


@pytest.mark.parametrize("case", CASES)
def test_the_page_is_well_formed(pages, case):
    page = pages[case]
    assert page.open == []
    ids = [attrs["id"] for _, attrs in page.elements if "id" in attrs]
    assert len(ids) == len(set(ids))
    for attrs in page.all("a"):
        assert attrs["href"].removeprefix("#") in ids
    for _, attrs in page.elements:
        if "aria-labelledby" in attrs:
            assert attrs["aria-labelledby"] in ids


@pytest.mark.parametrize("case", CASES)
def test_headings_come_in_order(pages, case):
    levels = [int(tag[1]) for tag, _ in pages[case].elements if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))


@pytest.mark.parametrize("case", CASES)
def test_whoever_listens_is_told_what_a_figure_shows(pages, case):
    page = pages[case]
    pictures = [attrs for attrs in page.all("svg") if attrs.get("role") == "img"]
    assert len(pictures) == len(page.all("figure")) == len(page.all("figcaption"))
    assert len(pictures) == len(pictures_for(case))
    assert len(page.all("title")) == 1 + len(pictures)
    assert page.all("html")[0]["lang"] == "en-GB"


@pytest.mark.parametrize("case", CASES)
def test_tables_have_captions_and_headings_with_a_scope(pages, case):
    page = pages[case]
    assert len(page.all("table")) == len(page.all("caption")) > 0
    assert all(attrs["scope"] in ("col", "row") for attrs in page.all("th"))


@pytest.mark.parametrize("case", CASES)
def test_the_page_asks_nothing_of_anyone(pages, case):
    page, text = pages[case], page_for(case)
    assert all(attrs.keys() <= {"type", "id"} for attrs in page.all("script"))
    assert not page.all("img", "link", "iframe", "object", "embed", "image", "foreignobject")
    for _, attrs in page.elements:
        for name, value in attrs.items():
            assert not name.startswith("on")
            if name in ("src", "href", "xlink:href", "srcset", "action", "data"):
                assert value.startswith("#")
            assert all(target.startswith("#") for target in re.findall(r"url\(\s*['\"]?([^)'\"]*)", value or ""))
    assert "@import" not in text
    assert "url(" not in text[text.index("<style>") : text.index("</style>")]
    policy = page.all("meta")[1]["content"]
    assert policy.startswith("default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-")
    for script in re.findall(r"<script>(.*?)</script>", text, re.DOTALL):
        digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in policy


def test_the_same_series_gives_the_same_files():
    files = report_files(*case_of("no plan"), extras=["png"])
    assert files["report.html"] == page_for("no plan")
    names = {f"figures/{name}.{kind}" for name in drawn_for("no plan") for kind in ("svg", "png")}
    assert files.keys() == {"report.html"} | names
    assert report_files(*case_of("no plan")) == {name: files[name] for name in files if not name.endswith(".png")}


def test_a_report_stays_small():
    assert max(len(page_for(name)) for name in CASES) < 5_000_000


def test_hostile_words_are_shown_and_do_nothing(pages):
    page, text = pages["hostile names"], page_for("hostile names")
    assert "<script>alert(1)</script> & $x^2$ <b>" in page.text("td")
    assert "{{ 7*7 }} {% raw %}" in page.text("h1")
    assert "49" not in page.text("h1")
    assert '<img src="http://evil.example/x.png" onerror=alert(1)>' in page.text("bdi")
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069]", text)
    assert not page.all("b", "u", "i")


def test_sections_stand_in_the_order_of_the_reader(pages):
    headings = re.findall(r"(\d+)\. ([A-Z][^\d]*?)(?=\s\d+\. [A-Z]|$)", pages["whole chain"].text("h2"))
    assert [int(number) for number, _ in headings] == list(range(1, 16))
    assert [title.strip() for _, title in headings][:3] == [
        "What was wanted", "The answer", "How the series was planned, and why",
    ]  # fmt: skip


def test_figures_and_tables_are_numbered_from_one(pages):
    for page in pages.values():
        strong = page.text("strong")
        for kind, count in (("Figure", len(page.all("figure"))), ("Table", len(page.all("table")))):
            assert [int(n) for n in re.findall(rf"{kind} (\d+)\.", strong)] == list(range(1, count + 1))


def test_numbers_of_the_advice_stand_on_the_page(pages):
    page = pages["whole chain"]
    cells = page.text("td").replace("\u00a0", " ")
    for figure in ("43 %", "12 % to 71 %", tells(0.77), "27", "9 %"):
        assert figure in cells
    assert "Go on." in page.text("strong")
    assert "Stop." in pages["no plan"].text("strong")


def test_what_is_missing_is_said_and_not_left_empty(pages):
    said = pages["no melts"].text("p")
    assert "No plan was drawn up" in said
    assert "Nothing has been melted yet" in said
    assert "There is nothing to draw yet: no melt has been made" in said
    assert "no outcome is judged" in pages["only described"].text("p")
    assert "The plan was made by hand" in pages["forty factors"].text("p")


def test_the_seed_and_the_level_stand_in_the_methods(pages):
    said = " ".join(pages["whole chain"].text("p").split())
    assert "Intervals are equal-tailed at 90 %" in said
    assert "Seed of all draws: 11." in said
    assert "2000 equally weighted draws" in said
