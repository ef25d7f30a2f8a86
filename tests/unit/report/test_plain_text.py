"""The user's words made fit to be shown."""

from hypothesis import given
from hypothesis import strategies as st

from meltdoe.report.plain_text import one_line, plain, shortened, wrapped


def test_what_steers_a_terminal_or_turns_the_direction_of_writing_is_taken_out():
    assert plain("a\x00b\x1b[31mc\u202ed\u2066e\ufefff\x7f\ud800") == "ab[31mcdef"
    assert plain("line\nline\ttab – °C עברית 溫度") == "line\nline\ttab – °C עברית 溫度"


def test_a_text_that_fits_is_left_as_it_is():
    assert shortened("edge only", 9) == "edge only"
    assert shortened("edge  only\n", 9) == "edge only"
    assert shortened("edge only, coarse", 9) == "edge onl…"
    assert wrapped("edge only", 5) == "edge\nonly"


def test_a_word_longer_than_a_line_is_broken_and_what_is_cut_is_shown():
    assert wrapped("x" * 9, 4, 3) == "xxxx\nxxxx\nx"
    assert wrapped("x" * 9, 4, 2) == "xxxx\nxxx…"


@given(st.text(max_size=80), st.integers(2, 12), st.integers(1, 4))
def test_no_line_is_longer_and_no_more_lines_come_than_was_asked(text, width, lines):
    rows = wrapped(text, width, lines).split("\n")
    assert len(rows) <= lines
    assert all(len(row) <= width for row in rows)
    assert len(shortened(text, width)) <= width


@given(st.text(max_size=80))
def test_cleaning_twice_changes_nothing_more(text):
    assert plain(plain(text)) == plain(text)
    assert one_line(one_line(text)) == one_line(text)
