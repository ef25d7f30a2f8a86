"""A catalogue of broken series files: each gives exactly one problem, with its line, what is wrong and the mend."""

from __future__ import annotations

from pathlib import Path

import pytest

from meltdoe.errors import ProblemsFound
from meltdoe.files.series.series_toml import check_series, check_series_text, read_series

GOOD = """\
title = "Flux and heat"
goal = "A whole casting"
target_chance = 0.8
seed = 5
[budget]
melts = 14
firings = 6
money = 400.0
currency = "EUR"
[kiln]
melts_per_firing = 3
max_temperature = "1280 °C"
[[factor]]
name = "flux"
kind = "amount"
unit = "wt%"
low = 15
high = 40
step = 1
[[factor]]
name = "peak"
kind = "amount"
unit = "°C"
low = 1100
high = "2282 °F"
step = "18 °F"
set_per = "firing"
[[factor]]
name = "packing"
kind = "choice"
options = ["loose", "firm"]
set_per = "mould"
[[limit]]
keep = "flux + 0.1 * peak <= 160"
why = "boils over"
[[outcome]]
name = "contained"
kind = "pass"
[[outcome]]
name = "fill"
kind = "measured"
unit = "%"
bounds = [0, 100]
after = "contained"
good = "at least 95"
[[outcome]]
name = "cracks"
kind = "grade"
grades = ["none", "hairline", "open"]
after = "fill"
good = ["none"]
[cost]
melt = 12.0
firing = 9.5
[cost.loss]
contained = 45.0
[[belief]]
at = { flux = 20, peak = "2012 °F", packing = "firm" }
outcome = "contained"
chance = 0.6
worth = 1
[[term]]
use = "flux * peak"
[[circumstance]]
name = "humidity"
unit = "%"
[mould]
moulds_per_melt = 2
"""

# old text, new text, line, a phrase of what is wrong, a phrase of how to mend it
CATALOGUE = [
    # TOML itself
    ('title = "Flux and heat"', 'title = "Flux and heat', 1, "never closed", "quotation mark"),
    ("seed = 5", "seed 5", 4, 'no "="', "key = value"),
    ("low = 15\n", "low = 15,5\n", 17, "left over", "decimal point"),
    ("low = 15\n", "low = fifteen\n", 17, "cannot be read", "quotation marks"),
    ("low = 15\n", "low =\n", 17, "cannot be read", "decimal point"),
    ("seed = 5", "seed = 5\nseed = 6", 5, "given before", "one of the two"),
    ("[kiln]", "[budget]", 10, "opened before", "one block"),
    ("[[limit]]", "[factor]", 33, "opened before", "two brackets"),
    ('["loose", "firm"]', '["loose", "firm"', 31, "never closed", '"]"'),
    ("[cost]", "[cost", 52, "heading that is not closed", '"]"'),
    ("{ flux = 20, peak", "{ fluß = 20, peak", 58, "letters other than a to z", "quotation marks"),
    ('why = "boils over"', 'why = "C:\\melts"', 35, "backslash", "two"),
    ("seed = 5", "seed = " + "9" * 5000, 4, "thousands of digits", "shorter"),
    ("seed = 5", "seed = 0x" + "F" * 5000, 4, "thousands of digits", "or less"),
    ("seed = 5", "format = 0x" + "F" * 5000, 4, "thousands of digits", "newer program"),
    ('kind = "pass"', "kind = [0x" + "F" * 5000 + "]", 38, "thousands of digits", "one of"),
    ("low = 15\n", "low = 0x" + "F" * 5000 + "\n", 17, "larger than anything", "smaller"),
    # keys
    ("step = 1\n", "stepp = 1\n", 19, '"stepp" is not known', '"step"'),
    ("low = 15\n", "low = 15\nlevels = 3\n", 18, '"levels" is not known', '"options"'),
    ("low = 15\n", "low = 15\nzzzz = 3\n", 18, '"zzzz" is not known', "the keys here are"),
    ("currency", "goal", 9, '"goal" is not known', "top of the file"),
    ('currency = "EUR"', 'keep = "flux < 3"', 9, '"keep" is not known', "below [[limit]]"),
    ("[[term]]", "[[terms]]", 62, '"terms" is not known', '"term"'),
    ('title = "Flux and heat"\n', "", 1, '"title" is missing', "title ="),
    ('kind = "choice"\n', "", 28, '"kind" is missing', "kind ="),
    ("low = 15\n", "", 13, 'factor "flux": "low" is missing', "low = 15"),
    ('options = ["loose", "firm"]\n', "", 28, '"options" is missing', "options ="),
    ('name = "cracks"\n', "", 46, 'outcome 3: "name" is missing', "name ="),
    ("chance = 0.6\n", "", 57, '"chance" is missing', "chance ="),
    ('keep = "flux + 0.1 * peak <= 160"\n', "", 33, '"keep" is missing', "keep ="),
    ('use = "flux * peak"\n', "", 62, '"use" is missing', "use ="),
    # types
    ('title = "Flux and heat"', "title = 3", 1, "is a number", "quotation marks"),
    ('title = "Flux and heat"', 'title = " "', 1, "is empty", "write something"),
    ('title = "Flux and heat"', 'title = "a\\u001bb"', 1, "cannot be shown", "anew"),
    ("low = 15\n", "low = true\n", 17, "true or false where a number", "low = 15"),
    ("low = 15\n", 'low = "low"\n', 17, "not a number with a unit", "wt%"),
    ("melts = 14", "melts = 14.5", 6, "is a number where a whole number", "melts = 14"),
    ("seed = 5", "seed = 2026-11-25", 4, "is a date", "whole number"),
    ('options = ["loose", "firm"]', "options = [1, 2]", 31, "not text", "quotation marks"),
    ('options = ["loose", "firm"]', 'options = "loose"', 31, "is text where a list", "list of texts"),
    ('[kiln]\nmelts_per_firing = 3\nmax_temperature = "1280 °C"', "[[kiln]]", 10, "written as [[...]]", "[kiln]"),
    ("[[term]]", "[term]", 62, "written as [term]", "two brackets"),
    ("{ flux = 20, peak = \"2012 °F\", packing = \"firm\" }", '"flux"', 58, "is text where a table", "{ flux = 20 }"),
    # numbers
    ("low = 15\n", "low = nan\n", 17, "no finite number", "plain number"),
    ("high = 40\n", "high = inf\n", 18, "no finite number", "plain number"),
    ("high = 40\n", "high = 1e300\n", 18, "larger than anything", "smaller"),
    ("low = 15\n", "low = 40\n", 17, "runs from 40 to 40 wt%", "high larger than low"),
    ("low = 15\n", "low = 50\n", 17, "runs from 50 to 40 wt%", "swap"),
    ("step = 1\n", "step = 0\n", 19, "step = 0", "larger than 0"),
    ("step = 1\n", "step = -1\n", 19, "step = -1", "larger than 0"),
    ("step = 1\n", "step = 26\n", 19, "larger than the whole range", "smaller"),
    ("step = 1\n", "step = 1e-4\n", 19, "more than 10000 settings", "larger"),
    ("low = 15\n", 'low = 0\nscale = "log"\n', 18, 'scale "log"', "larger than 0"),
    # what came later, and what went
    ("step = 1\n", 'step = 1\nearlier = "none"\n', 20, "not a number with a unit", "plain number"),
    ("low = 15\n", 'low = 15\nscale = "log"\nearlier = 0\n', 19, "earlier = 0", "more than 0"),
    ("step = 1\n", 'step = 1\ngone = ["loose"]\n', 20, "does not go with", "take the line out"),
    ('"firm"]\n', '"firm"]\nearlier = 0\n', 32, "is a number where text", "quotation marks"),
    ('"firm"]\n', '"firm"]\nearlier = "lose"\n', 32, 'says "lose"', 'write "loose"'),
    ('"firm"]\n', '"firm"]\ngone = ["edge only"]\n', 32, 'says "edge only"', "or add it to them"),
    ('"firm"]\n', '"firm"]\ngone = ["loose", "firm"]\n', 32, "every option", "new option"),
    ("target_chance = 0.8", "target_chance = 1", 3, "is 1", "between 0 and 1"),
    ("seed = 5", "seed = -5", 4, "is -5", "0 or more"),
    ("melts = 14", "melts = 0", 6, "is 0", "1 or more"),
    ("money = 400.0", "money = 0", 8, "is 0", "above 0"),
    ("melts_per_firing = 3", "melts_per_firing = -3", 11, "is -3", "1 or more"),
    ("moulds_per_melt = 2", "moulds_per_melt = 0", 68, "is 0", "1 or more"),
    ("melt = 12.0", "melt = -12.0", 53, "is -12", "0 or more"),
    ("contained = 45.0", "contained = -1", 56, "is -1", "0 or more"),
    ("chance = 0.6\n", "chance = 1.0\n", 60, "is 1", "between 0 and 1"),
    ("worth = 1", "worth = 0", 61, "is 0", "above 0"),
    # units
    ('"2282 °F"', '"2282 °X"', 25, 'unit "°X" is not known', "°C, °F"),
    ('"2282 °F"', '"2282 kg"', 25, "cannot be turned into", "°C, °F"),
    ('"2282 °F"', '"2,282 °F"', 25, "read in two ways", "plain number"),
    ('max_temperature = "1280 °C"', "max_temperature = 1280", 12, "is a number", '"1280 °C"'),
    ('max_temperature = "1280 °C"', 'max_temperature = "1280 kg"', 12, "no unit of temperature", '"1280 °C"'),
    ("low = 1100", "low = -300", 24, "absolute zero", "unit"),
    ('max_temperature = "1280 °C"', 'max_temperature = "1000 °C"', 24, "above the kiln's ceiling", "max_temperature"),
    # names
    ('name = "humidity"', 'name = "air humidity"', 65, "not one plain word", '"air_humidity"'),
    ('name = "cracks"', 'name = "note"', 47, "column of the log", "rename"),
    ('name = "cracks"', 'name = "Fill"', 47, 'already to outcome "fill" in line 40', "rename"),
    ('name = "humidity"', 'name = "flux"', 65, 'already to factor "flux" in line 14', "rename"),
    ('["loose", "firm"]', '["firm", "firm"]', 31, '"firm" twice', "rename"),
    ('["loose", "firm"]', '["firm"]', 31, "at least 2", "add"),
    ('"hairline", "open"]', '"hairline", "None"]', 49, '"None" twice', "rename"),
    ('"hairline", "open"]', '"hairline", "later"]', 49, "the log writes", "rename"),
    # kinds
    ('kind = "choice"', 'kind = "choise"', 30, '"choise"', '"choice"'),
    ('set_per = "mould"', 'set_per = "day"', 32, '"day"', "one of"),
    ('kind = "choice"', 'kind = "choice"\nlow = 3', 31, '"low" does not go with', "take the line out"),
    ('kind = "pass"', 'kind = "pass"\ngood = "yes"', 39, '"good" does not go with', "take the line out"),
    ('kind = "pass"', 'kind = "pass"\ngrades = ["a", "b"]', 39, '"grades" does not go with', "change the kind"),
    # the chain of outcomes
    ('after = "fill"', 'after = "filled"', 50, '"filled" is no outcome', '"fill"'),
    ('after = "contained"', 'after = "cracks"', 44, "stands below it", "order"),
    ('after = "fill"', 'after = "cracks"', 50, "after itself", "earlier"),
    ('good = "at least 95"\n', "", 49, "does not say what is good", 'outcome "fill"'),
    ('kind = "pass"', 'kind = "pass"\nseen_per = "mould"', 45, "seen per mould", 'seen_per = "mould"'),
    ("bounds = [0, 100]", "bounds = [100, 0]", 43, "from 100 to 0", "smallest and the largest"),
    ("bounds = [0, 100]", "bounds = 100", 43, "not a list of two", "[0, 100]"),
    ("bounds = [0, 100]", "bounds = [0, nan]", 43, "no finite number", "plain number"),
    ('"at least 95"', '"at least 195"', 45, "lies between 0 and 100", "correct"),
    ('"at least 95"', '"at least 0"', 45, "everything within the bounds", "narrow"),
    ('"at least 95"', '"over 95"', 45, '"over 95"', '"at least 95"'),
    ('"at least 95"', "95", 45, "no text with a range", '"at least 95"'),
    ('good = ["none"]', 'good = ["nine"]', 51, '"nine", which is no grade', '"none"'),
    ('good = ["none"]', 'good = "none"', 51, "one text", "list"),
    ('good = ["none"]', 'good = ["hairline"]', 51, 'leaves out "none"', "best first"),
    ('good = ["none"]', 'good = ["none", "hairline", "open"]', 51, "every grade is good", "last grade"),
    # limits
    ("0.1 * peak <=", "0.1 * peek <=", 34, '"peek", which is no factor', '"peak"'),
    ("flux + 0.1 * peak <=", "packing <=", 34, "list of options", "amounts only"),
    ("flux + 0.1 * peak <= 160", "1 <= 160", 34, "names no factor", "amount"),
    ("flux + 0.1 * peak <= 160", "flux + * peak <= 160", 34, '"flux + [here]* peak <= 160"', "factor names"),
    ("flux + 0.1 * peak <= 160", "10 <= flux <= 30", 34, "one comparison only", "factor names"),
    ("flux + 0.1 * peak <= 160", "flux + peak", 34, '"flux + peak[here]"', "factor names"),
    ("flux + 0.1 * peak <= 160", "flux <= 10", 34, "rules out every setting", '"flux"'),
    ("flux + 0.1 * peak <= 160", "flux / (peak - peak) <= 10", 34, "rules out every setting", "loosen"),
    (
        'why = "boils over"',
        'why = "boils over"\n[[limit]]\nkeep = "flux >= 38"\n[[limit]]\nkeep = "peak >= 1240"',
        39,
        "together rule out",
        "loosen one",
    ),
    (
        'max_temperature = "1280 °C"\n',
        'max_temperature = "1150 °C"\n[[limit]]\nkeep = "peak > 1200"\n',
        14,
        '"peak > 1200" and "peak <= 1150" together rule out',
        "loosen one",
    ),
    # costs, beliefs, terms
    ("contained = 45.0", "container = 45.0", 56, '"container" is no outcome', '"contained"'),
    ("flux = 20,", "flux = 50,", 58, "outside the range 15 to 40 wt%", "within"),
    ("flux = 20,", "flax = 20,", 58, '"flax" is no factor', '"flux"'),
    ('packing = "firm"', 'packing = "form"', 58, '"form"', '"firm"'),
    ('outcome = "contained"', 'outcome = "contain"', 59, '"contain" is no outcome', '"contained"'),
    ('use = "flux * peak"', 'use = "flux * peek"', 63, '"peek", which is no factor', '"peak"'),
    ('use = "flux * peak"', 'use = "flux + peak"', 63, "is no term", "flux * peak"),
    ('use = "flux * peak"', 'use = "packing ^ 2"', 63, "power of the choice", "amount"),
    ('use = "flux * peak"', 'use = "flux"\n[[term]]\nuse = "flux"', 65, "given twice", "take one out"),
    ('unit = "%"\n[mould]', 'unit = "%"\noptions = ["dry", "wet"]\n[mould]', 66, "both options and a unit", "keep"),
    # the format
    ("seed = 5", "format = 2", 4, "format 2", "newer program"),
    ("seed = 5", "format = 0", 4, "is 0", "1 or more"),
]  # fmt: skip


def test_the_file_that_the_catalogue_breaks_is_good():
    series, problems = check_series_text(GOOD)
    assert problems == ()
    assert series is not None
    assert [factor.name for factor in series.factors] == ["flux", "peak", "packing"]
    assert len(CATALOGUE) > 100


@pytest.mark.parametrize(("old", "new", "line", "what", "mend"), CATALOGUE)
def test_each_broken_file_gives_one_problem(old: str, new: str, line: int, what: str, mend: str):
    assert GOOD.count(old) >= 1
    series, problems = check_series_text(GOOD.replace(old, new, 1))
    assert series is None
    assert len(problems) == 1, "\n".join(map(str, problems))
    problem = problems[0]
    assert problem.file == "series.toml"
    assert problem.line == line, str(problem)
    assert what in problem.what
    assert mend in problem.mend
    assert "\n" not in str(problem)


def test_all_mistakes_are_listed_in_line_order():
    text = GOOD
    for old, new in [
        ("target_chance = 0.8", "target_chance = 8"),
        ("firings = 6", "firing = 6"),
        ("step = 1\n", "step = 100\n"),
        ('kind = "choice"', 'kind = "list"'),
        ("0.1 * peak", "0.1 * peek"),
        ('good = "at least 95"', 'good = "at least 950"'),
        ('after = "fill"', 'after = "full"'),
        ("chance = 0.6\n", "chance = 0\n"),
        ('name = "humidity"', 'name = "date"'),
    ]:
        assert old in text
        text = text.replace(old, new, 1)
    series, problems = check_series_text(text)
    assert series is None
    assert [problem.line for problem in problems] == [3, 7, 19, 30, 34, 45, 50, 60, 65]


def test_a_file_with_nothing_in_it_says_what_belongs_there():
    _, problems = check_series_text("")
    assert [problem.what for problem in problems] == [
        '"title" is missing',
        "there is no [[factor]]",
        "there is no [[outcome]]",
    ]


def test_too_many_factors_give_one_problem_at_the_first_one_too_many():
    block = '[[factor]]\nname = "f{}"\nkind = "amount"\nlow = 0\nhigh = 1\n'
    rest = '[[outcome]]\nname = "whole"\nkind = "pass"\n'
    _, problems = check_series_text('title = "t"\n' + "".join(block.format(i) for i in range(41)) + rest)
    assert [(problem.line, problem.what) for problem in problems] == [(202, "there are 41 [[factor]] blocks")]


def test_a_newer_format_is_refused_before_anything_else_is_judged():
    _, problems = check_series_text('format = 7\nunheard_of = "key"\n')
    assert len(problems) == 1
    assert "left as it is" in problems[0].mend


@pytest.mark.parametrize(
    ("content", "line", "what"),
    [
        (b'title = "T"\ngoal = "caf\xe9"\n', 2, "not written in UTF-8"),
        ('title = "T"'.encode("utf-16"), 1, "UTF-16"),
        (b"# " + b"x" * 1_000_001, None, "larger than 1 MB"),
        (b"title = \x00", 1, "cannot be read"),
        (b"a = " + b"[" * 5000, None, "nested too deeply"),
    ],
)
def test_files_that_are_no_text_give_one_problem(tmp_path: Path, content: bytes, line: int | None, what: str):
    (tmp_path / "series.toml").write_bytes(content)
    series, problems = check_series(tmp_path)
    assert series is None
    assert len(problems) == 1
    assert problems[0].line == line
    assert what in problems[0].what


def test_missing_folder_and_missing_file_say_how_to_begin(tmp_path: Path):
    for folder, what in [(tmp_path / "nowhere", "no such folder"), (tmp_path, "none in the folder")]:
        _, problems = check_series(folder)
        assert len(problems) == 1
        assert what in problems[0].what
        assert "meltdoe begin" in problems[0].mend
    (tmp_path / "file").write_text("")
    with pytest.raises(ProblemsFound, match="not a folder"):
        read_series(tmp_path / "file")
    (tmp_path / "series.toml").mkdir()
    with pytest.raises(ProblemsFound, match="is a folder"):
        read_series(tmp_path)
    with pytest.raises(ProblemsFound):
        read_series("null\0character")


def test_byte_order_mark_and_windows_line_ends_are_read(tmp_path: Path):
    (tmp_path / "series.toml").write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    series = read_series(str(tmp_path))
    assert series.folder == tmp_path
    assert series.title == "Flux and heat"
    _, problems = check_series_text(GOOD.replace("seed = 5", "seeds = 5").replace("\n", "\r\n"))
    assert [problem.line for problem in problems] == [4]
