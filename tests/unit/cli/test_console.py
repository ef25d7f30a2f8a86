"""What reaches the screen: plain tables, inert text, questions, and documents that any JSON reader takes."""

import io
import json
import math
from pathlib import Path

import numpy as np
import pytest

from meltdoe.cli import console
from meltdoe.errors import WrongUsage


class Ascii(io.StringIO):
    """A terminal that knows no letters beyond a to z."""

    encoding = "ascii"


@pytest.fixture
def answers(monkeypatch):
    """Put answers where a person would type them."""
    return lambda text: monkeypatch.setattr("sys.stdin", io.StringIO(text))


def test_a_document_is_one_and_plain(capsys):
    console.print_json(
        {
            "array": np.array([[1.0, np.nan], [np.inf, -0.5]]),
            "whole": np.int64(3),
            "yes": np.bool_(True),
            "path": Path("a") / "b",
            "words": ("é", None),
            "endless": math.inf,
            7: {"nested": {1.5}},
        }
    )
    said = capsys.readouterr()
    assert json.loads(said.out) == {
        "format": 1,
        "array": [[1.0, None], [None, -0.5]],
        "whole": 3,
        "yes": True,
        "path": str(Path("a") / "b"),
        "words": ["é", None],
        "endless": None,
        "7": {"nested": [1.5]},
    }
    assert said.err == ""


class Terminal(io.StringIO):
    """Something that a person looks at."""

    def isatty(self):
        return True


def test_a_terminal_gets_lines_as_wide_as_itself_and_a_file_gets_each_in_one(monkeypatch):
    line = "  Chance of success there 34 %, between under 1 % and 86 % with 90 % probability, at peak 1100 °C."
    monkeypatch.setenv("COLUMNS", "32")
    for name, say in (("stdout", console.say), ("stderr", console.warn)):
        shown, kept = Terminal(), io.StringIO()
        monkeypatch.setattr(f"sys.{name}", shown)
        say(line, "short", "")
        monkeypatch.setattr(f"sys.{name}", kept)
        say(line, "short", "")
        assert kept.getvalue().splitlines() == [line, "short", ""]
        *parts, short, empty = shown.getvalue().splitlines()
        assert (short, empty) == ("short", "")
        assert len(parts) == 4
        assert all(len(part) <= 32 and not part.lstrip().startswith("%") for part in parts)
        assert parts[0].startswith("  Chance")
        assert all(part.startswith("    ") for part in parts[1:]), "what follows is set in"
        assert " ".join(shown.getvalue().split()) == " ".join([*line.split(), "short"])


def test_a_document_loses_no_letter_in_a_poor_terminal(monkeypatch):
    out = Ascii()
    monkeypatch.setattr("sys.stdout", out)
    console.print_json({"note": "Wärme 日本 🔥"})
    assert out.getvalue().isascii()
    assert json.loads(out.getvalue())["note"] == "Wärme 日本 🔥"


@pytest.mark.parametrize("mark", ["\x1b[2J", "\x07", "\x00", "\x9b31m", "\u202e", "\u2066", "\u200f", "\x7f", "\r"])
def test_marks_that_steer_a_terminal_are_taken_out(mark, capsys):
    console.say(f"before{mark}after")
    console.warn(f"before{mark}after")
    said = capsys.readouterr()
    assert mark not in said.out + said.err
    assert "before\N{REPLACEMENT CHARACTER}" in said.out


def test_ordinary_letters_stay():
    assert console.inert("Wärme, 1190 °C, ½, 日本, 🔥\ttab") == "Wärme, 1190 °C, ½, 日本, 🔥\ttab"


def test_a_table_aligns_numbers_to_the_right_and_words_to_the_left():
    assert console.table(["melt", "cost", "sand"], [[1, "9.5", "coarse"], [12, "110", "fine"]]) == [
        "melt  cost  sand",
        "----  ----  ------",
        "   1   9.5  coarse",
        "  12   110  fine",
    ]


def test_a_table_without_rows_is_its_headings():
    assert console.table(["melt", "cost"], []) == ["melt  cost", "----  ----"]


@pytest.mark.parametrize("widest", [40, 60, 80])
def test_a_wide_table_is_wrapped_and_loses_nothing(widest):
    words = "a long remark about what was seen in the kiln that evening " * 3
    lines = console.table(["melt", "remark", "more"], [[1, words, words], [2, "short", "x" * 90]], widest=widest)
    assert max(map(len, lines)) <= widest
    together = "".join("".join(lines).split())
    assert together.count("x") >= 90
    assert sum(line.count("evening") for line in lines) == 6 or widest < 60


def test_a_hostile_cell_stays_within_its_table():
    lines = console.table(["name"], [["a\x1b[31mb"]])
    assert "\x1b" not in "".join(lines)


def test_a_question_is_asked_on_standard_error_and_enter_takes_the_default(answers, capsys):
    answers("\n  97 \n\n")
    assert [console.ask("How full?", "80"), console.ask("How full?", "80"), console.ask("Why?", "")] == ["80", "97", ""]
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == "How full? [80] How full? [80] Why? "


def test_answers_that_end_early_are_wrong_usage(answers):
    answers("")
    with pytest.raises(WrongUsage, match="ended before the last question"):
        console.ask("How full?", "80")


def test_commands_that_are_hinted_at_carry_the_folder_as_it_was_typed(capsys):
    try:
        console.remember_folder(Path("my melts"))
        console.warn(
            "x: y; see meltdoe log", "to mend: meltdoe record --melt 4 --correct ...; or meltdoe check . --rebuild"
        )
        assert capsys.readouterr().err.splitlines() == [
            'x: y; see meltdoe log "my melts"',
            'to mend: meltdoe record "my melts" --melt 4 --correct ...; or meltdoe check . --rebuild',
        ]
        console.remember_folder(Path("obsidian/block-2"))
        assert console.hint("meltdoe check --rebuild") == "meltdoe check obsidian/block-2 --rebuild"
        assert console.hint("the meltdoe command") == "the meltdoe command"
    finally:
        console.remember_folder(Path())
    assert console.hint("meltdoe check --rebuild") == "meltdoe check --rebuild"
