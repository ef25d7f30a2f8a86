"""Writing a commented file, beginning one from answers, and changing values with remarks kept."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from meltdoe.errors import ProblemsFound
from meltdoe.files.series.series_answers import Answers, factor_from_phrase, outcome_from_phrase, text_from_answers
from meltdoe.files.series.series_edit import edited, set_value
from meltdoe.files.series.series_keys import KEYS
from meltdoe.files.series.series_text import series_text
from meltdoe.files.series.series_toml import check_series_text
from meltdoe.series.factor import Amount, Choice, Ordered
from meltdoe.series.outcome import GoodRange, Outcome

ANSWERS = Answers(
    title="Flux and heat (invented)",
    factors=("flux 15 to 40 wt% step 1", "peak 1150 to 1250 °C step 10", "packing: loose, firm"),
    outcomes=("contained", "fill: at least 95 %", "cracks: none, hairline | open, shattered"),
    goal="A whole casting",
    melts=12,
    max_temperature="1280 °C",
)


@pytest.mark.parametrize(
    ("phrase", "factor"),
    [
        ("flux 15 to 40 wt% step 1", Amount("flux", 15.0, 40.0, "", "wt%", 1.0)),
        ("peak 1150 °C to 1250 °C", Amount("peak", 1150.0, 1250.0, "", "°C", None, "linear", "firing")),
        ("peak 2012 °F to 1250 °C", Amount("peak", 1100.0, 1250.0, "", "°C", None, "linear", "firing")),
        ("Hold time  30–120 min per melt", Amount("hold_time", 30.0, 120.0, "Hold time", "min")),
        ("water 2,5 to 5 % w/w step 0,5", Amount("water", 2.5, 5.0, "", "wt%", 0.5)),
        ("depth 10 to 20 mm step 1 mm per mould", Amount("depth", 10.0, 20.0, "", "mm", 1.0, "linear", "mould")),
        ("turns 1 to 5", Amount("turns", 1.0, 5.0)),
        ("packing: loose, firm per mould", Choice("packing", ("loose", "firm"), "", "mould")),
        ("packing: loose < firm < hard", Ordered("packing", ("loose", "firm", "hard"))),
    ],
)
def test_factor_phrases(phrase: str, factor: object):
    assert factor_from_phrase(phrase) == factor


@pytest.mark.parametrize(
    "phrase", ["flux", "flux 15", "packing: loose", "packing: a,,b", "", "depth 1 to 2 mm step 1 in"]
)
def test_factor_phrases_that_are_not_understood(phrase: str):
    with pytest.raises(ValueError, match=r"like|unit"):
        factor_from_phrase(phrase)


@pytest.mark.parametrize(
    ("phrase", "outcome"),
    [
        ("contained", Outcome("contained", "pass")),
        ("Left the crucible", Outcome("left_the_crucible", "pass", "Left the crucible")),
        ("fill: at least 95 %", Outcome("fill", "measured", "", "%", (), (0.0, 100.0), None, GoodRange(low=95.0))),
        ("height: between 10 mm and 12 mm", Outcome("height", "measured", "", "mm", good=GoodRange(10.0, 12.0))),
        ("seeds: at most 3", Outcome("seeds", "measured", good=GoodRange(high=3.0))),
        ("cracks: none | open, wide", Outcome("cracks", "grade", grades=("none", "open", "wide"), good=("none",))),
    ],
)
def test_outcome_phrases(phrase: str, outcome: object):
    assert outcome_from_phrase(phrase) == outcome


def test_answers_make_a_commented_file_that_is_good():
    text = text_from_answers(ANSWERS)
    series, problems = check_series_text(text)
    assert problems == ()
    assert series is not None
    assert [outcome.after for outcome in series.outcomes] == [None, "contained", "fill"]
    assert series.budget.melts == 12
    assert series.limits[-1].keep == "peak <= 1280"
    remarks = [row for row in text.split("\n") if row.startswith("# ")]
    assert len(remarks) > 15
    assert max(map(len, text.split("\n"))) <= 120


def test_every_switched_off_example_is_good_when_switched_on():
    text = text_from_answers(ANSWERS)
    series, problems = check_series_text(re.sub(r"^#(?=\S)", "", text, flags=re.MULTILINE))
    assert problems == ()
    assert series is not None
    assert series.beliefs
    assert series.terms
    assert series.circumstances
    assert series.costs.known
    assert series.moulds_per_melt == 2
    assert len(series.limits) == 2


@pytest.mark.parametrize("ceiling", ["hot", "1280", "12 kg", "1,280 °C"])
def test_a_ceiling_that_is_no_temperature_is_told(ceiling: str):
    with pytest.raises(ProblemsFound, match="nothing was written"):
        text_from_answers(Answers("t", ("peak 900 to 1000 °C",), ("contained",), max_temperature=ceiling))


def test_bad_answers_are_told_as_problems():
    with pytest.raises(ProblemsFound, match="swap low and high"):
        text_from_answers(Answers("t", ("flux 40 to 15 wt%",), ("contained",)))


TEXT = """\
# my series
title = "t"   # short
seed = 3 # lucky

# prices below
[cost]  # in euro
melt = 12.0   # crucible share
# nothing else

[[factor]] # one
name = "flux"
kind = "amount"
low = 15 # never less
high = 40

[[outcome]]
name = "whole"
kind = "pass" # yes or no
"""


@pytest.mark.parametrize(
    ("path", "value", "old", "new"),
    [
        (("seed",), 4, "seed = 3 # lucky", "seed = 4 # lucky"),
        (("factor", 0, "low"), 16.5, "low = 15 # never less", "low = 16.5 # never less"),
        (("goal",), 'a "b"', "# lucky\n", '# lucky\ngoal = "a \\"b\\""\n'),
        (("cost", "firing"), 9.5, "share\n", "share\nfiring = 9.5\n"),
        (("factor", 0, "label"), "Flux", "high = 40\n", 'high = 40\nlabel = "Flux"\n'),
        (("outcome", 0, "question"), "Whole?", "# yes or no\n", '# yes or no\nquestion = "Whole?"\n'),
        (("cost", "loss", "whole"), 3, "# yes or no\n", "# yes or no\n\n[cost.loss]\nwhole = 3\n"),
        (("limit", 0), {"keep": "flux <= 30"}, "# yes or no\n", '# yes or no\n\n[[limit]]\nkeep = "flux <= 30"\n'),
        (("cost", "melt"), None, "melt = 12.0   # crucible share\n", ""),
    ],
)
@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_only_the_value_changes_on_disk(
    tmp_path: Path, path: tuple[str | int, ...], value: object, old: str, new: str, ends: str
):
    file = tmp_path / "series.toml"
    file.write_bytes(TEXT.replace("\n", ends).encode())
    series = set_value(tmp_path, path, value)  # type: ignore[arg-type]
    assert file.read_bytes().decode() == TEXT.replace(old, new, 1).replace("\n", ends)
    assert series == check_series_text(TEXT.replace(old, new, 1), tmp_path)[0]


def test_a_change_that_would_spoil_the_file_leaves_it_as_it_was(tmp_path: Path):
    file = tmp_path / "series.toml"
    file.write_text(TEXT)
    for path, value in [(("factor", 0, "low"), 50), (("sede",), 3), (("title",), None)]:
        with pytest.raises(ProblemsFound):
            set_value(tmp_path, path, value)
        assert file.read_text() == TEXT
    file.write_text("seed = ")
    with pytest.raises(ProblemsFound, match="cannot be read"):
        set_value(tmp_path, ("seed",), 3)
    assert [entry.name for entry in tmp_path.iterdir()] == ["series.toml"]


@pytest.mark.parametrize("path", [("factor", 7, "low"), ("title", "deeper"), ("factor", "low"), ("unknown", "a", "b")])
def test_paths_that_lead_nowhere_are_refused_or_added(path: tuple[str | int, ...]):
    if path[0] == "unknown":
        assert edited(TEXT, path, 1).endswith("\n\n[unknown.a]\nb = 1\n")
        return
    with pytest.raises(ProblemsFound, match="cannot be set by the program"):
        edited(TEXT, path, 1)


def test_inline_and_dotted_blocks_are_changed_too():
    text = 'cost = { melt = 1, loss = { a = 2 } } # all\nkiln.melts_per_firing = 2\nlimit = [{ keep = "a < 1" }]\n'
    text = edited(text, ("cost", "loss", "a"), 3)
    text = edited(text, ("cost", "firing"), 4)
    text = edited(text, ("kiln", "max_temperature"), "900 °C")
    text = edited(text, ("limit", 1), {"keep": "a > 0"})
    assert "# all" in text
    assert "a = 3" in text
    assert "firing = 4" in text
    assert 'keep = "a > 0"' in text


def test_series_text_quotes_what_must_be_quoted():
    text = text_from_answers(Answers('a "quoted" \\ title', ("größe 1 to 2 mm",), ("heil",)))
    series, _ = check_series_text(text)
    assert series is not None
    assert series.title == 'a "quoted" \\ title'
    assert '#at = { "größe" = 1 }' in text
    assert check_series_text(series_text(series))[0] == series


def test_every_key_of_chemistry_is_explained_in_the_file_that_is_written():
    said = Answers("t", ("flux 15 to 30 wt%", "peak 1100 to 1250 °C"), ("contained", "poured"))
    remarks = text_from_answers(said).partition("#[chemistry]")[0].rpartition("\n\n")[2]
    assert "What the composition lets expect" in remarks
    for key in KEYS["[chemistry]"]:
        assert re.search(rf"\b{key}\b", remarks), key
