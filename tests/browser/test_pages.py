"""Every invented page in a browser: no error, no request, nothing of the series executed, tables that sort and copy."""

import json
import os
from functools import cache
from pathlib import Path

import pytest
from invented_reports import CASES, case_of, drawn_for, page_for, pictures_for

from meltdoe.report.audiences import AUDIENCES
from meltdoe.report.html import report_page
from meltdoe.report.sections import report_of

PHONE, DESKTOP = 500, 1280  # no window of a browser is narrower than 500
AXE = os.environ.get("AXE", "")  # a file: the accessibility checker axe-core, where one is at hand

CHECKS = """
const said = [];
const ids = [...document.querySelectorAll("[id]")].map((one) => one.id);
if (new Set(ids).size !== ids.length) said.push("an id stands twice");
for (const one of document.querySelectorAll("button, input, select, a"))
  if (!(one.labels?.[0]?.textContent || one.textContent || one.getAttribute("aria-label") || "").trim())
    said.push(`no name: ${one.outerHTML.slice(0, 80)}`);
for (const one of document.querySelectorAll("main table"))
  if (!one.caption) said.push("a table without a caption");
for (const one of document.querySelectorAll("svg[role=img]"))
  if (!document.getElementById(one.getAttribute("aria-labelledby"))?.textContent) said.push("a figure without words");
const strange = document.querySelectorAll("main b, main u, main img").length;
return [said, document.documentElement.scrollWidth, innerWidth, strange];
"""


@pytest.mark.parametrize("case", CASES)
def test_a_page_opens_without_error_request_or_overflow(in_browser, case):
    answer = in_browser(page_for(case), CHECKS, width=PHONE)
    assert answer["seen"] == []
    assert answer["loaded"] == []
    said, wide, room, strange = answer["found"]
    assert said == []
    assert wide <= room
    assert strange == 0


@cache
def report_for_hostile():
    return report_of(*case_of("hostile names"), pictures_for("hostile names"))


@pytest.mark.parametrize("reader", [reader for reader in AUDIENCES if reader])
def test_pages_for_other_readers_are_as_harmless(in_browser, reader):
    answer = in_browser(report_page(report_for_hostile(), drawn_for("hostile names"), reader), CHECKS, width=PHONE)
    assert answer["seen"] == []
    assert answer["loaded"] == []
    said, wide, room, strange = answer["found"]
    assert (said, strange) == ([], 0)
    assert wide <= room


def test_a_table_is_put_in_order_and_copied(in_browser):
    script = """
        const tables = [...document.querySelectorAll("table")];
        const table = tables.find((one) => one.caption?.textContent.includes("Every melt and"));
        const heads = [...table.tHead.rows[0].cells];
        const peak = heads.findIndex((cell) => cell.textContent.trim().startsWith("peak"));
        const column = () => [...table.tBodies[0].rows].map((row) => parseFloat(row.cells[peak].textContent));
        const orders = [];
        for (let i = 0; i < 2; i++) {
          heads[peak].querySelector("button").click();
          orders.push([heads[peak].getAttribute("aria-sort"), column()]);
        }
        let copied = "";
        Object.defineProperty(navigator, "clipboard", { value: { writeText: async (text) => { copied = text; } } });
        table.parentElement.nextElementSibling.click();
        await new Promise((done) => setTimeout(done, 50));
        return [orders, copied.split("\\n").map((line) => line.split("\\t").length), table.rows.length];"""
    answer = in_browser(page_for("whole chain"), script, width=DESKTOP)
    assert answer["seen"] == []
    (up, rising), (down, falling) = answer["found"][0]
    assert (up, down) == ("ascending", "descending")
    assert rising == sorted(rising)
    assert falling == sorted(falling, reverse=True)
    cells, rows = answer["found"][1:]
    assert len(cells) == rows
    assert len(set(cells)) == 1


if AXE:

    @pytest.mark.parametrize("case", ["whole chain", "hostile names", "no melts"])
    def test_an_accessibility_checker_is_content(in_browser, case):
        checker = Path(AXE).read_text(encoding="utf-8").replace("</script", "<\\/script")
        script = (
            checker + "; return (await axe.run()).violations.map((one) => [one.id, one.nodes[0].html.slice(0, 200)]);"
        )
        assert json.dumps(in_browser(page_for(case), script)["found"]) == "[]"
