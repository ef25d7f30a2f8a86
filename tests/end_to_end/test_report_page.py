"""From a folder with files to a report with its figures, through the library alone. The series is invented."""

import hashlib
import re
import shutil
import xml.etree.ElementTree as ET

import pytest
from running import called

from meltdoe import next_melts, read_log, read_plan, read_series, write_report
from meltdoe.files.store.recording import record_melt
from meltdoe.report.figure_files import pictures_of
from meltdoe.report.figures.page_svg import standalone_svg
from meltdoe.report.plans_compared import plans_compared
from meltdoe.shipped import shipped_folder
from meltdoe.steps import draw_up_plan, fit_folder

SEEN = (
    {"contained": "no"},
    {"contained": "yes", "poured": "no"},
    {"contained": "yes", "poured": "yes", "solid": "no"},
    {"contained": "yes", "poured": "yes", "solid": "yes", "whole": "later"},
    {"contained": "yes", "poured": "yes", "solid": "yes", "whole": "yes"},
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Six old attempts: a plan of eight melts, five of them made."""
    folder = tmp_path_factory.mktemp("work") / "castings"
    folder.mkdir()
    shutil.copy(shipped_folder("examples") / "six-old-attempts" / "series.toml", folder)
    plan, _ = draw_up_plan(folder, melts=8)
    for melt, seen in zip(plan.melts, SEEN, strict=False):
        record_melt(read_series(folder), melt.melt, seen=seen, note="see the photograph")
    write_report(folder)
    return folder


def test_the_report_holds_the_series_and_every_melt(folder):
    page = (folder / "report.html").read_text(encoding="utf-8")
    series = read_series(folder)
    assert page.startswith("<!DOCTYPE html>")
    assert series.title in page
    assert len(read_log(series).entries) == len(SEEN)
    assert "see the photograph" in page
    assert "5 melts in 5 firings" in page
    assert len(page) < 5_000_000


def test_fingerprints_on_the_page_are_those_of_the_files(folder):
    page = (folder / "report.html").read_text(encoding="utf-8")
    for name in ("series.toml", "plan.csv", "log.csv"):
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() in page
    assert f"meltdoe report {folder.name} --seed {read_series(folder).seed}" in page
    assert str(folder.parent) not in page


def test_the_log_on_the_page_is_the_log_in_the_folder(folder):
    page = (folder / "report.html").read_text(encoding="utf-8")
    shown = re.search(r"<pre[^>]*>(.*?)</pre>", page, re.DOTALL).group(1)
    assert shown.splitlines() == (folder / "log.csv").read_text(encoding="utf-8").splitlines()


def test_every_figure_on_the_page_is_a_file_too(folder):
    page = (folder / "report.html").read_text(encoding="utf-8")
    svgs = sorted((folder / "figures").glob("*.svg"))
    assert len(svgs) == page.count("<figure ") > 3
    for path in svgs:
        assert ET.parse(path).getroot().tag == "{http://www.w3.org/2000/svg}svg"
        assert not path.with_suffix(".png").exists()


def test_figures_as_pixels_are_renewed_once_they_have_been_asked_for(folder, tmp_path):
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    write_report(copy, extras=["png"])
    shown = sorted((copy / "figures").glob("*.png"))
    assert {one.stem for one in shown} == {one.stem for one in (copy / "figures").glob("*.svg")}
    before = shown[0].read_bytes()
    assert before.startswith(b"\x89PNG")
    shown[0].write_bytes(b"of an earlier state")
    write_report(copy)
    assert shown[0].read_bytes() == before


def test_writing_again_gives_the_same_figures(folder):
    before = {path.name: path.read_bytes() for path in (folder / "figures").glob("*.svg")}
    chain = fit_folder(folder)
    plan = read_plan(chain.series)
    again = pictures_of(chain, plan, chain.best(), next_melts(chain), plans_compared(plan))
    assert {f"{one.name}.svg": standalone_svg(one).encode() for one in again} == before


def test_one_command_writes_a_readers_page_and_the_same_for_other_documents(folder):
    before = (folder / "report.html").read_bytes()
    done = called("report", folder, "--for", "journal", "--with", "docx", "--with", "markdown", "--with", "tables")
    assert done.code == 0
    assert "report-for-journal.html" in done.out
    page = (folder / "report-for-journal.html").read_text(encoding="utf-8")
    assert "Introduction and aims" in page
    assert (folder / "report-for-journal.docx").read_bytes().startswith(b"PK")
    assert "# " in (folder / "report-for-journal.md").read_text(encoding="utf-8")
    assert len(list((folder / "tables").glob("*.csv"))) == page.count("<table>")
    assert (folder / "report.html").read_bytes() == before
