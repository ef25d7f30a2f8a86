"""Key path to line, for everything that TOML allows."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meltdoe.errors import ProblemsFound
from meltdoe.files.series.toml_lines import KeyPath, parse_toml

TEXT = '''\
# remark [not.a.heading]
title = """first
[[factor]] inside a text
last \\""" """
a . b."c d" = [1, # one
  2,

  [3, "x]", 'y#'],
  { z = 1 },
]
quoted.'e.f' = ''
[[factor]]
name = "flux" # ] = [
at = { low = 1, more = { deep = [ 1 ] } }
[factor.notes]
when = 1979-05-27 07:32:00
[[factor]]
  [[factor.part]]
  name = \'\'\'a'b''\'\'\'
  [[factor.part]]
  name = """quote"""""
[cost.loss]
"ü\\u00e9" = 3
["top".level]'''


def test_every_path_has_the_line_that_it_stands_on():
    lines = parse_toml(TEXT, "series.toml").lines
    assert lines == {
        ("title",): 2,
        ("a",): 5,
        ("a", "b"): 5,
        ("a", "b", "c d"): 5,
        ("a", "b", "c d", 0): 5,
        ("a", "b", "c d", 1): 6,
        ("a", "b", "c d", 2): 8,
        ("a", "b", "c d", 2, 0): 8,
        ("a", "b", "c d", 2, 1): 8,
        ("a", "b", "c d", 2, 2): 8,
        ("a", "b", "c d", 3): 9,
        ("a", "b", "c d", 3, "z"): 9,
        ("quoted",): 11,
        ("quoted", "e.f"): 11,
        ("factor",): 12,
        ("factor", 0): 12,
        ("factor", 0, "name"): 13,
        ("factor", 0, "at"): 14,
        ("factor", 0, "at", "low"): 14,
        ("factor", 0, "at", "more"): 14,
        ("factor", 0, "at", "more", "deep"): 14,
        ("factor", 0, "at", "more", "deep", 0): 14,
        ("factor", 0, "notes"): 15,
        ("factor", 0, "notes", "when"): 16,
        ("factor", 1): 17,
        ("factor", 1, "part"): 18,
        ("factor", 1, "part", 0): 18,
        ("factor", 1, "part", 0, "name"): 19,
        ("factor", 1, "part", 1): 20,
        ("factor", 1, "part", 1, "name"): 21,
        ("cost",): 22,
        ("cost", "loss"): 22,
        ("cost", "loss", "üé"): 23,
        ("top",): 24,
        ("top", "level"): 24,
    }


def test_a_missing_key_has_the_line_of_its_block():
    document = parse_toml(TEXT, "series.toml")
    assert document.line(("factor", 1, "part", 0, "missing", 3)) == 18
    assert document.line(("missing",)) == 1


def test_windows_line_ends_count_once():
    assert parse_toml(TEXT.replace("\n", "\r\n"), "series.toml").lines == parse_toml(TEXT, "series.toml").lines


@pytest.mark.parametrize(
    ("text", "line", "what"),
    [
        ('a = "x\\q"', 1, "backslash"),
        ('a = "\\ud800"', 1, "backslash"),
        ("a = [1,\n2\n\nb = 3\n", 1, "never closed"),
        ("a = { b = 1\n", 1, "never closed"),
        ('a = """x\n\n', 1, "never closed"),
        ("a.b = 1\n[a.b.c]\n", 2, "line '[a.b.c]'"),
        ("[[a]]\n[a]\n", 2, "opened before"),
        ("a = 2026-02-30\n", 1, "date that does not exist"),
        ("\n\n= 3\n", 3, "cannot be read"),
        ("a = 1 b = 2", 1, "left over"),
    ],
)
def test_syntax_errors_name_the_line(text: str, line: int, what: str):
    with pytest.raises(ProblemsFound) as caught:
        parse_toml(text, "series.toml")
    (problem,) = caught.value.problems
    assert (problem.file, problem.line) == ("series.toml", line)
    assert what in problem.what
    assert "the rest of the file cannot be checked before that" in problem.mend


def _paths(value: object, path: KeyPath = ()) -> Iterator[KeyPath]:
    if path:
        yield path
    members = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, member in members:
        yield from _paths(member, (*path, key))


_VALUES = st.recursive(
    st.sampled_from(
        ["1", "-0.5e3", '"a # b"', "'c]'", '"""x\ny"""', "'''\nz'''", "true", "1979-05-27", '""', "''", '"\\""']
    ),
    lambda inner: (
        st.lists(inner, max_size=3).map(lambda members: "[" + " , # remark\n ".join(members) + "\n]")
        | st.dictionaries(st.sampled_from(["k", '"l m"', "n.o"]), inner, max_size=3).map(
            lambda table: "{" + ", ".join(f"{key} = {value}" for key, value in table.items()) + "}"
        )
    ),
    max_leaves=6,
)  # fmt: skip


@settings(deadline=None, derandomize=True)
@given(st.lists(_VALUES, max_size=5), st.lists(_VALUES, max_size=3))
def test_every_path_of_any_valid_text_is_found_in_order(top: list[str], below: list[str]):
    text = "".join(f"top{i} = {value}\n" for i, value in enumerate(top))
    text += "".join(f"[[block]] # {i}\nkey = {value}\n[block.sub]\n" for i, value in enumerate(below))
    document = parse_toml(text, "series.toml")
    assert set(document.lines) == set(_paths(document.data))
    rows = text.split("\n")
    for path, line in document.lines.items():
        if len(path) == 1 and str(path[0]).startswith("top"):
            assert rows[line - 1].startswith(f"{path[0]} =")
        if len(path) == 3 and path[2] == "key":
            assert rows[line - 2] == f"[[block]] # {path[1]}"
