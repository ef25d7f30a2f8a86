"""The type of a page grows with the room that it has; what really fits is looked at in `tests/browser`."""

import pytest

from meltdoe.sheets.type_size import SIZES, Boxes, Lines, Ruled, fitting_size

PAGE = 257.0 / 25.4 * 96.0


def test_a_line_is_as_high_as_its_letters_and_what_lies_around():
    assert Lines("short").height(20) == pytest.approx(20 * (1.2 + 0.25))
    assert Lines("short", 2.0, 0.0).height(20) == pytest.approx(48.0)
    assert Lines("word " * 60, 1.0, 0.0).height(14) == pytest.approx(4 * 14 * 1.2), "300 letters of 7.3 px in 711 px"


def test_a_row_is_as_high_as_its_highest_cell():
    one, two = (Ruled([["a", text]], (0.5, 0.5)).height(14) for text in ("b", "b\nc"))
    assert two - one == pytest.approx(1.2 * 1.1 * 14)
    wide, narrow = (Ruled([["crushed quarry rock", "x"]], (share, 1 - share)).height(14) for share in (0.5, 0.2))
    assert narrow > wide
    fixed = Ruled([["crushed quarry rock", "x"]], (0.5, 0.5), fixed=30.0).height(14)
    assert fixed == pytest.approx(narrow)


def test_boxes_stand_behind_a_short_question_and_below_a_long_one():
    short, long = (Boxes(text, "", ("yes", "no")).height(14) for text in ("Whole?", "Did it leave the pot " * 3))
    assert long > short
    many = Boxes("Whole?", "", tuple(f"grade {i}" for i in range(12))).height(14)
    assert many > long


def test_the_largest_type_that_fits_is_taken():
    line = Lines("word", 1.0, 0.0)
    for count in (10, 45, 52, 70):
        size = fitting_size([line] * count, 50.0)
        assert count * 1.2 * size + 50.0 <= PAGE or size == SIZES[0]
        assert size == SIZES[-1] or count * 1.2 * (size + 1) + 50.0 > PAGE
    assert fitting_size([line] * 10, 0.0) == SIZES[-1]
    assert fitting_size([line] * 500, 0.0) == SIZES[0]
    assert fitting_size([line] * 70, 0.0, pages=2) > fitting_size([line] * 70, 0.0)
