"""`rehearse` as a person runs it: policies side by side, a stated truth, and going on after an interruption."""

import json
import re
import sys

import pytest
from running import called, started

from meltdoe.cli.progress import Progress

ANSWERS = {
    "series.toml": """
format = 1
title = "Two factors (invented)"
target_chance = 0.7
seed = 5
[budget]
melts = 5
[[factor]]
name = "flux"
kind = "amount"
low = 10
high = 30
step = 5
[[factor]]
name = "sand"
kind = "choice"
options = ["wet", "dry"]
[[outcome]]
name = "whole"
kind = "pass"
""",
    "supposed.toml": """
[[outcome]]
name = "whole"
at = { sand = "wet" }
chance = 0.2
log_odds = { flux = 1.0 }
chances = { sand = { dry = 0.97 } }
""",
}


@pytest.fixture
def folder(tmp_path):
    for name, text in ANSWERS.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


def test_all_policies_stand_side_by_side(folder):
    ran = called("rehearse", folder, "--policy", "all", "--series", "1", "--json")
    names = ["plan", "follow-up", "step-by-step", "one-at-a-time", "random"]
    assert [one["policy"] for one in ran.document["policies"]] == names
    assert ran.document.keys() >= {"series", "reached", "melts_needed", "losses", "policies"}
    assert ran.err == ""
    text = called("rehearse", folder, "--policy", "all", "--series", "1")
    assert all(f"\n{name} " in text.out for name in names)
    assert "Monte Carlo" not in text.out
    assert re.search(r"^plan +[01] of 1 ", text.out, flags=re.MULTILINE)


def test_a_stated_truth_decides_how_it_ends(folder):
    document = called("rehearse", folder, "--truth", folder / "supposed.toml", "--series", "4", "--json").document
    assert document["truths"] == "stated"
    assert document["reachable"] == 1.0
    assert document["true_chance"] > 0.4
    wrong = folder / "wrong.toml"
    wrong.write_text(ANSWERS["supposed.toml"].replace("flux", "flax").replace("0.97", "97"), encoding="utf-8")
    ran = called("rehearse", folder, "--truth", wrong)
    assert ran.code == 1
    assert len(ran.lines) == 2
    assert ran.lines[0].startswith('wrong.toml, line 6: outcome "whole": log_odds: "flax" is no factor; write "flux"')


def test_the_same_numbers_with_one_worker_and_two_and_after_an_interruption(folder):
    one = called("rehearse", folder, "--series", "8", "--workers", "1", "--json").document
    file = folder / "rehearsal.jsonl"
    lines = file.read_text().splitlines(keepends=True)
    assert len(lines) == 8
    file.write_text("".join(lines[2:4]) + lines[5][:30])
    two = started("rehearse", folder, "--series", "8", "--workers", "2", "--json", cwd=folder)
    assert two.err == ""
    assert two.document == one
    assert {json.loads(line)["number"] for line in file.read_text().splitlines()} == set(range(8))


def test_wrong_words_are_one_line(folder):
    for words, told in (
        (("--policy", "plan", "--policy", "luck"), '"luck" is no policy; take one of plan, follow-up'),
        (("--truth", folder / "none.toml"), "there is no file"),
    ):
        ran = called("rehearse", folder, *words)
        assert ran.code in (1, 2)
        assert len(ran.lines) == 1
        assert told in ran.err


def test_progress_is_one_line_on_a_terminal_and_nothing_elsewhere(monkeypatch, capsys):
    with Progress("series") as silent:
        silent("plan", 1, 2)
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    with Progress("series", quiet=True) as silent:
        silent("plan", 1, 2)
    assert capsys.readouterr().err == ""
    with Progress("series") as progress:
        progress("plan", 1, 2)
        progress("plan", 2, 2)
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.split("\r")[1:3] == ["plan: 1 of 2 series", "plan: 2 of 2 series"]
    assert "\n" not in shown.err
    assert shown.err.endswith("\r")
