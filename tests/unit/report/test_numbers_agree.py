"""Numbers in the sentences of a page are those of its tables: read back from the page itself, as a reader would."""

import re
from functools import cache

import pytest
from invented_reports import case_of, drawn_for, pictures_for

from meltdoe.report.audiences import AUDIENCES
from meltdoe.report.html import report_page
from meltdoe.report.page_blocks import FigureBlock, Heading, Item, Paragraph, TableBlock, page_blocks
from meltdoe.report.plans_compared import plans_compared
from meltdoe.report.sections import report_of

READERS = [reader for reader in AUDIENCES if reader != "gallery"]


@cache
def report():
    chain, plan, advice = case_of("whole chain")
    return report_of(chain, plan, advice, pictures_for("whole chain"), plans_compared(plan))


@cache
def blocks(reader=None):
    return page_blocks(report_page(report(), drawn_for("whole chain"), reader))


def table(caption, reader=None):
    """Rows of a table as dictionaries; the caption without its number."""
    found = [
        b for b in blocks(reader) if isinstance(b, TableBlock) and re.sub(r"Table \d+\. ", "", b.caption) == caption
    ]
    assert len(found) == 1, caption
    return [dict(zip(found[0].columns, row, strict=True)) for row in found[0].rows]


def said(reader=None):
    return [b.text.replace("\u00a0", " ") for b in blocks(reader) if isinstance(b, Paragraph | Item)]


def sentence(pattern, reader=None):
    """The numbers and words that a sentence of the page fills a pattern with."""
    found = [match for text in said(reader) if (match := re.search(pattern, text))]
    assert found, pattern
    return found[0].groups()


def percents(text):
    return re.findall(r"(?:under |over )?\d+ %", text)


@pytest.mark.parametrize("reader", READERS)
def test_every_page_states_one_chance_for_the_recommended_setting(reader):
    chance, low, high = sentence(r"Chance of success (.+?), between (.+?) and (.+?) with 90 %", reader)
    titles = {section.id for section in AUDIENCES[reader].sections}
    if "answer" in titles:
        assert sentence(r"with a chance of success of (.+?), between (.+?) and (.+?) with 90 %", reader) == (
            chance, low, high,
        )  # fmt: skip
    for numbers in re.finditer(r"instead of ((?:under |over )?\d+ %)", " ".join(said(reader))):
        assert numbers[1] == chance


def test_the_risk_in_the_text_is_the_largest_of_the_table_of_stages():
    name, share, chance = sentence(
        r"It is most likely to fail at (.+?): (.+?) of the expected failures lie there, and a melt that gets that far "
        r"has a chance of (.+?) to be good"
    )
    rows = table("Where the remaining risk lies at the recommended setting")
    shares = {row["Stage"]: float(row["Share of expected failures"].removesuffix(" %")) for row in rows}
    stage = max(shares, key=shares.get)
    assert stage.split()[0] == name
    assert f"{shares[stage]:g} %" == share
    assert next(row["Chance, once reached"] for row in rows if row["Stage"] == stage) == chance


def test_counts_in_the_text_are_those_of_the_table_of_every_melt():
    rows = table("Every melt and what happened")
    failed, melts = sentence(r"Of \d+ melts on record (\d+) failed somewhere \(melts (.+?)\)")
    bad = [row["Melt"] for row in rows if row["All good"] == "no"]
    assert int(failed) == len(bad) == len(table("Every melt that failed, and where", "maker"))
    assert {n for part in re.findall(r"\d+(?: to \d+)?", melts) for n in spread(part)} == set(bad)
    good, seen = sentence(r"Contained: (\d+) of (\d+) were good")
    assert int(good) == sum(row["contained"] == "yes" for row in rows)
    assert int(seen) == sum(row["contained"] in ("yes", "no") for row in rows)
    by_stage = {
        row["Stage"]: row["Good of all seen"]
        for row in table("Where the remaining risk lies at the recommended setting")
    }
    assert by_stage["contained"] == f"{good} of {seen}"


def spread(part):
    first, _, last = part.partition(" to ")
    return [str(n) for n in range(int(first), int(last or first) + 1)]


def test_every_effect_in_the_text_stands_in_its_table_and_in_the_words_of_its_figure():
    compared = 0
    for part in report().learnt:
        learnt = part.table
        if learnt is None:
            continue
        rows = table(learnt.caption)
        # those that the table alone tells, too
        for text in dict.fromkeys((*part.sentences, *(effect.sentence for effect in part.stage.effects))):
            found = re.search(r"(\S+) (\S+?)(?: \S+)? instead of .*?: chance of .+? from (.+?) to (.+?);", text)
            if not found:
                continue
            row = next(row for row in rows if row["Change"].startswith(found[1].lower()))
            assert row["Chance of good"] == f"{found[3]} → {found[4]}"
            low, high = re.search(r"between (\S+) and (\S+) points", text).groups()
            assert row["Change (points)"] == f"{low} to {high}"
            figures = [b for b in blocks() if isinstance(b, FigureBlock) and b.name.startswith("effects-")]
            assert any(f"{found[3]} to {found[4]}" in b.alt or f"{found[3]} → {found[4]}" in b.alt for b in figures)
            compared += 1
    assert compared >= 3


def test_past_predictions_in_the_text_are_the_sums_of_their_table():
    rows = [row for row in table("What was foretold before each melt") if row["Outcome"] != "full success"]
    n, expected, came = sentence(r"of (\d+) that were then seen (\S+) were expected to be good and (\d+) were")
    assert int(n) == len(rows)
    assert int(came) == sum(row["Came"] == "good" for row in rows)
    # the table rounds to whole points
    assert float(expected) == pytest.approx(
        sum(float(percents(row["Chance stated before"])[0].split()[-2]) / 100 for row in rows),
        abs=0.005 * len(rows) + 0.06,
    )


def test_the_choice_of_the_plan_in_the_text_is_that_of_its_table():
    rows = table("The plans that the budget allows, side by side")
    own = [row for row in rows if row["Plan"].endswith("(this series)")]
    assert len(own) == 1
    melts, firings, power = sentence(r"The plan of this series takes (\d+) melts in (\d+) firings.*chance of (\d+ %)")
    assert (own[0]["Melts"], own[0]["Firings"], own[0]["Power"]) == (melts, firings, power)
    assert (melts, firings) == ("8", "8")
    cost = sentence(r"about (\d+) EUR with the losses")[0]
    assert own[0]["Cost to expect, EUR"] == cost
    assert int(sentence(r"(\d+) plans are put side by side")[0]) == len(rows)


def test_the_first_proposal_in_the_text_is_the_first_row_of_its_table():
    row = table("The next melts proposed")[0]
    chance, low, high = sentence(r"Chance of full success (.+?), between (.+?) and (.+?) with 90 %")
    assert row["Chance"] == chance
    assert row["Interval, 90 %"] == f"{low} to {high}"


def test_headings_number_tables_and_figures_without_a_gap():
    for reader in AUDIENCES:
        captions = [b.caption for b in blocks(reader) if isinstance(b, TableBlock)]
        assert [int(re.search(r"Table (\d+)", c)[1]) for c in captions] == list(range(1, len(captions) + 1))
        figures = [b.caption for b in blocks(reader) if isinstance(b, FigureBlock)]
        assert [int(re.search(r"Figure (\d+)", c)[1]) for c in figures] == list(range(1, len(figures) + 1))
        assert isinstance(blocks(reader)[0], Heading)
