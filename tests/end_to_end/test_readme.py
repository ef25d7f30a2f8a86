"""The command blocks of README.md: the lines that plan and record are run in the order of the page.

What the page shows of `analyse` and `next` is compared with what they say of the tour's series. The lines that play
series or write pages (`LONG`) are checked for form: the command is there and takes these words. What they do is tested
in `test_whole_job.py`.
"""

import re
import shlex
import tomllib

import pytest
import readme_samples
from running import called

import meltdoe

README = readme_samples.README.read_text(encoding="utf-8")
BLOCKS = readme_samples.blocks(README)
LINES = [line for kind, block in BLOCKS if kind == "sh" for line in block.splitlines() if line.strip()]
COMMANDS = readme_samples.commands(README)
LONG = ("rehearse", "analyse", "next", "report")
OLD_NOTES = """\
Flux;Peak;Hold;Grain;Packing;Contained;Poured;Fill;Seeds
12,5;1180;2;fine;tight;yes;no;;
20;1200;2,5;coarse;tight;yes;yes;71,5;few
"""


def blocks(kind):
    return [block for name, block in BLOCKS if name == kind]


def shortened(words):
    return [*words, "--rehearsals", "0"] if words[0] == "options" else words


@pytest.fixture(scope="module")
def said(tmp_path_factory):
    """What every quick `meltdoe` line of the page said, by its first word, and the folder in which they were run."""
    place = tmp_path_factory.mktemp("readme")
    (place / "old-notes.csv").write_text(OLD_NOTES, encoding="utf-8")
    said = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(place)
        for words in (words for words in COMMANDS if words[0] not in LONG):
            ran = called(*shortened(words))
            said.setdefault(words[0], []).append((words, ran))
    return place, said


def test_the_page_shows_every_step_of_the_job_once_in_order():
    first_words = list(dict.fromkeys(words[0] for words in COMMANDS))
    assert first_words == [
        "begin", "check", "options", "plan", "buy", "rehearse", "sheets", "record", "analyse", "next", "report",
    ]  # fmt: skip


def test_every_other_line_sets_up_and_runs_from_a_checkout():
    others = [line for line in LINES if not line.startswith("meltdoe ")]
    assert len(others) == 2
    for line in others:
        steps = [shlex.split(step) for step in line.split(" && ")]
        assert steps[0] == ["python3", "-m", "venv", ".venv"]
        assert steps[1][:3] == [".venv/bin/pip", "install", "--quiet"]
        assert steps[2][0] in (".venv/bin/meltdoe", ".venv/bin/python")


def test_every_line_does_what_the_page_says(said):
    failed = [(words, ran.err) for runs in said[1].values() for words, ran in runs if ran.code != 0]
    assert not failed


def test_what_the_lines_promise_is_there(said):
    place, runs = said
    folder = place / "my-series"
    for name in ("series.toml", "plan.csv", "log.csv", "journal.jsonl", "sheets.html"):
        assert (folder / name).exists(), name
    log = (folder / "log.csv").read_text(encoding="utf-8")
    assert len(log.splitlines()) == 3, "the preview brings nothing in"
    assert "24 weighed instead of 23" in log
    assert "1247" in log
    preview = runs["record"][-1][1]
    assert re.search(r"flux 12[.,]5\b", preview.out), preview.out
    assert re.search(r"fill 71[.,]5\b", preview.out)


def test_the_tables_of_the_plan_on_the_page_are_those_that_the_program_draws_up(said):
    shown = next(block for block in blocks("text") if block.startswith("melt  firing")).removesuffix("...\n")
    melts, *words, effects = shown.strip().split("\n\n")
    assert words
    told = said[1]["plan"][0][1].out
    assert told.startswith(melts)
    assert effects in told


def test_the_part_of_a_series_file_on_the_page_is_in_the_file_that_begin_writes(said):
    (block,) = blocks("toml")
    shown = tomllib.loads(block)
    written = tomllib.loads((said[0] / "my-series" / "series.toml").read_text(encoding="utf-8"))
    for table, entries in shown.items():
        for entry in entries:
            assert any(entry.items() <= there.items() for there in written[table]), entry


@pytest.mark.parametrize("words", [words for words in COMMANDS if words[0] in LONG], ids=" ".join)
def test_the_long_lines_use_words_that_the_command_takes(words):
    told = called(words[0], "--help")
    assert told.code == 0
    assert all(word in told.out for word in words if word.startswith("--"))


@pytest.mark.parametrize("command", ["analyse", "next"])
def test_what_the_page_shows_is_what_the_command_says(command, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    readme_samples.place_for_the_page(tmp_path)
    ran = called(command, readme_samples.TOURED)
    assert ran.code == 0, ran.err
    page, fresh = readme_samples.shown(README, command), readme_samples.sample(command, ran.out)
    assert not readme_samples.differences(page, fresh)


def test_the_python_on_the_page_takes_names_that_the_library_has():
    (block,) = blocks("python")
    names = re.search(r"from meltdoe import (.*)", block)[1].split(", ")
    assert names
    assert all(hasattr(meltdoe, name) for name in names)
