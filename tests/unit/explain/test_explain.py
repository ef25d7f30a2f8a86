"""The explanations: every topic has a page that fits a terminal, names its sources, and can be asked for."""

import json
import re
import subprocess
import sys
import tempfile
from importlib.resources import files
from pathlib import Path

import pytest

from meltdoe.errors import WrongUsage
from meltdoe.explain import page, title, topics
from meltdoe.files.series.series_toml import check_series_text
from meltdoe.files.series.truth_toml import read_truth
from meltdoe.plans.designs_offered import DESIGNS
from meltdoe.report.audiences import AUDIENCES
from meltdoe.report.plan_sentences import EFFECT_COLUMNS
from meltdoe.shipped import shipped_folder
from meltdoe.steps import read_series


def explain(*words):
    return subprocess.run([sys.executable, "-m", "meltdoe", "explain", *words], capture_output=True, text=True)


def test_every_page_is_listed_and_every_topic_has_a_page():
    written = {entry.name.removesuffix(".txt") for entry in (files("meltdoe.explain") / "topics").iterdir()}
    assert written == set(topics())


@pytest.mark.parametrize("topic", topics())
def test_a_page_fits_a_terminal_and_ends_with_its_sources(topic):
    text = page(topic)
    assert max(map(len, text.splitlines())) <= 80
    first, blank, *rest = text.splitlines()
    assert first == title(topic)
    assert blank == ""
    assert any(line == "Sources:" for line in rest[-12:])
    assert 12 <= len(rest) <= 60


@pytest.mark.parametrize("topic", topics())
def test_a_page_sends_readers_only_to_pages_that_exist(topic):
    words = page(topic).replace("\n", " ").split("meltdoe explain ")[1:]
    assert all(word.split()[0].strip(").,;") in topics() for word in words)


def test_an_unknown_topic_suggests_the_nearest():
    with pytest.raises(WrongUsage, match='did you mean "firing"'):
        page("fireing")
    with pytest.raises(WrongUsage, match="the topics are plans, figures"):
        page("xyz")


def test_the_command_lists_and_prints():
    listed = explain()
    assert listed.returncode == 0
    assert all(topic in listed.stdout for topic in topics())
    assert explain("stop").stdout.startswith("When to stop\n")
    assert {"topic", "title", "text"} <= set(json.loads(explain("stop", "--json").stdout))
    wrong = explain("stopp")
    assert (wrong.returncode, wrong.stdout) == (2, "")
    assert wrong.stderr == 'meltdoe: there is no topic "stopp"; did you mean "stop"?\n'


def test_the_truth_on_its_page_can_be_rehearsed_against():
    lines = [line[4:] for line in page("truth").splitlines() if line.startswith("    ") or not line]
    block = "\n".join(lines).partition("meltdoe rehearse")[0]
    series = read_series(shipped_folder("examples") / "obsidian-block")
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "truth.toml"
        file.write_text(block, encoding="utf-8")
        truth = read_truth(file, series)
    assert [outcome.name for outcome in truth.outcomes] == ["contained", "poured", "fill", "cracks"]
    for key in ("chance", "log_odds", "chances", "together", "firing_sd", "spread"):
        assert f"- {key}:" in page("truth"), "every key of the file is explained"


def test_every_design_is_on_the_page_of_plans():
    assert all(re.search(rf"\b{name}\b", page("plans"), flags=re.IGNORECASE) for name in DESIGNS if name != "auto")


def test_every_heading_of_a_plan_is_explained():
    for heading in EFFECT_COLUMNS[1:]:
        assert f"{heading}:" in page("figures"), heading
    assert all(word in page("figures") for word in ("at worst", "power", "finds", "lost", "leverage", "Resolution"))


@pytest.mark.parametrize("command", ["options", "plan", "glass", "analyse"])
def test_a_screen_of_figures_points_to_its_page(command):
    module = {"glass": "buying", "analyse": "analysis"}.get(command, "planning")
    text = (files("meltdoe.cli") / f"{module}.py").read_text(encoding="utf-8")
    named = [word.split("meltdoe explain ")[1] for word in re.findall(r"meltdoe explain [a-z]+", text)]
    assert named
    assert set(named) <= set(topics())


def test_the_series_files_on_the_pages_are_read_as_they_stand():
    """The blocks of `changes` and `beliefs` in a whole series: every key is one that the program knows."""
    rest = '[[outcome]]\nname = "contained"\nkind = "pass"\n[[outcome]]\nname = "poured"\nkind = "pass"\n'
    amounts = "".join(
        f'[[factor]]\nname = "{name}"\nkind = "amount"\nlow = {low}\nhigh = {high}\n'
        for name, low, high in (("flux", 10, 30), ("peak", 1100, 1240))
    )
    for topic, chosen in (("changes", "[[factor]]"), ("beliefs", "[[belief]]")):
        blocks = [block for block in re.findall(r"(?:^    .*\n)+", page(topic), flags=re.MULTILINE) if chosen in block]
        assert blocks
        text = "".join(line[4:] + "\n" for block in blocks for line in block.splitlines())
        series, problems = check_series_text(f'title = "x"\n{text}{amounts}{rest}')
        assert problems == (), topic
    assert "from_melt" in page("changes")
    assert series is not None


def test_every_section_that_the_page_on_the_report_names_is_one():
    titles = " | ".join(section.title for section in AUDIENCES[None].sections)
    text = " ".join(page("report").split())
    named = [*re.findall(r'"(What [^"]+)"', text), "How far this can be trusted", "What happened", "The methods"]
    assert len(named) >= 6
    assert all(name.removeprefix("The ").capitalize() in titles for name in named)
