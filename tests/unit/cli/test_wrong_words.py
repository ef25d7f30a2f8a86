"""Words that the command line cannot use: one line each, with what to type instead, however they went wrong."""

import shlex

import pytest

from meltdoe.cli.app import COMMANDS, app
from meltdoe.cli.wrong_words import is_wrong_words, wrong_words


def said(line):
    """What is said of a line of words behind `meltdoe`."""
    typed = shlex.split(line)
    with pytest.raises(Exception) as caught:
        app(typed, prog_name="meltdoe", standalone_mode=False)
    assert is_wrong_words(caught.value)
    return wrong_words(caught.value, typed, tuple(COMMANDS))


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("bake", "the commands are tour, begin, check"),
        ("analyze", "write meltdoe analyse"),
        ("--loud", 'there is no option "--loud" before a command; see: meltdoe --help'),
        ("record --sean a=b", 'there is no option "--sean" behind meltdoe record; write --seen'),
        ("plan -m 4", 'there is no option "-m" behind meltdoe plan'),
        ("record --melt", "--melt needs a value behind it; see: meltdoe record --help"),
        ("check --json=3", "--json is given without a value"),
        ("check my series", 'meltdoe check takes one folder, and "series" comes on top of it; put a name with spaces'),
        ("explain a b", 'takes one topic, and "b" comes on top'),
        ("next --aim win", '--aim takes auto, learn or reach, not "win"'),
        ("next --aim 'it''s on'", '--aim takes auto, learn or reach, not "its on"'),
        ("report --for me", '--for takes maker, gallery, journal or course, not "me"'),
        ("report --with=pdf", '--with takes docx, markdown, png or tables, not "pdf"'),
        ("analyse --level high", '--level takes a number from 50 to 99.9, not "high"'),
        ("analyse --level=100", '--level takes a number from 50 to 99.9, not "100"'),
        ("plan --melts 0", '--melts takes a whole number of at least 1, not "0"'),
        ("plan --melts 2.5", '--melts takes a whole number of at least 1, not "2.5"'),
        ("plan --variance-ratio -1", '--variance-ratio takes a number of at least 0, not "-1"'),
        ("next --most-risk 12,5", 'from 0 to 100, not "12,5"; write the decimals behind a point'),
    ],
)
def test_one_line_names_the_word_and_the_way_out(line, words):
    told = said(line)
    assert words in told
    assert "\n" not in told
    assert "Value error" not in told
    assert "Input should" not in told


def test_a_folder_in_place_of_a_command_is_seen_to_be_one(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "blocks").mkdir()
    assert (
        said("blocks")
        == 'there is no command "blocks"; the folder goes behind a command, such as: meltdoe check "blocks"'
    )


def test_anything_else_is_a_fault_of_its_own():
    assert not is_wrong_words(ValueError("x"))
