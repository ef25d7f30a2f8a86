"""The explanations: every topic has a page that fits a terminal, names its sources, and can be asked for."""

import json
import subprocess
import sys
from importlib.resources import files

import pytest

from meltdoe.errors import WrongUsage
from meltdoe.explain import page, title, topics


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
    with pytest.raises(WrongUsage, match="the topics are plans, firing"):
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
