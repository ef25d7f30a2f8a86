"""Who adds an outcome kind finds every module that tells kinds apart named in DEVELOPERS.md."""

import ast
import re
from pathlib import Path
from typing import get_args

import meltdoe
from meltdoe.series import Outcome
from meltdoe.series.outcome import GoodRange, OutcomeKind

PACKAGE = Path(meltdoe.__file__).parent
KINDS = set(get_args(OutcomeKind))


def kinds_told_apart(path):
    """Whether a module compares something with the name of a kind, or has a table by kind."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Compare):
            sides = [node.left, *node.comparators]
            parts = [part for side in sides for part in getattr(side, "elts", [side])]
            if any(isinstance(part, ast.Constant) and part.value in KINDS for part in parts):
                return True
        if isinstance(node, ast.Dict) and len(KINDS & {getattr(key, "value", None) for key in node.keys}) > 1:
            return True
    return False


def test_every_module_that_tells_kinds_apart_is_named_where_one_is_added():
    text = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    steps = text.partition("**An outcome kind.**")[2].partition("**A figure**")[0]
    named = set(re.findall(r"(\w+)(?:\.py)?`", steps))
    telling = {path.stem for path in PACKAGE.rglob("*.py") if kinds_told_apart(path)}
    assert len(telling) > 20
    assert "likelihood" in telling
    assert not telling - named - {"melt_sheet"}, "not named under 'An outcome kind' in DEVELOPERS.md"


def test_an_outcome_says_what_may_be_answered_and_what_is_good():
    grade = Outcome("cracks", "grade", grades=("none", "hairline", "open"), good=("none", "hairline"))
    measured = Outcome("fill", "measured", unit="%", good=GoodRange(low=95))
    plain = Outcome("poured", "pass")
    assert [one.words for one in (plain, grade, measured)] == [("yes", "no"), grade.grades, ()]
    assert [one.good_words for one in (plain, grade, measured)] == ["yes", "none or hairline", "at least 95 %"]
    assert Outcome("hue", "grade", grades=("a", "b")).good_words == ""
