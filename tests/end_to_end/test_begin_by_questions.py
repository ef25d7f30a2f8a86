"""`begin` by questions: it looks before it asks, knows answers to other questions, and reads back before it writes."""

import pytest
from running import called

from meltdoe.errors import ProblemsFound
from meltdoe.steps import read_series, refuse_begun

GOOD = (
    "Shallow blocks\nsolid cast\nflux 15 to 40 wt%\npeak 1100 to 1200 °C\n\n"
    "contained\nfill: at least 95 %\n\n10\n2\n1280 °C\n"
)


def test_it_looks_for_a_series_before_the_first_question(tmp_path):
    assert called("begin", tmp_path, "--from", "obsidian-block").code == 0
    ran = called("begin", tmp_path, stdin="")
    assert ran.code == 1
    assert len(ran.lines) == 1
    assert f"{tmp_path / 'series.toml'}: is already there" in ran.err
    assert "?" not in ran.err, "nothing was asked"
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(ProblemsFound, match="is no folder"):
        refuse_begun(tmp_path / "file")


@pytest.mark.parametrize(
    ("line", "wrong", "said"),
    [
        (0, "12", "reads like a number, not like a title"),
        (0, "flux 15 to 40 wt%", "reads like a factor, not like a title"),
        (1, "80", "reads like a number, not like a sentence"),
        (1, "yes", "reads like an answer to another question"),
        (2, "7", '"7" is no name'),
        (2, "yes", '"yes" is no name'),
        (2, "cracks: none, hairline | open", "reads like an outcome, and a factor is asked for"),
        (2, "fill: at least 95 %", "reads like an outcome, and a factor is asked for"),
        (5, "flux 15 to 40 wt%", "reads like a factor, and an outcome is asked for"),
        (5, "95", '"95" is no name'),
        (8, "1280", "Write a whole number from 1 to 200"),
        (9, "1280 °C", "Write a whole number from 1 to 50"),
        (10, "2", "has no unit"),
    ],
)
def test_an_answer_that_belongs_elsewhere_is_asked_for_again(tmp_path, line, wrong, said):
    answers = GOOD.splitlines()
    answers.insert(line, wrong)
    ran = called("begin", tmp_path / "s", stdin="\n".join(answers) + "\n")
    assert ran.code == 0, ran.err
    assert said in ran.err
    series = read_series(tmp_path / "s")
    assert (series.title, series.goal, series.factor_names) == ("Shallow blocks", "solid cast", ("flux", "peak"))


def test_everything_is_read_back_and_a_line_can_be_answered_again(tmp_path, monkeypatch):
    monkeypatch.setattr("meltdoe.cli.begin_questions.can_ask", lambda: True)
    ran = called("begin", tmp_path / "s", stdin=GOOD + "perhaps\n5\n14\n3\nflux 10 to 30 wt%\n\nyes\n")
    assert ran.code == 0, ran.err
    for said in ("peak: 1100 to 1200 °C, set anew for each firing", "fill: a number in %; good: at least 95;"):
        assert said in ran.err
    assert "a number from 1 to 7" in ran.err
    series = read_series(tmp_path / "s")
    assert (series.budget.melts, series.factor_names, series.factors[0].low) == (14, ("flux",), 10)


def test_a_no_at_the_end_writes_nothing(tmp_path, monkeypatch):
    monkeypatch.setattr("meltdoe.cli.begin_questions.can_ask", lambda: True)
    ran = called("begin", tmp_path / "s", stdin=GOOD + "no\n")
    assert ran.code == 2
    assert ran.lines[-1].endswith("meltdoe: nothing was written, as you wished")
    assert not (tmp_path / "s").exists()
