"""The example at the end of every command's help, run as it stands on a copy of the example series.

What takes minutes is run in small: fewer series played, no rehearsal of plans. The tour is run from the wheel, in
`test_wheel.py`.
"""

import re
import shlex
import shutil

import pytest
from running import called

from meltdoe.cli.app import COMMANDS
from meltdoe.shipped import shipped_folder
from meltdoe.steps import example_names

SMALLER = {"options": ["--rehearsals", "0"], "rehearse": ["--series", "1", "--workers", "1"]}


def example(command):
    """The words of the example in the help of a command."""
    told = called(command, "--help").out
    found = re.search(r"^ +Example: meltdoe ((?:.|\n(?! *\n))*)", told, flags=re.MULTILINE)
    assert found, f"the help of {command} has no example"
    behind = told[found.end() :].strip()
    assert behind.startswith(("Arguments:", "Options:")), f"the example of {command} does not end its text"
    return shlex.split(" ".join(found[1].split()))


@pytest.fixture
def place(tmp_path, monkeypatch):
    """A folder that holds a copy of the example series with its log."""
    shutil.copytree(shipped_folder("examples") / "obsidian-block", tmp_path / "obsidian-block")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("command", COMMANDS)
def test_what_an_option_takes_is_said_in_words(command):
    told = called(command, "--help").out
    options = re.findall(r"^ +(?:-\w, )?(--\S.*?)(?:  |$)", told, flags=re.MULTILINE)
    assert "--json" in options
    assert not [option for option in options if "<" in option], "no names of kinds of data"


def test_the_examples_are_named_where_one_is_asked_for():
    for command in ("tour", "begin"):
        told = " ".join(called(command, "--help").out.split()).replace("- ", "-")
        named = re.search(r"(?:through|series\.toml): ([a-z, -]+)\.", told)[1]
        assert set(re.split(r", | or ", named)) == set(example_names())


def test_the_example_of_the_tour_names_a_folder():
    assert example("tour") == ["tour", "my-first-look"]


@pytest.mark.parametrize("command", [command for command in COMMANDS if command != "tour"])
def test_the_example_in_the_help_works(command, place):
    words = example(command)
    assert words[0] == command
    if command == "record":  # a melt that the plan has and the log has not
        assert called("begin", "my-series", "--from", "obsidian-block").code == 0
        assert called("plan", "my-series").code == 0
    ran = called(*words, *SMALLER.get(command, []))
    assert ran.code == 0, ran.err
    assert "Traceback" not in ran.err
